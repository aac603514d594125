"""Gathering readings: what is fitted, at which settings, and what is said of the rest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from analysis.lab.response_data import ResponseData, in_words
from analysis.lab.responses import gather
from doe.study.brief import Study
from doe.study.choices import Choices, Note
from doe.study.plan import Plan, Round
from doe.study.readings import Actual, Reading, Readings
from doe.study.settings import Settings


def _study(**more: Any) -> Study:
    return Study.model_validate(
        {
            "study": {"title": "an invented study"},
            "factor": [
                {"name": "dose", "role": "dose", "low": 0.8, "high": 2.4},
                {"name": "pH", "low": 8.0, "high": 9.5},
                {"name": "neutraliser", "levels": ["ammonia", "soda"]},
            ],
            "response": [{"name": "viscosity", "when_gelled": "above"}, {"name": "strength"}],
            **more,
        }
    )


def _plan(n: int = 6, **more: Any) -> Plan:
    values = np.column_stack(
        [np.linspace(0.8, 2.4, n), np.where(np.arange(n) % 2, 9.5, 8.0), np.arange(n) % 2]
    )
    columns: dict[str, Any] = {
        "settings": Settings(
            names=("dose", "pH", "neutraliser"),
            values=values,
            labels={"neutraliser": ("ammonia", "soda")},
        ),
        "run": tuple(range(1, n + 1)),
        "round": (1,) * n,
        "day": (None,) * n,
        "batch": tuple(range(1, n + 1)),
        "sample": (None,) * n,
        "panel": (None,) * n,
        "kind": ("design",) * n,
        "rounds": (Round(number=1, layout="optimal", models=("linear",)),),
    }
    return Plan(**(columns | more))


def _readings(*lines: tuple[int, float | None] | dict[str, Any]) -> Readings:
    rows = []
    for i, line in enumerate(lines, start=1):
        given = line if isinstance(line, dict) else {"run": line[0], "value": line[1]}
        rows.append(Reading(id=i, **({"response": "viscosity"} | given)))
    return Readings(rows=tuple(rows))


def _viscosity(
    readings: Readings,
    plan: Plan | None = None,
    actuals: Sequence[Actual] = (),
    notes: Sequence[Note] = (),
    study: Study | None = None,
) -> ResponseData:
    choices = Choices(notes=tuple(notes))
    return gather(study or _study(), plan or _plan(), readings, actuals, choices)["viscosity"]


def _said(data: ResponseData) -> str:
    return " | ".join(finding.what for finding in data.findings)


def test_what_waits_is_said_and_the_rest_is_given() -> None:
    """Three of six runs are in."""
    data = _viscosity(_readings((1, 900.0), (3, 1000.0), (6, 800.0)))

    assert data.run == (1, 3, 6)
    assert data.pending == (2, 4, 5)
    assert "waits for readings of runs 2, 4 and 5; the rest is fitted" in _said(data)


def test_every_response_of_the_brief_has_an_entry() -> None:
    """One without any reading waits for all of them."""
    found = gather(_study(), _plan(), _readings((1, 900.0)))

    assert list(found) == ["viscosity", "strength"]
    assert len(found["strength"]) == 0
    assert len(found["strength"].pending) == 6


def test_repeats_stay_together_in_order() -> None:
    """Readings of one run, also of several panels."""
    lines = [
        {"run": 2, "value": 3.0, "repeat": 2},
        {"run": 2, "value": 1.0, "repeat": 1},
        {"run": 2, "value": 5.0, "panel": 2, "repeat": 1},
    ]

    assert _viscosity(_readings(*lines)).repeats == ((1.0, 3.0, 5.0),)


def test_a_blank_is_pending_and_a_correction_counts() -> None:
    """The latest line of a key stands."""
    data = _viscosity(_readings((1, None), (2, 100.0), {"run": 2, "value": 120.0, "replaces": 2}))

    assert data.repeats == ((120.0,),)
    assert 1 in data.pending


def test_a_run_with_one_reading_off_the_scale_is_kept_whole_for_a_likelihood() -> None:
    """One of two repeats beyond the spindle: neither is fitted here."""
    lines = [
        {"run": 1, "value": 4900.0},
        {"run": 1, "value": 5000.0, "repeat": 2, "flag": "above"},
        {"run": 2, "value": 900.0},
    ]
    data = _viscosity(_readings(*lines))

    assert data.run == (2,)
    assert data.off_scale == {1: "above"}
    assert [reading.value for reading in data.off_scale_readings[1]] == [4900.0, 5000.0]
    assert "biased for want of them, towards low values" in _said(data)


def test_a_region_that_gels_is_told_in_factor_terms() -> None:
    """Both gelled runs have little dose and ammonia stands out."""
    plan = _plan(8)
    lines = [{"run": r, "flag": "gelled"} for r in (1, 3)]
    lines += [{"run": r, "value": 900.0} for r in (2, 4, 5, 6, 7, 8)]
    data = _viscosity(_readings(*lines), plan)

    assert data.off_scale == {1: "above", 3: "above"}
    assert data.gelled == (1, 3)
    assert "A region gels: runs 1 and 3, at dose 0.8 to 1.26 (tried: 0.8 to 2.4)" in _said(data)
    assert "neutraliser ammonia" in _said(data)


def test_gelled_counts_as_missing_where_the_brief_says_nothing() -> None:
    """Strength has no `when_gelled`."""
    lines = [{"run": 1, "flag": "gelled", "response": "strength"}]
    data = gather(_study(), _plan(), _readings(*lines))["strength"]

    assert data.off_scale == {}
    assert data.left_out == {1: "gelled"}
    assert data.gelled == (1,)


def test_notes_leave_out_runs_batches_and_days() -> None:
    """With the reason, and for one response or all."""
    plan = _plan(day=(1, 1, 2, 2, 3, 3))
    notes = [
        Note(subject="run", number=1, says="lost", because="jar dropped"),
        Note(subject="batch", number=4, says="excluded", because="wrong beads"),
        Note(subject="day", number=3, says="excluded", response="strength"),
    ]
    data = _viscosity(_readings(*[(r, 100.0 * r) for r in range(1, 7)]), plan, notes=notes)

    assert data.run == (2, 3, 5, 6)
    assert data.left_out == {1: "lost, jar dropped", 4: "excluded (batch 4), wrong beads"}
    assert "Run 1 left out of 'viscosity': lost, jar dropped." in _said(data)


def test_back_takes_a_run_in_again() -> None:
    """The last word counts."""
    notes = [
        Note(subject="run", number=2, says="excluded"),
        Note(subject="run", number=2, says="back", because="the card was read wrong"),
    ]

    assert _viscosity(_readings((2, 100.0)), notes=notes).run == (2,)


def test_a_flag_on_the_reading_leaves_it_out_too() -> None:
    """Excluded readings of a run with others leave the others."""
    lines = [
        {"run": 1, "value": 10.0, "flag": "excluded", "because": "bubble"},
        {"run": 1, "value": 12.0, "repeat": 2},
        {"run": 2, "value": 14.0, "flag": "lost"},
    ]
    data = _viscosity(_readings(*lines))

    assert data.repeats == ((12.0,),)
    assert data.left_out == {2: "lost"}


def test_confirmation_runs_do_not_build_the_model() -> None:
    """They judge it."""
    plan = _plan(kind=("design",) * 5 + ("confirm",))
    data = _viscosity(_readings(*[(r, 100.0) for r in range(1, 7)]), plan)

    assert 6 not in data.run
    assert "confirmation run" in data.left_out[6]


def test_actual_factor_values_override_the_plan() -> None:
    """By batch or by run, the run over the batch; a choice by its word."""
    actuals = [
        Actual(unit="run 2", what="pH", value="9.31"),
        Actual(unit="batch 2", what="PH", value="9.2"),
        Actual(unit="Batch 3", what="neutraliser", value="Soda"),
    ]
    data = _viscosity(_readings(*[(r, 100.0) for r in range(1, 7)]), actuals=actuals)

    assert data.actual.column("pH")[1] == 9.31
    assert data.planned.column("pH")[1] == 9.5
    assert data.actual.row(2)["neutraliser"] == "soda"


def test_actuals_that_cannot_be_used_are_told() -> None:
    """An unknown unit, a word where a number is due, a level that does not exist."""
    actuals = [
        Actual(unit="batch 99", what="pH", value="9"),
        Actual(unit="run 1", what="pH", value="nine"),
        Actual(unit="run 1", what="neutraliser", value="lime"),
    ]
    data = _viscosity(_readings((1, 100.0)), actuals=actuals)

    assert "'batch 99' is no unit of the plan" in _said(data)
    assert "'nine' is no number" in _said(data)
    assert "'lime'; allowed: ammonia, soda" in _said(data)
    assert data.actual.column("pH")[0] == 8.0


def test_actual_grams_become_dose_and_shares() -> None:
    """Half as much again of one additive moves the dose and the package."""
    study = _study(
        millbase={"batch_g": 500.0, "pigment_percent": 50.0},
        package={"additive": [{"name": "wetting", "low": 0.2, "high": 0.8},
                              {"name": "dispersing", "low": 0.2, "high": 0.8}]},
        factor=[{"name": "dose", "role": "dose", "low": 0.8, "high": 2.4}],
    )  # fmt: skip
    names = ("wetting", "dispersing", "dose")
    planned = Settings(names=names, values=np.array([[0.5, 0.5, 2.0], [0.4, 0.6, 1.0]]))
    plan = _plan(2, settings=planned)
    actuals = [
        Actual(unit="batch 1", what="wetting", value="3.75"),
        Actual(unit="batch 1", what="dispersing", value="2.5"),
    ]
    data = _viscosity(_readings((1, 1.0), (2, 2.0)), plan, actuals, study=study)

    np.testing.assert_allclose(data.actual.values[0], [0.6, 0.4, 2.5])
    np.testing.assert_allclose(data.actual.values[1], [0.4, 0.6, 1.0])


def test_order_as_done_is_used_when_every_run_has_one() -> None:
    """Else that of the plan."""
    all_readings = _readings(*[(r, 100.0) for r in range(1, 7)])
    actuals = [Actual(unit=f"run {r}", what="order", value=str(7 - r)) for r in range(1, 7)]

    assert _viscosity(all_readings, actuals=actuals).order == (6, 5, 4, 3, 2, 1)
    assert _viscosity(all_readings, actuals=actuals[:3]).order == (1, 2, 3, 4, 5, 6)


@pytest.mark.parametrize(
    ("days", "effect"), [((1, 1, 1, 2, 2, 2), "fixed"), ((1, 1, 2, 2, 3, 4), "random")]
)
def test_days_are_blocks_and_random_from_four_on(days: tuple[int, ...], effect: str) -> None:
    """DESIGN.md, section 5, Strata."""
    data = _viscosity(_readings(*[(r, 100.0) for r in range(1, 7)]), _plan(day=days))

    assert data.blocking is not None
    assert (data.blocking.name, data.blocking.effect) == ("day", effect)
    assert data.block == tuple(map(str, days))


def test_a_factor_set_per_day_makes_days_random() -> None:
    """However few they are."""
    study = _study(factor=[{"name": "dose", "low": 0.8, "high": 2.4, "set_per": "day"},
                           {"name": "pH", "low": 8.0, "high": 9.5},
                           {"name": "neutraliser", "levels": ["ammonia", "soda"]}])  # fmt: skip
    plan = _plan(day=(1, 1, 1, 2, 2, 2))
    data = _viscosity(_readings(*[(r, 100.0) for r in range(1, 7)]), plan, study=study)

    assert data.blocking is not None
    assert data.blocking.effect == "random"


def test_days_as_done_override_those_of_the_plan() -> None:
    """A batch that slipped to the next day."""
    actuals = [Actual(unit="run 3", what="day", value="2")]
    plan = _plan(day=(1, 1, 1, 2, 2, 2))
    data = _viscosity(_readings(*[(r, 100.0) for r in range(1, 7)]), plan, actuals)

    assert data.day == (1, 1, 2, 2, 2, 2)


def test_rounds_are_blocks_where_days_are_not() -> None:
    """And day numbers that start again are told apart by their round."""
    readings = _readings(*[(r, 100.0) for r in range(1, 7)])
    rounds = tuple(Round(number=number, layout="optimal", models=()) for number in (1, 2))
    two = {"round": (1, 1, 1, 2, 2, 2), "rounds": rounds}

    by_round = _viscosity(readings, _plan(**two)).blocking
    days = _viscosity(readings, _plan(**two, day=(1, 2, 2, 1, 1, 1))).blocking
    assert by_round is not None
    assert by_round.name == "round"
    assert days is not None
    assert set(days.of) == {"1 of round 1", "2 of round 1", "1 of round 2"}


def test_blocks_of_a_table_come_first() -> None:
    """With the brief's word for them; fixed unless it says random; keys may be text, as in JSON."""
    blocks = {str(run): "left" if run < 4 else "right" for run in range(1, 7)}
    plan = _plan(
        day=(1, 2, 3, 1, 2, 3),
        rounds=(Round(number=1, layout="adopted", models=(), details={"blocks": blocks}),),
    )
    study = _study(block=[{"name": "mill"}])
    data = _viscosity(_readings(*[(r, 100.0) for r in range(1, 7)]), plan, study=study)

    assert data.blocking is not None
    assert (data.blocking.name, data.blocking.effect, data.blocking.planned) == (
        "mill",
        "fixed",
        True,
    )
    assert data.block == ("left", "left", "left", "right", "right", "right")


def test_ages_are_not_mixed() -> None:
    """The age at which most runs were read is fitted."""
    lines = [{"run": r, "value": 1.0, "age_d": 7.0} for r in range(1, 7)]
    lines += [{"run": r, "value": 2.0, "age_d": 28.0} for r in (1, 2)]
    data = _viscosity(_readings(*lines))

    assert data.repeats == ((1.0,),) * 6
    assert "read at several ages; those at 7 days are fitted" in _said(data)


def test_a_response_of_the_batch_takes_one_row_a_batch() -> None:
    """Read once for all samples of the batch."""
    study = _study(response=[{"name": "viscosity", "per": "batch"}])
    plan = _plan(batch=(1, 1, 2, 2, 3, 3))
    data = _viscosity(_readings((1, 100.0), (3, 110.0)), plan, study=study)

    assert data.run == (1, 3)
    assert data.batch == (1, 2)
    assert data.pending == (5,)


def test_controls_are_named() -> None:
    """By the round that planned them."""
    plan = _plan(
        kind=("design",) * 5 + ("control",),
        rounds=(Round(number=1, layout="optimal", models=(), controls={6: "old grade"}),),
    )
    data = _viscosity(_readings((5, 1.0), (6, 2.0)), plan)

    assert data.control == (None, "old grade")


def test_units_in_words() -> None:
    """Sorted, without doubles, with a plural of its own."""
    assert in_words("batch", [3, 1, 1]) == "batches 1 and 3"
    assert in_words("day", [4]) == "day 4"


def _chemistry_study() -> Study:
    own = {"low": 0.8, "high": 2.4, "when": {"neutraliser": "soda"}}
    dose = {"name": "dose", "range": [own]}
    return _study(factor=[dose, {"name": "neutraliser", "levels": ["ammonia", "soda"]}])


def _chemistry_plan() -> Plan:
    settings = Settings(
        names=("dose", "neutraliser"),
        values=np.array([[np.nan, 0.0], [0.8, 1.0], [2.4, 1.0]] * 2),
        labels={"neutraliser": ("ammonia", "soda")},
    )
    return _plan(settings=settings)


def test_a_level_as_made_that_lacks_the_factor_loses_it() -> None:
    """The wrong drum was taken: what was planned for the other chemistry is no dose of this."""
    actuals = [Actual(unit="run 2", what="neutraliser", value="ammonia")]
    data = _viscosity(
        _readings((1, 100.0), (2, 90.0)), _chemistry_plan(), actuals, study=_chemistry_study()
    )

    np.testing.assert_array_equal(data.actual.values[1], [np.nan, 0.0])


def test_a_level_as_made_without_the_dose_it_needs_is_doubted() -> None:
    """Nobody can code a run whose dose is unknown; the plan stands until it is told."""
    actuals = [Actual(unit="run 1", what="neutraliser", value="soda")]
    data = _viscosity(
        _readings((1, 100.0), (2, 90.0)), _chemistry_plan(), actuals, study=_chemistry_study()
    )

    np.testing.assert_array_equal(data.actual.values[0], [np.nan, 0.0])
    assert "run 1: 'soda' without 'dose'" in _said(data)

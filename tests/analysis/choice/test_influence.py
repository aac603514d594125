"""The compromise chosen again without each run and batch."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.choice.influence import SEARCHED, InfluenceQuestion, assess_influence
from analysis.choice.influential import (
    BenchUnit,
    Influence,
    InfluenceOnChoice,
    MovedResponse,
    MovedSetting,
    units_of,
)
from analysis.choice.search import choose_compromise
from analysis.figures.influence import draw_influence
from analysis.fits.fitted_response import fit_response
from analysis.fits.without_runs import refitting
from analysis.lab.without_runs import without_runs
from analysis.report.influence_table import influence_table
from doe.model.region import region_of
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

PLACES = (-1.0, -1.0, -0.5, -0.5, 0.0, 0.0, 0.5, 0.5, 1.0, 1.0)


@cache
def _asked(wild: float) -> InfluenceQuestion:
    """Ask about y = (x − 0.2)² with one reading (run 9, in batch 5) off by `wild`."""
    study = study_of(
        factors=[range_factor("x", unit="%")],
        response={"name": "y", "aim": "low", "best": -1.0, "worst": 3.0},
    )
    rng = np.random.default_rng(8)
    rows = [{"x": x, "y": (x - 0.2) ** 2 + 0.01 * rng.standard_normal()} for x in PLACES]
    rows[8]["y"] -= wild
    data, coding = adopt(study, rows, "y")
    data = replace(data, batch=tuple(i // 2 + 1 for i in range(10)))
    region, fitted = region_of(study), fit_response(data, coding, model="quadratic")
    found = choose_compromise(study, region, {"y": fitted.fit}, rng=np.random.default_rng(1))
    return InfluenceQuestion(
        study=study, region=region, surfaces={"y": fitted.fit}, compromise=found,
        refittings={"y": refitting(data, coding, fitted)},
    )  # fmt: skip


@cache
def _judged(wild: float, *, wide: bool = False) -> InfluenceOnChoice:
    return assess_influence(_asked(wild), np.random.default_rng(2), wide=wide)


@cache
def _whole_search_without_run_9(wild: float) -> float:
    """Choose x over the whole region by the readings without run 9."""
    asked = _asked(wild)
    refit = asked.refittings["y"]
    fit = fit_response(without_runs(refit.data, {9}), refit.coding, model="quadratic").fit
    found = choose_compromise(asked.study, asked.region, {"y": fit}, rng=np.random.default_rng(1))
    return float(found.unrounded.settings["x"])


def test_the_compromise_without_a_run_is_that_of_the_runs_left() -> None:
    """The local search ends where the whole search on the other runs does."""
    told, other = _judged(2.0), _whole_search_without_run_9(2.0)
    present = float(_asked(2.0).compromise.unrounded.settings["x"])
    run = next(one for one in told.units if one.unit.runs == (9,))

    (move,) = run.moves
    assert move.before == pytest.approx(present, abs=1e-6)
    assert move.after == pytest.approx(other, abs=1e-5)
    assert move.part == pytest.approx(abs(other - present) / 2, abs=1e-5)
    assert run.gain == pytest.approx(run.desirability - run.at_present)


def test_a_wild_reading_is_named_with_what_it_does_to_the_compromise() -> None:
    """Run 9 and its batch lead their kinds, in a caution that names setting and unit."""
    told = _judged(2.0, wide=True)
    most = told.most("run")

    assert most is not None
    assert most.unit.number == 9
    assert most.searched
    batch = told.most("batch")
    assert batch is not None
    assert batch.unit.number == 5
    caution = told.findings[0]
    assert caution.level == "caution"
    assert caution.what.startswith("Without run 9 the compromise moves: x from ")
    assert " %." in caution.what


def test_starts_all_over_the_region_end_where_the_whole_search_does() -> None:
    """For the units that move furthest, and never below what was found nearby."""
    near, wide = _judged(2.0), _judged(2.0, wide=True)
    other = _whole_search_without_run_9(2.0)
    run = next(one for one in wide.units if one.unit.runs == (9,))
    found = {one.unit.words: one.desirability for one in near.units}

    assert sum(one.searched for one in wide.units) == SEARCHED
    assert run.moves[0].after == pytest.approx(other, abs=1e-5)
    for one in wide.units:
        assert one.desirability >= found[one.unit.words] - 1e-9


def test_quiet_data_are_said_to_hang_on_no_single_run() -> None:
    """Scatter of a hundredth moves nothing far."""
    told = _judged(0.0)

    assert [finding.level for finding in told.findings] == ["note"]
    assert "No single run or batch decides" in told.findings[0].what


def test_a_far_move_is_no_caution_where_neither_desirability_nor_prediction_changes() -> None:
    """A flat optimum lets settings wander: 0.91 against 0.91 is nothing to look into."""
    move = MovedSetting(setting="x", unit="%", before=0.2, after=0.5, part=0.15)
    same = MovedResponse(response="y", unit="", before=2.0, after=2.01)
    one = Influence(
        unit=BenchUnit(kind="day", number=6, runs=(1, 2)), moves=(move,), desirability=0.912,
        at_present=0.906, predictions=(same,),
    )  # fmt: skip
    other = replace(one, predictions=(replace(same, after=2.2),))

    quiet = InfluenceOnChoice(units=(one,), present=0.88).findings
    loud = InfluenceOnChoice(units=(other,), present=0.88).findings
    assert [finding.level for finding in quiet] == ["note"]
    assert "worth no more than 0.02" in quiet[0].what
    assert [finding.level for finding in loud] == ["caution"]


def test_units_are_runs_then_batches_and_days_that_hold_several() -> None:
    """A day that holds every run, or a batch of one run, is no unit of its own."""
    study = study_of(factors=[range_factor("x")])
    data, _ = adopt(study, [{"x": x, "y": x} for x in PLACES], "y")
    data = replace(data, batch=(1, 1, *range(2, 10)), day=(1,) * 10)

    assert [one.words for one in units_of({"y": data})] == [
        *(f"run {run}" for run in data.run), "batch 1",
    ]  # fmt: skip


def test_the_figure_and_the_table_show_every_kind_with_its_furthest_first() -> None:
    """One panel a kind; runs in order of their numbers in the one, by their pull in the other."""
    told = _judged(2.0)
    drawn = draw_influence(told)
    table = influence_table(told)

    assert [axes.get_xlabel() for axes in drawn.figure.axes] == ["run left out", "batch left out"]
    assert table.rows[0][0].text == "run 9"
    assert table.head[1] == "x (%)"

"""The step `appraise`."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from doe.appraisal.sought import what_is_sought
from doe.errors import FitError, PlanError, ResultsError
from doe.steps.adopt import adopt_table
from doe.steps.appraise import AppraiseOptions, appraise_study
from doe.steps.note import NoteOptions, note_study
from doe.steps.plan import PlanOptions, plan_study
from doe.study.brief import Study
from tests.journeys.briefs import RESPONSE, factors, study_of

QUICK = AppraiseOptions(sizes=False, figures=False)
TABLE = "z1,z2\n-1,-1\n1,-1\n-1,1\n1,1\n0,0\n0,0\n"


@pytest.fixture(name="study")
def _study(tmp_path: Path) -> Path:
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    plan_study(study, PlanOptions(layout="central composite"))
    return study


def test_the_model_is_the_one_the_rounds_were_planned_for(study: Path) -> None:
    """Unless another is asked for."""
    planned = appraise_study(study, QUICK)
    asked = appraise_study(study, AppraiseOptions(sizes=False, figures=False, model="linear"))

    assert planned.plans[0].appraisal.model.name == "quadratic"
    assert asked.plans[0].appraisal.model.name == "linear"


def test_an_adopted_plan_is_held_against_the_largest_model_it_can_estimate(tmp_path: Path) -> None:
    """Two levels and a centre: interactions."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    (tmp_path / "t.csv").write_text(TABLE, encoding="utf-8")
    adopt_table(tmp_path / "t.csv", study)

    found = appraise_study(study, QUICK)

    assert found.plans[0].appraisal.model.name == "interactions"


def test_a_model_that_the_plan_cannot_estimate_is_a_no(study: Path, tmp_path: Path) -> None:
    """With a finding that says what can't be told apart."""
    (tmp_path / "t.csv").write_text(TABLE, encoding="utf-8")
    options = AppraiseOptions(
        sizes=False, figures=False, model="quadratic", table=tmp_path / "t.csv"
    )

    found = appraise_study(study, options)

    assert found.is_no
    assert any(f.level == "stop" and "z2²" in f.what for f in found.findings)


def test_a_table_is_appraised_where_the_study_has_no_plan_yet(tmp_path: Path) -> None:
    """Nothing of the study is changed but its results."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    (tmp_path / "t.csv").write_text(TABLE, encoding="utf-8")

    found = appraise_study(
        study, AppraiseOptions(sizes=False, figures=False, table=tmp_path / "t.csv")
    )

    assert found.plans[0].appraisal.n_runs == 6
    assert not (study / "plan.csv").exists()
    assert not any("pending" in f.what or "no results" in f.what for f in found.findings)


def test_two_plans_stand_side_by_side(study: Path, tmp_path: Path) -> None:
    """Another study folder, or a table."""
    other = study_of(tmp_path / "other", factors(2), RESPONSE)
    plan_study(other, PlanOptions(layout="full factorial", model="linear"))
    (tmp_path / "t.csv").write_text(TABLE, encoding="utf-8")

    for against in (other, tmp_path / "t.csv"):
        options = AppraiseOptions(sizes=False, figures=False, model="linear", against=against)
        found = appraise_study(study, options)

        assert [one.name for one in found.plans] == ["this plan", against.name]
        assert found.comparison is not None
        assert 0 <= found.comparison.better_share <= 1


def test_choices_of_another_study_are_matched_by_their_words(tmp_path: Path) -> None:
    """Whatever the order of the levels and columns there."""
    levels = '[[factor]]\nname = "base"\nlevels = [{}]\n'
    one = study_of(tmp_path / "a", factors(1), levels.format('"ammonia", "soda"'), RESPONSE)
    two = study_of(tmp_path / "b", levels.format('"soda", "ammonia"'), factors(1), RESPONSE)
    for folder in (one, two):
        plan_study(folder, PlanOptions(layout="full factorial", model="linear"))

    found = appraise_study(one, AppraiseOptions(sizes=False, figures=False, against=two))

    values = [one.appraisal.runs.design_values for one in found.plans]
    assert sorted(map(tuple, values[0].tolist())) == sorted(map(tuple, values[1].tolist()))


def test_plans_of_other_settings_are_refused(study: Path, tmp_path: Path) -> None:
    """With the setting that is missing."""
    other = study_of(tmp_path / "other", factors(3), RESPONSE)
    plan_study(other, PlanOptions(layout="full factorial", model="linear"))

    with pytest.raises(PlanError, match="z3"):
        appraise_study(study, AppraiseOptions(against=other))
    with pytest.raises(PlanError, match="z3"):
        appraise_study(other, AppraiseOptions(against=study))


@pytest.mark.parametrize(
    ("options", "error"),
    [
        (AppraiseOptions(effect=-1.0), PlanError),
        (AppraiseOptions(sd=0.0), PlanError),
        (AppraiseOptions(alpha=1.5), PlanError),
        (AppraiseOptions(variance_ratio=-1.0), PlanError),
        (AppraiseOptions(model="cubic"), FitError),
        (AppraiseOptions(against=Path("nowhere.csv")), ResultsError),
    ],
)
def test_wrong_options_are_refused(
    study: Path, options: AppraiseOptions, error: type[Exception]
) -> None:
    """Before anything is computed."""
    with pytest.raises(error):
        appraise_study(study, options)


def test_a_study_without_runs_says_what_to_do(tmp_path: Path) -> None:
    """Plan, or take a table."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)

    with pytest.raises(PlanError, match="no runs yet"):
        appraise_study(study, QUICK)


def test_effects_of_the_brief_are_sought_response_by_response(tmp_path: Path) -> None:
    """The power told is the least of them; the command line beats the brief."""
    wishes = "[plan]\nsd = { y = 0.5, w = 1.0 }\neffect = { y = 2.0, w = 1.5 }\n"
    second = '[[response]]\nname = "w"\nper = "batch"\n'
    study = study_of(tmp_path / "s", factors(2), RESPONSE, second, wishes)
    plan_study(study, PlanOptions(layout="central composite"))

    found = appraise_study(study, QUICK).plans[0].appraisal.settings[0]
    asked = appraise_study(study, AppraiseOptions(sizes=False, figures=False, effect=4.0, sd=1.0))

    powers = found.power_by_response
    assert set(powers) == {"y", "w"}
    assert found.power == powers["w"]
    assert powers["y"] is not None
    assert powers["w"] is not None
    assert powers["y"] > powers["w"]
    assert asked.plans[0].appraisal.settings[0].power == pytest.approx(powers["y"])


def test_plans_of_other_sizes_stand_around_the_present_one(study: Path) -> None:
    """Shrunk, grown, and planned anew; each once."""
    found = appraise_study(study, AppraiseOptions(figures=False)).plans[0].sizes

    how = [point.how for point in found]
    assert how.count("this plan") == 1
    assert {"fewer", "more", "anew"} <= set(how)
    now = next(point for point in found if point.how == "this plan")
    assert all(point.runs < now.runs for point in found if point.how == "fewer")
    assert all(point.runs > now.runs for point in found if point.how == "more")


def test_the_same_seed_gives_the_same_bytes(study: Path) -> None:
    """And files can be made again."""
    first = appraise_study(study)
    before = {file: file.read_bytes() for file in first.files}
    appraise_study(study)

    assert len(before) == 11
    assert {file: file.read_bytes() for file in before} == before


def test_settings_the_region_lacks_are_named(study: Path, tmp_path: Path) -> None:
    """Not refused: the table is what somebody made."""
    (tmp_path / "t.csv").write_text(TABLE.replace("1,1\n0", "1,1.5\n0"), encoding="utf-8")

    found = appraise_study(
        study,
        AppraiseOptions(sizes=False, figures=False, model="linear", table=tmp_path / "t.csv"),
    )

    assert found.plans[0].appraisal.outside == (4,)
    assert any("outside the region" in finding.what for finding in found.findings)


def test_a_brief_is_enough_to_know_what_is_sought() -> None:
    """The house's two standard deviations where it names none."""
    study = Study.model_validate(
        {"study": {"title": "x"}, "response": [{"name": "y"}], "plan": {"sd": {"y": 0.2}}}
    )

    (sought,) = what_is_sought(study)
    assert (sought.response, sought.effect, sought.is_said) == ("y", 0.4, False)


def test_runs_that_gave_nothing_are_left_out_of_either_plan(study: Path, tmp_path: Path) -> None:
    """Alone or beside another, a plan counts the same runs, and it is said whose are missing."""
    other = study_of(tmp_path / "other", factors(2), RESPONSE)
    plan_study(other, PlanOptions(layout="central composite"))
    note_study(study, NoteOptions(run=3, says="lost", because="spilled"))
    alone = appraise_study(study, QUICK).plans[0].appraisal.n_runs

    for first, second in ((study, other), (other, study)):
        asked = replace(QUICK, against=second)
        found = appraise_study(first, asked)
        counted = [one.appraisal.n_runs for one in found.plans]
        (told,) = (one.what for one in found.findings if "gave nothing" in one.what)

        assert counted == ([alone, alone + 1] if first == study else [alone + 1, alone])
        assert told.startswith("this plan: run 3" if first == study else "s: run 3")


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("sd", math.inf), ("sd", math.nan), ("sd", 1e-320), ("sd", 0.0),
        ("effect", 1e-320), ("effect", math.inf), ("effect", -1.0),
        ("alpha", 1e-320), ("alpha", 0.0), ("alpha", math.nan),
    ],
)  # fmt: skip
def test_nonsense_is_refused_under_its_own_option(option: str, value: float) -> None:
    """Before the study is even read."""
    asked = AppraiseOptions(**{option: value})
    with pytest.raises(PlanError) as caught:
        appraise_study(Path("nowhere"), asked)

    assert caught.value.faults[0].where == f"--{option}"
    assert caught.value.faults[0].allowed

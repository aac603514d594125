"""The plan as files, and the brief that may have moved on since."""

from __future__ import annotations

import json
import math
from dataclasses import fields, replace

import numpy as np
import pytest

from doe.errors import StudyError
from doe.study.brief import Study
from doe.study.brief_file import parse_brief
from doe.study.numbering import next_numbers, runs_with_data
from doe.study.plan import Plan, Round
from doe.study.plan_file import PLAN_FILE, ROUNDS_FILE, decode_plan, encode_plan
from doe.study.plan_settings import choice_labels
from doe.study.readings import Actual, Reading, Readings
from doe.study.settings import Settings

BRIEF = """
format = 1
[study]
title = "Invented brick-red millbase"
[package]
[[package.additive]]
name = "wetting agent"
low = 0.1
high = 0.4
[[package.additive]]
name = "dispersant"
low = 0.6
high = 0.9
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
low = 0.8
high = 2.4
[[factor]]
name = "neutraliser"
levels = ["ammonia", "sodium hydroxide"]
[[factor]]
name = "grind time"
unit = "min"
levels = [15, 30, 45]
set_per = "sample"
[[control]]
name = "present formula"
[[control.ingredient]]
name = "old dispersant"
grams = 6.0
[[response]]
name = "viscosity"
"""
VALUES = [
    [0.1, 0.9, 0.8, 0, 15],
    [1 / 3, 2 / 3, 1.5, 1, 30],
    [math.nan, 1.0, 1.5, math.nan, 20],
    [0.4, 0.6, 2.4, 0, 45],
]


@pytest.fixture
def study() -> Study:
    """A package of two, a dose, a named choice and numeric levels."""
    return parse_brief(BRIEF.encode())


@pytest.fixture
def plan(study: Study) -> Plan:
    """Two rounds, with a control and a sample stage."""
    return Plan(
        settings=Settings(
            names=study.setting_names, values=np.array(VALUES), labels=choice_labels(study)
        ),
        run=(1, 2, 3, 5),
        round=(1, 1, 1, 2),
        day=(None, None, None, None),
        batch=(1, 2, 3, 4),
        sample=(1, 2, 3, 5),
        panel=(None,) * 4,
        kind=("design", "centre", "control", "replicate"),
        rounds=(
            Round(
                number=1, layout="optimal", models=("quadratic",), criterion="I",
                criterion_value=0.25, seed=7, version="0.1.0", region_hash="a", goals_hash="b",
                runs=(1, 2, 3), controls={3: "present formula"}, reasons=("It fits.",),
                details={"block": {1: "mill A", 2: "mill B"}, "starts": 20},
            ),
            Round(number=2, layout="repair", models=("quadratic",), runs=(5,)),
        ),
        issued={"run": 5, "batch": 4, "sample": 5, "panel": 0},
    )  # fmt: skip


def _decoded(plan: Plan, brief: str) -> Plan:
    files = encode_plan(plan)
    return decode_plan(files[PLAN_FILE], files[ROUNDS_FILE], parse_brief(brief.encode()))


def _said(plan: Plan, brief: str) -> str:
    with pytest.raises(StudyError) as caught:
        _decoded(plan, brief)
    return str(caught.value)


def test_a_plan_comes_back_as_it_was_made(plan: Plan) -> None:
    """Every number, word and reason, and what was left open."""
    back = _decoded(plan, BRIEF)

    np.testing.assert_array_equal(back.settings.values, plan.settings.values)
    assert back.settings.names == plan.settings.names
    assert back.settings.labels == plan.settings.labels
    for one in fields(Plan):
        if one.name != "settings":
            assert getattr(back, one.name) == getattr(plan, one.name), one.name
    assert back.control_names == {3: "present formula"}


def test_the_table_has_the_columns_that_exist_and_words_for_choices(plan: Plan) -> None:
    """People read it at the bench."""
    lines = encode_plan(plan)[PLAN_FILE].decode().splitlines()

    assert lines[0] == (
        "run,round,batch,sample,kind,wetting agent,dispersant,dose,neutraliser,grind time"
    )
    assert lines[1] == "1,1,1,1,design,0.1,0.9,0.8,ammonia,15"
    assert lines[3] == "3,1,3,3,control,,1,1.5,,20"


def test_the_rounds_file_is_json_of_format_1(plan: Plan) -> None:
    """NaN is null, keys are words."""
    first = replace(plan.rounds[0], criterion_value=math.nan, details={"x": np.float64(2.0)})
    content = json.loads(encode_plan(replace(plan, rounds=(first, plan.rounds[1])))[ROUNDS_FILE])

    assert content["format"] == 1
    assert content["issued"]["run"] == 5
    assert content["rounds"][0]["criterion_value"] is None
    assert content["rounds"][0]["details"] == {"x": 2.0}


def test_the_runs_of_a_round_follow_from_the_lines(plan: Plan) -> None:
    """A layout that forgets to list them makes no torn files."""
    bare = replace(plan, rounds=tuple(replace(one, runs=()) for one in plan.rounds))

    assert [one.runs for one in _decoded(bare, BRIEF).rounds] == [(1, 2, 3), (5,)]
    with pytest.raises(ValueError, match="no entry"):
        encode_plan(replace(plan, rounds=plan.rounds[:1]))


def test_a_changed_range_and_changed_goals_leave_the_runs_valid(plan: Plan) -> None:
    """The runs were made; only where the search goes has changed."""
    moved = BRIEF.replace("low = 0.8", "low = 1.2").replace("viscosity", "colour strength")
    back = _decoded(plan, moved)

    np.testing.assert_array_equal(back.settings.values, plan.settings.values)


def test_an_order_and_capitals_changed_in_the_brief_are_followed(plan: Plan) -> None:
    """Names are compared folded; columns follow the brief."""
    turned = BRIEF.replace(
        'levels = ["ammonia", "sodium hydroxide"]', 'levels = ["Sodium Hydroxide", "AMMONIA"]'
    ).replace('name = "dose"', 'name = "Dose"')
    back = _decoded(plan, turned)

    assert back.settings.row(0)["neutraliser"] == "AMMONIA"
    assert back.settings.row(0)["Dose"] == 0.8


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('name = "dose"', 'name = "amount"', "'dose', which the brief no longer has (is it 'amou"),
        ('name = "dose"', 'name = "amount"', "no setting for 'amount'"),
        ('"dispersant"', '"dispersing agent"', "no setting for 'dispersing agent'. Take it out"),
        ('"ammonia"', '"amine"', "the level 'ammonia', which 'neutraliser' no longer has"),
        ("[15, 30, 45]", "[15, 30]", "the level 45, which 'grind time' no longer has"),
        ("levels = [15, 30, 45]", "value = 30", "holds 'grind time' at 30.0, but the run has '15'"),
    ],
)
def test_what_the_brief_has_lost_is_named(plan: Plan, old: str, new: str, said: str) -> None:
    """A run without its factor, additive or level cannot be read."""
    assert said in _said(plan, BRIEF.replace(old, new))


def test_a_factor_new_in_the_brief_needs_a_setting_in_every_run(plan: Plan) -> None:
    """The advice is to hold it."""
    brief = BRIEF + '\n[[factor]]\nname = "pH"\nlow = 8\nhigh = 9\n'

    assert "no setting for 'pH'. Hold it by `value = …`" in _said(plan, brief)
    held = BRIEF + '\n[[factor]]\nname = "pH"\nvalue = 8.5\n'
    assert len(_decoded(plan, held)) == 4


def test_a_factor_held_at_what_every_run_had_is_dropped(plan: Plan) -> None:
    """The runs stay valid, only the column has nothing more to say."""
    same = np.array(plan.settings.values)
    same[:, 4] = 30
    settings = replace(plan.settings, values=same)
    back = _decoded(
        replace(plan, settings=settings), BRIEF.replace("levels = [15, 30, 45]", "value = 30")
    )

    assert back.settings.names == ("wetting agent", "dispersant", "dose", "neutraliser")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("2,1,2,2,centre", "1,1,2,2,centre", "run 1 stands twice"),
        ("2,1,2,2,centre", "9,1,2,2,centre", "run 9 is not among the runs of round 1"),
        ("5,2,4,5,replicate", "5,1,4,5,replicate", "run 5 is not among the runs of round 1"),
        ("centre", "middle", "the kind 'middle' is not known"),
        ("1,1,1,1,design,0.1", "1,1,1,1,design,", "the run has no setting here"),
        ("1,1,1,1,design", ",1,1,1,design", "no run or round number"),
        ("5,2,4,5,replicate,0.4,0.6,2.4,ammonia,45\n", "", "the lines of runs 5 are gone"),
        ("2,1,2,2,centre", "2,1,3. Apr,2,centre", "is a date"),
        (",kind,", ",sort,", "the column 'kind' is missing"),
    ],
)
def test_a_table_changed_by_hand_is_told(
    plan: Plan, study: Study, old: str, new: str, said: str
) -> None:
    """Numbers are issued once, and two files must speak of the same runs."""
    files = encode_plan(plan)
    text = files[PLAN_FILE].decode()
    assert old in text
    with pytest.raises(StudyError) as caught:
        decode_plan(text.replace(old, new, 1).encode(), files[ROUNDS_FILE], study)

    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"{", "not the JSON"),
        (b"[]", "no JSON object"),
        (b'{"format": 1}', "list of rounds is missing"),
        (b'{"format": 2, "rounds": []}', "Bring millbase up to date"),
        (b'{"format": 1, "rounds": [{"number": "x", "layout": "a"}]}', "plan.json, number"),
        (b'{"format": 1, "rounds": [3]}', "no object"),
        (b'{"format": 1, "rounds": [], "issued": {"run": "x"}}', "no whole numbers"),
    ],
)
def test_a_rounds_file_changed_by_hand_is_told(study: Study, content: bytes, said: str) -> None:
    """Never a traceback."""
    with pytest.raises(StudyError) as caught:
        decode_plan(
            b"run,round,kind,wetting agent,dispersant,dose,neutraliser,grind time\n", content, study
        )

    assert said in str(caught.value)


def test_keys_of_a_later_version_are_left_aside(plan: Plan, study: Study) -> None:
    """Keys are added within a format, never renamed."""
    files = encode_plan(plan)
    content = json.loads(files[ROUNDS_FILE])
    content["rounds"][0]["mood"] = "good"
    back = decode_plan(files[PLAN_FILE], json.dumps(content).encode(), study)

    assert len(back.rounds) == 2


def test_numbers_go_on_behind_all_that_were_ever_issued(plan: Plan) -> None:
    """Runs that were dropped, and readings of runs that are gone, count too."""
    dropped = replace(plan, issued={"run": 12, "batch": 6, "sample": 12, "panel": 3})
    readings = Readings(rows=(Reading(id=4, run=14, panel=9, response="viscosity", value=1.0),))
    fresh = next_numbers(None, Readings())
    later = next_numbers(dropped, readings, [Actual(unit="batch 8", what="pH", value="8")])

    assert (fresh.run, fresh.batch, fresh.sample, fresh.panel, fresh.round) == (1, 1, 1, 1, 1)
    assert (later.run, later.batch, later.sample, later.panel) == (15, 9, 13, 10)
    assert (later.round, later.reading) == (3, 5)


def test_dropped_numbers_stay_issued_through_the_files(plan: Plan) -> None:
    """A plan without its last run still knows that the number was given out."""
    shorter = Plan(
        settings=plan.settings.take([0, 1, 2]), run=(1, 2, 3), round=(1, 1, 1), day=(None,) * 3,
        batch=(1, 2, 3), sample=(1, 2, 3), panel=(None,) * 3,
        kind=("design", "centre", "control"), rounds=plan.rounds[:1],
    )  # fmt: skip
    files = encode_plan(shorter, {"run": 5, "batch": 4})
    back = decode_plan(files[PLAN_FILE], files[ROUNDS_FILE], parse_brief(BRIEF.encode()))

    assert next_numbers(back, Readings()).run == 6
    assert next_numbers(back, Readings()).batch == 5


def test_runs_with_a_reading_or_an_actual_cannot_be_replaced(plan: Plan) -> None:
    """An actual of a batch belongs to all its runs."""
    readings = Readings(rows=(Reading(id=1, run=1, response="viscosity", value=1.0),))
    actuals = [
        Actual(unit="batch 2", what="dispersant", value="12"),
        Actual(unit="sample 5", what="pH", value="8"),
        Actual(unit="day 1", what="room", value="20"),
    ]

    assert runs_with_data(plan, readings, actuals) == (1, 2, 5)
    assert runs_with_data(plan, Readings(), ()) == ()

"""Laws of the study folder: what goes in comes out, and what comes in twice changes nothing."""

from __future__ import annotations

import tempfile
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from doe.study.actuals_file import decode_actuals, encode_actuals
from doe.study.brief_file import parse_brief
from doe.study.choices import (
    Choices,
    ChosenSettings,
    Note,
    ResponseChoice,
    decode_choices,
    encode_choices,
)
from doe.study.csv_text import guard_text, restore_text, write_csv
from doe.study.enter_merge import merge_readings
from doe.study.folder import StudyFolder, next_numbers
from doe.study.numerals import number_text, parse_number
from doe.study.overwriting import keeps_everything
from doe.study.plan import KINDS, Plan, Round
from doe.study.plan_file import PLAN_FILE, ROUNDS_FILE, decode_plan, encode_plan
from doe.study.readings import FLAGS, Actual, Reading, Readings
from doe.study.readings_file import decode_readings, encode_readings
from doe.study.settings import Settings
from doe.study.tables import read_table

BRIEF = """
format = 1
[study]
title = "Invented"
[[factor]]
name = "+ pH, ×"
low = 8
high = 9
[[factor]]
name = "neutraliser"
levels = ["=ammonia", "sodium \\"hydroxide\\""]
[[factor]]
name = "dose"
role = "dose"
low = 0.8
high = 2.4
[[response]]
name = "viscosity"
"""
STUDY = parse_brief(BRIEF.encode())
LABELS = {"neutraliser": ("=ammonia", 'sodium "hydroxide"')}

# Enough to meet every flag and collision, few enough for a suite that runs on two cores.
LAW = settings(max_examples=20, deadline=None)
# Text as a person may type it: no surrogates, no NUL, and not blank, since blank cells are blank.
WORDS = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), min_size=1, max_size=12
).filter(str.strip)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


@st.composite
def _readings(draw: st.DrawFn, *, few_keys: bool = False) -> list[Reading]:
    """Readings whose flags and values fit together; with few keys many of them collide."""
    rows: list[Reading] = []
    for i in range(draw(st.integers(0, 12))):
        flag = draw(st.sampled_from(FLAGS))
        value = draw(st.sampled_from([1.0, 2.0]) if few_keys else NUMBERS)
        has_value = flag in ("ok", "above", "below", "between") or draw(st.booleans())
        rows.append(
            Reading(
                id=i + 1,
                run=draw(st.integers(1, 3)),
                panel=draw(st.none() | st.integers(1, 2)),
                age_d=draw(st.sampled_from([None, 7.0]) if few_keys else st.none() | NUMBERS),
                repeat=draw(st.integers(1, 2)),
                response=draw(st.sampled_from(["viscosity", "gloss"]) if few_keys else WORDS),
                value=value if has_value else None,
                value_to=value + 1 if flag == "between" else None,
                flag=flag,
                because=draw(st.just("") | WORDS),
                source=draw(st.just("") | WORDS),
            )
        )
    return rows


@st.composite
def _plans(draw: st.DrawFn) -> Plan:
    n = draw(st.integers(1, 6))
    runs = tuple(draw(st.permutations(range(1, n + 1))))
    rounds = tuple(draw(st.integers(1, 2)) for _ in runs)
    units = st.lists(st.none() | st.integers(1, 9), min_size=n, max_size=n).map(tuple)
    columns = [
        draw(st.lists(NUMBERS, min_size=n, max_size=n)),
        draw(st.lists(st.sampled_from([0.0, 1.0]), min_size=n, max_size=n)),
        draw(st.lists(NUMBERS, min_size=n, max_size=n)),
    ]
    plan = Plan(
        settings=Settings(
            names=STUDY.setting_names, values=np.array(columns).T.reshape(n, 3), labels=LABELS
        ),
        run=runs,
        round=rounds,
        day=draw(units),
        batch=draw(units),
        sample=draw(units),
        panel=draw(units),
        kind=tuple(draw(st.sampled_from(KINDS)) for _ in runs),
        rounds=tuple(
            Round(
                number=number,
                layout=draw(WORDS),
                models=tuple(draw(st.lists(WORDS, max_size=2))),
                criterion_value=draw(st.none() | NUMBERS),
                seed=draw(st.none() | st.integers(0, 2**63)),
                runs=tuple(run for run, one in zip(runs, rounds, strict=True) if one == number),
                controls=draw(st.dictionaries(st.integers(1, 9), WORDS, max_size=2)),
                details={"blocks": draw(st.dictionaries(st.integers(1, 9), WORDS, max_size=3))},
            )
            for number in (1, 2)
        ),
    )
    return plan


def _decoded(plan: Plan) -> Plan:
    files = encode_plan(plan)
    return decode_plan(files[PLAN_FILE], files[ROUNDS_FILE], STUDY)


@LAW
@given(_plans())
def test_a_plan_survives_its_files(plan: Plan) -> None:
    """Every setting to the last bit, every name to the letter."""
    back = _decoded(plan)

    np.testing.assert_array_equal(back.settings.values, plan.settings.values)
    assert (back.settings.names, back.settings.labels) == (plan.settings.names, LABELS)
    for one in fields(Plan):
        if one.name not in ("settings", "issued"):
            assert getattr(back, one.name) == getattr(plan, one.name)
    assert next_numbers(back, Readings()) == next_numbers(plan, Readings())


@LAW
@given(_plans())
def test_the_files_of_a_plan_do_not_change_by_reading(plan: Plan) -> None:
    """Same content, same bytes: hashes of inputs rest on it."""
    assert encode_plan(_decoded(plan)) == encode_plan(plan)


@LAW
@given(_plans(), st.sampled_from(["goals", "range"]))
def test_changed_goals_and_ranges_never_invalidate_a_run(plan: Plan, change: str) -> None:
    """Goals may change at any time, and a range is where the search goes."""
    old, new = {"goals": ("viscosity", "gloss"), "range": ("high = 2.4", "high = 1.9")}[change]
    files = encode_plan(plan)
    back = decode_plan(
        files[PLAN_FILE], files[ROUNDS_FILE], parse_brief(BRIEF.replace(old, new).encode())
    )

    np.testing.assert_array_equal(back.settings.values, plan.settings.values)


@LAW
@given(_readings())
def test_readings_survive_their_file(rows: list[Reading]) -> None:
    """Numbers to the last bit, texts to the letter."""
    readings = Readings(rows=tuple(rows))

    assert decode_readings(encode_readings(readings)) == readings


@LAW
@given(st.lists(st.tuples(st.integers(1, 99), WORDS, WORDS)))
def test_actuals_survive_their_file(rows: list[tuple[int, str, str]]) -> None:
    """Whatever was noted."""
    actuals = tuple(Actual(unit=f"batch {n}", what=what, value=value) for n, what, value in rows)

    assert decode_actuals(encode_actuals(actuals)) == actuals


@LAW
@given(
    st.dictionaries(WORDS, st.builds(ResponseChoice, model=WORDS, power=NUMBERS, because=WORDS)),
    st.lists(
        st.builds(Note, subject=st.sampled_from(["run", "reading"]), number=st.integers(1),
                  says=st.sampled_from(["lost", "stands"]),
                  response=st.none() | WORDS, because=WORDS),
        max_size=3,
    ),
    st.dictionaries(WORDS, NUMBERS | WORDS),
)  # fmt: skip
def test_decisions_survive_their_file(
    responses: dict[str, ResponseChoice], notes: list[Note], chosen: dict[str, float | str]
) -> None:
    """Names in any script, reasons with any sign."""
    choices = Choices(
        responses=responses, notes=tuple(notes), chosen=ChosenSettings(settings=chosen)
    )

    assert decode_choices(encode_choices(choices)) == choices


@LAW
@given(_readings(few_keys=True), st.booleans())
def test_entering_a_set_twice_changes_nothing(rows: list[Reading], correct: bool) -> None:
    """A workbook may be entered as often as it grows."""
    once = merge_readings(Readings(), rows, correct=correct, because="x")
    twice = merge_readings(once.readings, rows, correct=correct, because="x")

    assert twice.readings == once.readings
    assert twice.added == ()
    assert twice.corrections == ()


@LAW
@given(_readings(few_keys=True), _readings(few_keys=True), st.randoms(use_true_random=False))
def test_the_order_of_a_delivery_is_irrelevant(
    old: list[Reading], new: list[Reading], random: object
) -> None:
    """Rows may be sorted in the spreadsheet."""
    standing = merge_readings(Readings(), old).readings
    shuffled = list(new)
    random.shuffle(shuffled)  # type: ignore[attr-defined] # Hypothesis hands over a Random
    one = merge_readings(standing, new, correct=True, because="x")
    other = merge_readings(standing, shuffled, correct=True, because="x")

    assert _ageless(one.readings) == _ageless(other.readings)
    assert len(one.conflicts) == len(other.conflicts)
    assert len(one.same) == len(other.same)


@LAW
@given(_readings(few_keys=True), _readings(few_keys=True))
def test_no_line_of_the_record_is_ever_lost(old: list[Reading], new: list[Reading]) -> None:
    """A correction is a line more, not one less; the folder therefore takes it without a word."""
    standing = merge_readings(Readings(), old).readings
    after = merge_readings(standing, new, correct=True, because="x").readings

    assert after.rows[: len(standing.rows)] == standing.rows
    assert keeps_everything("readings.csv", encode_readings(standing), encode_readings(after))


def _ageless(readings: Readings) -> list[str]:
    """Compare what stands, ids, sources and reasons aside."""
    return sorted(
        repr(replace(one, id=0, replaces=None, source="", because="", entered=""))
        for one in readings.current()
    )


@LAW
@given(NUMBERS)
def test_a_printed_number_reads_back_the_same(value: float) -> None:
    """With either decimal sign."""
    text = number_text(value)

    assert parse_number(text) == value
    assert parse_number(text.replace(".", ","), ",") == value


@LAW
@given(WORDS)
def test_a_guarded_text_runs_nowhere_and_comes_back(text: str) -> None:
    """Formula guards are taken off again."""
    assert guard_text(text)[0] not in "=+-@\t\r\n＝＋－＠"
    assert restore_text(guard_text(text)) == text


@LAW
@given(st.lists(st.tuples(WORDS, NUMBERS), min_size=1, max_size=6))
def test_our_own_tables_survive(rows: list[tuple[str, float]]) -> None:
    """Cells with quotes, separators, line breaks and formulas."""
    table = read_table(write_csv(["text", "number"], rows).encode(), ours=True)

    assert [table.text(i, "text") for i in range(len(table))] == [text for text, _ in rows]
    assert [table.number(i, "number") for i in range(len(table))] == [one for _, one in rows]


@settings(max_examples=15, deadline=None)
@given(st.lists(_plans(), min_size=1, max_size=3))
def test_no_number_is_issued_twice_in_a_study(plans: list[Plan]) -> None:
    """However often the plan is replaced."""
    with tempfile.TemporaryDirectory() as place:
        folder = StudyFolder(Path(place))
        folder.write_study_text(BRIEF)
        highest = 0
        for plan in plans:
            folder.write(folder.plan_files(plan), command="plan", replace=True)
            highest = max(highest, *plan.run)

            assert next_numbers(folder.read_plan(), Readings()).run == highest + 1

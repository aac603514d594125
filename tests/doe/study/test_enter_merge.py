"""Taking in readings: the rules of the reading key."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from doe.errors import ResultsError
from doe.study.enter_merge import merge_actuals, merge_readings
from doe.study.readings import Actual, Reading, Readings


def _reading(run: int, value: float | None, **more: Any) -> Reading:
    first = Reading(id=0, run=run, response="viscosity", value=value)
    return replace(first, **more)


def _entered(*readings: Reading) -> Readings:
    return merge_readings(Readings(), readings).readings


def test_new_readings_get_ids_of_their_own() -> None:
    """Ids are issued once a study."""
    outcome = merge_readings(_entered(_reading(1, 5.0)), [_reading(2, 6.0, id=1)])

    assert [reading.id for reading in outcome.readings.rows] == [1, 2]
    assert [reading.run for reading in outcome.added] == [2]


def test_the_same_value_again_is_ignored() -> None:
    """A workbook may be entered as often as it grows."""
    old = _entered(_reading(1, 5.0))
    outcome = merge_readings(old, [_reading(1, 5.0), _reading(2, 7.0)])

    assert len(outcome.same) == 1
    assert len(outcome.added) == 1
    assert len(outcome.readings.rows) == 2


def test_digits_that_a_spreadsheet_drops_are_no_correction() -> None:
    """A workbook keeps sixteen digits of 0.1 + 0.2."""
    outcome = merge_readings(_entered(_reading(1, 0.1 + 0.2)), [_reading(1, 0.3)])

    assert outcome.conflicts == ()
    assert len(outcome.same) == 1


@pytest.mark.parametrize(
    "more",
    [{"run": 2}, {"panel": 1}, {"age_d": 7.0}, {"repeat": 2}, {"response": "gloss"}],
)
def test_every_part_of_the_key_makes_another_reading(more: dict[str, Any]) -> None:
    """Run, panel, age, repeat and response."""
    other = replace(_reading(1, 6.0), **more)
    outcome = merge_readings(_entered(_reading(1, 5.0)), [other])

    assert len(outcome.added) == 1
    assert outcome.conflicts == ()


def test_the_response_is_compared_blind_to_capitals() -> None:
    """A renamed capital in the brief is the same response."""
    outcome = merge_readings(_entered(_reading(1, 5.0)), [_reading(1, 5.0, response="Viscosity")])

    assert len(outcome.same) == 1


def test_another_value_is_listed_and_not_taken_without_a_word() -> None:
    """Old and new stand side by side."""
    old = _entered(_reading(1, 5.0))
    outcome = merge_readings(old, [_reading(1, 5.5)])

    assert outcome.readings == old
    assert [(one.old.value, one.new.value) for one in outcome.conflicts] == [(5.0, 5.5)]


def test_a_correction_keeps_what_it_replaces_and_says_why() -> None:
    """Nothing is lost: the old line stays in the file."""
    old = _entered(_reading(1, 5.0), _reading(2, 6.0))
    outcome = merge_readings(old, [_reading(1, 5.5)], correct=True, because=" misread scale ")
    (change,) = outcome.corrections

    assert (change.new.id, change.new.replaces, change.new.because) == (3, 1, "misread scale")
    assert len(outcome.readings.rows) == 3
    assert {reading.value for reading in outcome.readings.current()} == {5.5, 6.0}


def test_a_correction_without_a_reason_is_refused() -> None:
    """Only where there is something to correct."""
    old = _entered(_reading(1, 5.0))

    with pytest.raises(ResultsError, match="--because"):
        merge_readings(old, [_reading(1, 5.5)], correct=True, because=" ")
    assert merge_readings(old, [_reading(1, 5.0)], correct=True).readings == old


def test_a_blank_erases_nothing() -> None:
    """Blank is pending."""
    old = _entered(_reading(1, 5.0))
    outcome = merge_readings(old, [_reading(1, None), _reading(2, None)], correct=True, because="x")

    assert outcome.readings == old
    assert outcome.blank == 2


@pytest.mark.parametrize("flag", ["above", "below", "gelled", "lost"])
def test_another_flag_is_another_value(flag: str) -> None:
    """5000 and above 5000 are two readings."""
    value = 5.0 if flag in ("above", "below") else None
    outcome = merge_readings(_entered(_reading(1, 5.0)), [_reading(1, value, flag=flag)])

    assert len(outcome.conflicts) == 1


def test_an_interval_counts_by_both_ends() -> None:
    """5 to 8 and 5 to 9 differ."""
    old = _entered(_reading(1, 5.0, value_to=8.0, flag="between"))
    outcome = merge_readings(old, [_reading(1, 5.0, value_to=9.0, flag="between")])

    assert len(outcome.conflicts) == 1


def test_two_values_in_one_delivery_contradict_whatever_the_order() -> None:
    """No correction can settle that: the file has to."""
    lines = [_reading(1, 5.0), _reading(1, 6.0)]
    one = merge_readings(Readings(), lines, correct=True, because="x")
    other = merge_readings(Readings(), lines[::-1], correct=True, because="x")

    assert one.conflicts == other.conflicts
    assert one.conflicts[0].is_within_file
    assert one.readings.rows == ()


def test_the_same_line_twice_in_one_delivery_is_one_reading() -> None:
    """Two sheets may hold the same line."""
    outcome = merge_readings(Readings(), [_reading(1, 5.0), _reading(1, 5.0)])

    assert len(outcome.added) == 1
    assert len(outcome.same) == 1


def test_a_note_on_a_reading_outlives_the_next_entry_of_the_workbook() -> None:
    """The sheet still holds the number that was excluded; that is no correction."""
    first = _entered(_reading(1, 5.0))
    noted = Readings(
        rows=(
            *first.rows,
            _reading(1, 5.0, id=2, replaces=1, flag="excluded", source="note", because="bubble"),
        )
    )
    outcome = merge_readings(noted, [_reading(1, 5.0)], correct=True, because="x")

    assert outcome.readings == noted
    assert len(merge_readings(noted, [_reading(1, 5.2)]).conflicts) == 1


def test_a_correction_back_to_an_earlier_value_is_a_correction() -> None:
    """Only a note shields what it overrules."""
    once = merge_readings(_entered(_reading(1, 5.0)), [_reading(1, 6.0)], correct=True, because="a")
    back = merge_readings(once.readings, [_reading(1, 5.0)], correct=True, because="b")

    assert [reading.value for reading in back.readings.current()] == [5.0]
    assert len(back.corrections) == 1


def test_actuals_follow_the_same_rules() -> None:
    """Known by unit and thing; the later line counts."""
    old = (Actual(unit="batch 1", what="dispersant", value="12.5"),)
    new = [
        Actual(unit="batch 1", what="Dispersant", value="12.50"),
        Actual(unit="batch 1", what="pH", value="8.7"),
        Actual(unit="batch 2", what="dispersant", value=" "),
    ]
    outcome = merge_actuals(old, new)
    changed = merge_actuals(old, [replace(old[0], value="13")])
    taken = merge_actuals(old, [replace(old[0], value="13")], correct=True)

    assert (len(outcome.same), len(outcome.added), len(outcome.actuals)) == (1, 1, 2)
    assert changed.actuals == old
    assert changed.conflicts == ((old[0], replace(old[0], value="13")),)
    assert [one.value for one in taken.actuals] == ["12.5", "13"]

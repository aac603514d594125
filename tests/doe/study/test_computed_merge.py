"""Computed readings beside entered ones: which stand."""

from __future__ import annotations

from dataclasses import replace

from doe.study.computed_merge import COMPUTED, contradicted, with_computed
from doe.study.readings import Reading, Readings

OLD = Reading(id=1, run=1, response="uptake", value=8.5, source=f"{COMPUTED}water uptake")
NEW = replace(OLD, value=9.0)


def _standing(readings: Readings) -> Reading:
    (only,) = readings.current()
    return only


def test_a_value_that_comes_out_the_same_stays_as_it_is() -> None:
    """With its number, so that a note on it finds it again."""
    assert with_computed(Readings(rows=(OLD,)), [replace(OLD, id=9)]).rows == (OLD,)


def test_a_value_that_comes_out_otherwise_replaces_the_old_one() -> None:
    """And the old one stays on record."""
    readings = with_computed(Readings(rows=(OLD,)), [NEW])

    assert _standing(readings).value == 9.0
    assert _standing(readings).replaces == 1
    assert readings.rows[0] == OLD


def test_what_was_entered_as_it_is_stands_and_the_difference_is_told() -> None:
    """A person's word is not overwritten by arithmetic."""
    entered = replace(OLD, source="bench.xlsx")

    assert with_computed(Readings(rows=(entered,)), [NEW]).rows == (entered,)
    assert contradicted(Readings(rows=(entered,)), [NEW]) == (NEW,)


def test_a_note_that_excludes_a_computed_value_stands() -> None:
    """The raw readings say the same as before; the user has decided."""
    note = replace(OLD, id=2, replaces=1, flag="excluded", source="note", because="torn film")

    assert _standing(with_computed(Readings(rows=(OLD, note)), [NEW])) == note


def test_a_value_that_cannot_be_computed_any_more_counts_as_lost() -> None:
    """And comes back when it can again."""
    gone = with_computed(Readings(rows=(OLD,)), [])
    back = with_computed(gone, [OLD])

    assert _standing(gone).flag == "lost"
    assert _standing(gone).value is None
    assert _standing(back).value == 8.5
    assert with_computed(gone, []) == gone

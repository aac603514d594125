"""A ladder on file: what reads back, what joins, what is refused, what may be overwritten."""

from __future__ import annotations

from dataclasses import replace

import pytest

from doe.errors import ResultsError, StudyError
from doe.study.ladder import Ladder, LadderMerge, Pot, PotEntry, PotReading, merge_ladder
from doe.study.ladder_file import decode_ladder, encode_ladder, read_entries
from doe.study.overwriting import is_free_to_write
from doe.study.reading_cell import CellReading
from doe.study.tables import read_table

POTS = (
    Pot(number=2, order=1, kind="pot", dose=0.8, made={"pH": "9", "water, g": "210.5"}),
    Pot(number=1, order=2, kind="control", dose=0.0, made={"pH": "9", "water, g": "213"}),
    Pot(number=3, order=3, kind="pot", dose=1.6, made={"pH": "9", "water, g": "208"}),
)
LADDER = Ladder(pots=POTS)


def entries(text: str) -> tuple[PotEntry, ...]:
    """Read a bare table."""
    return read_entries(read_table(text.encode(), "table.csv"))


def merge(ladder: Ladder, text: str, *, because: str = "") -> LadderMerge:
    """Join a bare table to a ladder; a reason makes it a correction."""
    return merge_ladder(
        ladder, entries(text), source="t.csv", correct=bool(because), because=because
    )


def test_a_ladder_reads_back_as_it_was_written() -> None:
    """Pots, their recipes, repeats, words, off-scale readings."""
    readings = (
        PotReading(pot=2, viscosity=CellReading(value=420.5), foam="little", source="a.csv"),
        PotReading(pot=2, repeat=2, viscosity=CellReading(value=430.0), was="440", because="typo"),
        PotReading(pot=1, viscosity=CellReading(value=None, flag="gelled"), note="=1+1"),
        PotReading(pot=3, viscosity=CellReading(value=5000.0, flag="above")),
    )
    whole = replace(LADDER, readings=readings)

    assert decode_ladder(encode_ladder(whole)) == whole


def test_a_cell_filled_in_by_hand_is_a_reading() -> None:
    """People type into ladder.csv as well, and a second line of a pot is a repeat."""
    text = "pot,dose,viscosity\n2,0.8,420\n2,0.8,430\n3,1.6,\n"
    ladder = decode_ladder(text.encode())

    assert [one.repeat for one in ladder.of_pot(2)] == [1, 2]
    assert ladder.of_pot(3) == ()


def test_all_faults_of_a_ladder_come_together() -> None:
    """A viscosity of 0, a dose in words, a missing pot."""
    text = "pot,dose,viscosity\n2,0.8,0\n3,plenty,400\n,1.6,300\n"
    with pytest.raises(StudyError) as caught:
        decode_ladder(text.encode())

    assert len(caught.value.faults) == 3


def test_equal_doses_in_one_file_are_repeats() -> None:
    """And the pot is found by its dose, 0.80 as well as 0.8."""
    merged = merge(LADDER, "dose,viscosity\n0.8,420\n0.80,430\n0,gelled\n")

    assert [(one.pot, one.repeat) for one in merged.added] == [(2, 1), (2, 2), (1, 1)]
    assert merged.new_doses == ()


def test_what_is_known_is_passed_over_and_blank_never_erases() -> None:
    """A file may be entered as often as it grows."""
    once = merge(LADDER, "dose,viscosity,note\n0.8,420,thin\n1.6,,\n").ladder
    again = merge(once, "dose,viscosity,note\n0.8,420,\n1.6,300,\n")

    assert (len(again.same), len(again.added)) == (1, 1)
    assert again.ladder.of_pot(2)[0].note == "thin"


def test_another_value_is_refused_and_taken_with_a_reason() -> None:
    """The old value and the reason stay beside the new one."""
    once = merge(LADDER, "dose,viscosity\n0.8,420\n").ladder
    with pytest.raises(ResultsError, match="420 stands, 425 came"):
        merge(once, "dose,viscosity\n0.8,425\n")
    corrected = merge(once, "dose,viscosity\n0.8,425\n", because="misread")
    stands = corrected.ladder.of_pot(2)[0]

    assert (stands.was, stands.because) == ("420", "misread")
    assert stands.viscosity == CellReading(value=425.0)


def test_unknown_doses_come_in_and_unknown_pots_do_not() -> None:
    """A dose is data of its own; a pot number can only be a slip."""
    assert merge(LADDER, "dose,viscosity\n2.4,380\n").new_doses == (2.4,)
    with pytest.raises(ResultsError, match="no pot 9"):
        merge(LADDER, "pot,viscosity\n9,380\n")


def test_a_table_without_viscosity_is_told_what_it_needs() -> None:
    """Both columns are named."""
    with pytest.raises(ResultsError, match="'viscosity' is missing"):
        entries("dose,visc\n0.8,420\n")


def test_filling_in_is_free_and_changing_is_not() -> None:
    """A ladder's lines may be filled in without a word; a changed or lost one is refused."""
    blank = encode_ladder(LADDER)
    filled = encode_ladder(merge(LADDER, "dose,viscosity\n0.8,420\n").ladder)
    changed = filled.replace(b"420", b"425")

    assert is_free_to_write("ladder.csv", blank, filled)
    assert not is_free_to_write("ladder.csv", filled, blank)
    assert not is_free_to_write("ladder.csv", filled, changed)
    assert not is_free_to_write("readings.csv", blank, filled)

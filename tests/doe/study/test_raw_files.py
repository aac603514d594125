"""Raw readings and curves in the study folder: kept as delivered, merged by their keys."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from doe.errors import StudyError
from doe.study.curves import Curve
from doe.study.curves_file import decode_curves, encode_curves
from doe.study.curves_merge import merge_curves
from doe.study.folder import StudyFolder
from doe.study.raw_data import REFLECTANCE, RawData
from doe.study.readings import Reading, Readings

STANDARD = Curve(id=1, subject="standard", day=2, card="C4", x=(400.0, 410.0), y=(0.1, 0.2))
SAMPLE = Curve(
    id=2, run=7, panel=3, age_d=1.0, repeat=2, what="rubbed", x=(400.0, 420.0), y=(0.11, 1 / 3),
    source="colour.csv, line 4", entered="2026-01-14T09:00:00",
)  # fmt: skip
CORRECTED = replace(SAMPLE, id=3, replaces=2, y=(0.12, 0.3))


def test_curves_come_back_as_they_were_entered() -> None:
    """To the last digit, also where they were read at different places."""
    curves = (STANDARD, SAMPLE, CORRECTED)

    assert decode_curves(encode_curves(curves), "raw/reflectance.csv") == curves


def test_faults_of_a_curve_file_are_told_with_their_place() -> None:
    """A subject nobody reads, and a curve without values."""
    data = b"id,subject,400,410\n1,tile,0.1,0.2\n2,white,,\n"
    with pytest.raises(StudyError) as caught:
        decode_curves(data, "raw/reflectance.csv")

    assert "line 2, column 'subject'" in str(caught.value)
    assert "line 3" in str(caught.value)
    assert "no values" in str(caught.value)


def test_the_same_curve_again_is_ignored_and_another_waits_for_a_word() -> None:
    """As a reading: the same is known, another one is a correction that must be asked for."""
    first = merge_curves((), [SAMPLE, STANDARD])
    again = merge_curves(first.curves, [SAMPLE])
    other = replace(SAMPLE, y=(0.2, 0.2))
    refused = merge_curves(first.curves, [other])
    taken = merge_curves(first.curves, [other], correct=True)

    assert [one.id for one in first.curves] == [1, 2]
    assert len(first.added) == 2
    assert again.curves == first.curves
    assert len(again.same) == 1
    assert refused.curves == first.curves
    assert len(refused.conflicts) == 1
    assert taken.curves[-1].replaces == 1
    assert len(taken.corrections) == 1


def test_two_curves_of_one_key_in_one_delivery_are_never_settled_by_correcting() -> None:
    """One of them is wrong, and only the user knows which."""
    both = merge_curves((), [SAMPLE, replace(SAMPLE, y=(0.2, 0.2))], correct=True)

    assert len(both.conflicts) == 1
    assert len(both.added) == 1


def test_a_corrected_curve_stands_in_place_of_the_old_one() -> None:
    """The latest of each key."""
    raw = RawData(curves={REFLECTANCE: (STANDARD, SAMPLE, CORRECTED)})

    assert raw.current_curves(REFLECTANCE) == (STANDARD, CORRECTED)
    assert raw.runs() == {7}


def test_raw_tables_only_grow(tmp_path: Path) -> None:
    """A line that stands in `raw/` is never lost without a word."""
    folder = StudyFolder(tmp_path)
    row = Reading(id=1, run=1, response="mass wet", value=0.54)
    more = Reading(id=2, run=2, response="mass wet", value=0.55)
    folder.write(folder.raw_table_file("water uptake", Readings(rows=(row,))), command="enter")
    folder.write(folder.raw_table_file("water uptake", Readings(rows=(row, more))), command="enter")

    with pytest.raises(StudyError):
        folder.write(folder.raw_table_file("water uptake", Readings(rows=(more,))), command="enter")
    assert folder.read_raw(["water uptake"]).tables["water uptake"].rows == (row, more)


def test_a_study_without_raw_readings_has_none(tmp_path: Path) -> None:
    """Nothing to read is no fault."""
    assert StudyFolder(tmp_path).read_raw(["water uptake"]).is_empty

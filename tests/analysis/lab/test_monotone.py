"""What follows for a result from raw readings that are only bounds."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pytest

from analysis.lab.monotone import monotone_result
from analysis.lab.raw_unit import RawUnit
from doe.study.readings import Flag, Reading


def _off(column: str, flag: Flag, value: float | None, value_to: float | None = None) -> Reading:
    return Reading(id=1, run=1, response=column, flag=flag, value=value, value_to=value_to)


def _ratio(raw: Mapping[str, float]) -> float:
    return raw["top"] / raw["bottom"]


RISES = {"top": True, "bottom": False}


@pytest.mark.parametrize(
    ("column", "flag", "expected", "value"),
    [
        ("top", "above", "above", 2.0),
        ("top", "below", "below", 2.0),
        ("bottom", "above", "below", 2.0),
        ("bottom", "below", "above", 2.0),
    ],
)
def test_a_bound_of_a_reading_bounds_the_result(
    column: str, flag: Flag, expected: Flag, value: float
) -> None:
    """A ratio rises with its numerator and falls with its denominator."""
    numbers = {"top": 8.0, "bottom": 4.0}
    other = {name: value for name, value in numbers.items() if name != column}
    unit = RawUnit(
        label="run 1", values=other, off_scale={column: _off(column, flag, numbers[column])}
    )
    done = monotone_result(unit, RISES, _ratio)

    assert (done.value, done.flag) == (value, expected)


def test_a_reading_between_two_marks_gives_a_result_between() -> None:
    """The ends of the result ascend though it falls with the reading."""
    unit = RawUnit(
        label="run 1",
        values={"top": 8.0},
        off_scale={"bottom": _off("bottom", "between", 2.0, 4.0)},
    )
    done = monotone_result(unit, RISES, _ratio)

    assert (done.value, done.value_to, done.flag) == (2.0, 4.0, "between")


def test_bounds_that_pull_apart_leave_the_result_open_and_say_so() -> None:
    """Above over above can be anything."""
    unit = RawUnit(
        label="run 1",
        off_scale={"top": _off("top", "above", 8.0), "bottom": _off("bottom", "above", 4.0)},
    )
    done = monotone_result(unit, RISES, _ratio)

    assert done.value is None
    assert done.findings


def test_columns_that_were_not_read_are_left_out() -> None:
    """A second reading is welcome, not needed."""
    unit = RawUnit(label="run 1", values={"first": 8.0})
    done = monotone_result(unit, {"first": True, "second": True}, lambda raw: sum(raw.values()))

    assert done.value == 8.0


def test_a_result_that_is_no_number_is_none() -> None:
    """NaN must not travel into readings."""
    unit = RawUnit(label="run 1", values={"first": 8.0})
    done = monotone_result(unit, {"first": True}, lambda raw: math.nan)

    assert done.value is None
    assert done.findings

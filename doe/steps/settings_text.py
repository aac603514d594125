"""Settings as people give them: `--at NAME=VALUE`, or a table with a column a setting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from doe.errors import Fault, StudyError
from doe.model.coding import Axis, ChoiceAxis, Coding, NumericAxis, ShareAxis, level_range
from doe.study.names import match_name, nearest_name
from doe.study.numerals import Decimal, parse_number
from doe.study.settings import FloatArray

# Shares typed with two or three digits: their sum may miss 1 by the rounding of the last one.
SHARE_SUM_TOLERANCE = 0.005


def settings_row(
    given: Mapping[str, str], coding: Coding, where: str, decimal: Decimal | None = None
) -> FloatArray:
    """Turn named values into one row of settings.

    Args:
        given: Value as typed, by name as typed.
        coding: The axes of the study.
        where: Where the values come from, for the faults.
        decimal: The decimal sign of the file; None takes a point, else a comma.

    Returns:
        Shape (k,), lab units. One share left out is what the others leave of 1; NaN for a factor
        that the level lacks, whether it was left out or given as 0.

    Raises:
        StudyError: Names or values that do not fit; all of them together.
    """
    faults: list[Fault] = []
    texts = _by_axis(given, coding, where, faults)
    row = np.array([_value(axis, texts, _Source(where, decimal), faults) for axis in coding.axes])
    _complete_shares(row, coding)
    if not faults:
        faults += _lacking_faults(row, coding, where)
        faults += _missing_faults(row, texts, coding, where)
    if not faults:
        faults += _share_faults(row, coding, where)
    if faults:
        raise StudyError.from_faults(faults)
    return row


def typed_value(value: float | str) -> str:
    """Write a setting as it may be typed, so that it reads back the same.

    Example:
        >>> typed_value(1e-5), typed_value(45.0), typed_value("ammonia")
        ('0.00001', '45.0', 'ammonia')
    """
    return value if isinstance(value, str) else np.format_float_positional(value, trim="0")


def own_ends(axis: Axis, row: FloatArray, coding: Coding) -> tuple[float, float] | None:
    """Give the range of a ranged factor at the row's level; None where the level lacks it.

    A factor of one range, and one whose choice is open, has its low and high.
    """
    if not isinstance(axis, NumericAxis) or not axis.ranges:
        return (axis.low, axis.high) if not isinstance(axis, ChoiceAxis) else (-np.inf, np.inf)
    level = level_name(axis, row, coding)
    return (axis.low, axis.high) if level is None else level_range(axis, level)


def level_name(axis: NumericAxis, row: FloatArray, coding: Coding) -> str | None:
    """Give the row's level of the choice on which a range hangs; None while it is open."""
    place = coding.index(axis.ranges[0].choice)
    choice = coding.axes[place]
    assert isinstance(choice, ChoiceAxis)
    return None if np.isnan(row[place]) else choice.levels[int(row[place])]


def _lacking_faults(row: FloatArray, coding: Coding, where: str) -> list[Fault]:
    """Refuse a value for what the level lacks; 0 says the same as nothing and is taken out."""
    faults = []
    for i, axis in enumerate(coding.axes):
        if np.isnan(row[i]) or own_ends(axis, row, coding) is not None:
            continue
        assert isinstance(axis, NumericAxis)
        if row[i] != 0.0:
            level = level_name(axis, row, coding)
            faults.append(
                Fault(
                    what=f"'{axis.name}' is {row[i]:g}, and {axis.ranges[0].choice} '{level}' "
                    "lacks it",
                    where=where,
                    do=f"Leave '{axis.name}' out there.",
                )
            )
        row[i] = np.nan
    return faults


def _missing_faults(
    row: FloatArray, texts: Mapping[str, str], coding: Coding, where: str
) -> list[Fault]:
    missing = [
        axis
        for axis, value in zip(coding.axes, row, strict=True)
        if np.isnan(value) and own_ends(axis, row, coding) is not None and not texts.get(axis.name)
    ]
    if not missing:
        return []
    names = [axis.name for axis in missing]
    ranges = [words for axis in missing if (words := _range_words(axis, row, coding))]
    example = f"--at '{names[0]}=…'" if where == "--at" else "Add a column for each."
    is_blank = where != "--at" and any(name in texts for name in names)
    return [
        Fault(
            what=f"no value for {', '.join(names)}",
            where=where,
            allowed="; ".join(ranges),
            do="Fill in the cell." if is_blank else f"Give it: {example}",
        )
    ]


def _range_words(axis: Axis, row: FloatArray, coding: Coding) -> str:
    """Say the range of a ranged factor at the level of the row; nothing for one range."""
    if not isinstance(axis, NumericAxis) or not axis.ranges:
        return ""
    level, ends = level_name(axis, row, coding), own_ends(axis, row, coding)
    if level is None or ends is None:
        return ""
    unit = f" {axis.unit}" if axis.unit else ""
    return f"{axis.name} {ends[0]:g} to {ends[1]:g}{unit} at {level}"


def split_assignment(text: str) -> tuple[str, str]:
    """Split `NAME=VALUE` at its last equals sign.

    Raises:
        StudyError: There is none.

    Example:
        >>> split_assignment("grind time=35")
        ('grind time', '35')
    """
    name, sign, value = text.rpartition("=")
    if not sign:
        raise StudyError(
            f"'{text}' names no value", where="--at", allowed="NAME=VALUE, such as dose=1.4"
        )
    return name.strip(), value.strip()


def _by_axis(
    given: Mapping[str, str], coding: Coding, where: str, faults: list[Fault]
) -> dict[str, str]:
    texts: dict[str, str] = {}
    for name, text in given.items():
        found = match_name(name, coding.names)
        if found is None:
            allowed = ", ".join(coding.names)
            near = nearest_name(name, coding.names)
            faults.append(
                Fault(
                    what=f"there is no setting '{name}'", where=where, allowed=allowed,
                    do=f"Did you mean '{near}'?" if near else "",
                )
            )  # fmt: skip
        elif found in texts:
            faults.append(Fault(what=f"'{found}' is given twice", where=where))
        else:
            texts[found] = text
    return texts


class _Source(NamedTuple):
    where: str
    decimal: Decimal | None


def _value(axis: Axis, texts: Mapping[str, str], source: _Source, faults: list[Fault]) -> float:
    text = texts.get(axis.name, "")
    if not text:
        return float("nan")
    if isinstance(axis, ChoiceAxis):
        level = match_name(text, axis.levels)
        if level is None:
            near = nearest_name(text, axis.levels)
            faults.append(
                Fault(
                    what=f"'{axis.name}' has no level '{text}'",
                    where=source.where,
                    allowed=", ".join(axis.levels),
                    do=f"Did you mean '{near}'?" if near else "",
                )
            )
            return float("nan")
        return float(axis.levels.index(level))
    signs: tuple[Decimal, ...] = (source.decimal,) if source.decimal else (".", ",")
    numbers = [n for sign in signs if (n := parse_number(text, sign)) is not None]
    if not numbers:
        faults.append(
            Fault(what=f"'{axis.name}' is '{text}', which is no number", where=source.where)
        )
        return float("nan")
    if "," in text and len(set(numbers)) > 1:
        both = " or ".join(f"{number:.15g}" for number in numbers)
        faults.append(
            Fault(
                what=f"'{axis.name}' is '{text}', which may be {both}",
                where=source.where,
                do="Write it with a decimal point and without a sign between thousands.",
            )
        )
    return numbers[0]


def _complete_shares(row: FloatArray, coding: Coding) -> None:
    places = _share_places(coding)
    open_places = [place for place in places if np.isnan(row[place])]
    if len(open_places) == 1:
        row[open_places[0]] = 1.0 - np.nansum(row[places])


def _share_faults(row: FloatArray, coding: Coding, where: str) -> list[Fault]:
    places = _share_places(coding)
    total = float(row[places].sum()) if places else 1.0
    if places and abs(total - 1.0) > SHARE_SUM_TOLERANCE:
        return [
            Fault(
                what=f"the shares of the package add to {total:g}",
                where=where,
                allowed="shares of active matter that add to 1",
                do="Leave one share out to have it filled in.",
            )
        ]
    if places:
        row[places] /= total
    return []


def _share_places(coding: Coding) -> Sequence[int]:
    return [i for i, axis in enumerate(coding.axes) if isinstance(axis, ShareAxis)]

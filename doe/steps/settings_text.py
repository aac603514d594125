"""Settings as people give them: `--at NAME=VALUE`, or a table with a column a setting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from doe.errors import Fault, StudyError
from doe.model.coding import Axis, ChoiceAxis, Coding, ShareAxis
from doe.study.names import match_name
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
        Shape (k,), lab units. One share left out is what the others leave of 1.

    Raises:
        StudyError: Names or values that do not fit; all of them together.
    """
    faults: list[Fault] = []
    texts = _by_axis(given, coding, where, faults)
    row = np.array([_value(axis, texts, _Source(where, decimal), faults) for axis in coding.axes])
    _complete_shares(row, coding)
    missing = [axis.name for axis, value in zip(coding.axes, row, strict=True) if np.isnan(value)]
    if missing and not faults:
        example = f"--at '{missing[0]}=…'" if where == "--at" else "Add a column for each."
        faults.append(
            Fault(what=f"no value for {', '.join(missing)}", where=where, do=f"Give it: {example}")
        )
    if not faults:
        faults += _share_faults(row, coding, where)
    if faults:
        raise StudyError.from_faults(faults)
    return row


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
            faults.append(Fault(what=f"there is no setting '{name}'", where=where, allowed=allowed))
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
            faults.append(
                Fault(
                    what=f"'{axis.name}' has no level '{text}'",
                    where=source.where,
                    allowed=", ".join(axis.levels),
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

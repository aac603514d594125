"""Cells of results: a number, a number off the scale, or a word that stands for one."""

from __future__ import annotations

import re
from dataclasses import dataclass

from doe.errors import Fault
from doe.study.names import fold
from doe.study.numerals import Decimal, parse_number
from doe.study.readings import Flag
from doe.study.tables import number_fault

_BLANK = frozenset({"", "pending"})
_WORDS: dict[str, Flag] = {
    "gelled": "gelled", "gel": "gelled", "lost": "lost", "excluded": "excluded",
}  # fmt: skip
_OFF_SCALE = re.compile(r"(?P<sign>[<>]=?|≤|≥)\s*(?P<number>.+)")
_BETWEEN = re.compile(
    r"(?P<low>.+?)(?:\s+to\s+|\s*\.\.\.?\s*|\s*…\s*|\s*[–—]\s*|\s+-\s+)(?P<high>.+)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CellReading:
    """What one cell says; value, value_to and flag as in a reading."""

    value: float | None
    value_to: float | None = None
    flag: Flag = "ok"


def read_cell(text: str, decimal: Decimal, where: str) -> CellReading | Fault | None:
    """Read a cell of results.

    Numbers stand for themselves; "> 5000" is above the scale and "< 5" below it; "5 to 8" lies
    between; "gelled", "lost" and "excluded" are flags.

    Args:
        text: The cell.
        decimal: The decimal sign of its file.
        where: Place of the cell, for the fault.

    Returns:
        None for a blank cell, which is pending; the fault if the cell cannot be read.

    Example:
        >>> read_cell("> 5000", ".", "").flag
        'above'
    """
    bare = text.strip()
    if fold(bare) in _BLANK:
        return None
    if (value := parse_number(bare, decimal)) is not None:
        return CellReading(value=value)
    if flag := _WORDS.get(fold(bare)):
        return CellReading(value=None, flag=flag)
    if match := _OFF_SCALE.fullmatch(bare):
        limit = parse_number(match["number"], decimal)
        if limit is not None:
            return CellReading(value=limit, flag="below" if match["sign"] in "<=≤" else "above")
    if match := _BETWEEN.fullmatch(bare):
        low, high = (parse_number(match[end], decimal) for end in ("low", "high"))
        if low is not None and high is not None and low < high:
            return CellReading(value=low, value_to=high, flag="between")
    fault = number_fault(bare, where)
    return fault if fault.do else Fault(where=where, what=fault.what, allowed=_ALLOWED)


_ALLOWED = "a number, '> 5000', '< 5', '5 to 8', gelled, lost, or blank while it is pending"

"""The decimal sign of a file: decided once by all its cells, said, or refused."""

from __future__ import annotations

from doe.errors import Fault, ResultsError
from doe.study.finding import Finding
from doe.study.grid import Grid
from doe.study.numerals import Decimal, number_text, parse_number, possible_decimals
from doe.study.text_grid import SEPARATORS

_POINT: frozenset[Decimal] = frozenset({"."})
_COMMA: frozenset[Decimal] = frozenset({","})


def decide_decimal(grid: Grid) -> tuple[Decimal, tuple[Finding, ...]]:
    """Decide the decimal sign of a file by all cells below its header.

    Returns:
        The sign, and what the reader ought to know of how the file was read.

    Raises:
        ResultsError: Cells with a point and cells with a comma stand in one file, or every cell
            allows both readings, as "1,234" does.
    """
    seen = _first_cells(grid)
    point, comma, either = seen.get(_POINT), seen.get(_COMMA), seen.get(_POINT | _COMMA)
    if point and comma:
        raise ResultsError.from_faults([_mixed(point, comma)])
    if either and not point and not comma:
        raise ResultsError.from_faults([_either(*either)])
    decimal: Decimal = "," if comma else "."
    notes = []
    if grid.separator not in ("", ",") or comma:
        parted = SEPARATORS.get(grid.separator)
        parts = f"the columns are separated by {parted} and " if parted else ""
        sign = "comma" if comma else "point"
        notes.append(
            Finding(level="note", what=f"{grid.source}: {parts}the decimal sign is the {sign}.")
        )
    if either:
        notes.append(_grouped(*either, decimal))
    return decimal, tuple(notes)


def _first_cells(grid: Grid) -> dict[frozenset[Decimal], tuple[str, str]]:
    """Find the first cell that speaks for each reading, with its place."""
    seen: dict[frozenset[Decimal], tuple[str, str]] = {}
    for line, row in zip(grid.lines[1:], grid.rows[1:], strict=True):
        for column, cell in enumerate(row):
            signs = possible_decimals(cell)
            # A thousands point means that the comma is the decimal sign, and such files are not
            # separated by commas; so "1.234" between commas can only be a decimal.
            if len(signs) == 2 and grid.separator == "," and "." in cell:
                signs = _POINT
            if signs and signs not in seen:
                seen[signs] = (cell.strip(), grid.place(line, column, grid.name_over(column)))
    return seen


def _mixed(point: tuple[str, str], comma: tuple[str, str]) -> Fault:
    return Fault(
        where=point[1],
        what=f"'{point[0]}' has a decimal point, but '{comma[0]}' ({comma[1]}) a decimal comma",
        allowed="one decimal sign in a file",
        do="Write all numbers of the file with the same sign.",
    )


def _either(cell: str, place: str) -> Fault:
    point, comma = (_read_as(cell, sign) for sign in (".", ","))
    return Fault(
        where=place,
        what=f"'{cell}' may be {point} (decimal point) or {comma} (decimal comma), "
        "and no cell of the file tells which",
        do="Write the numbers without groups of thousands and with decimal points.",
    )


def _grouped(cell: str, place: str, decimal: Decimal) -> Finding:
    return Finding(
        level="caution",
        what=f"{place}: '{cell}' is read as {_read_as(cell, decimal)}.",
        advice="Write numbers without groups of thousands.",
    )


def _read_as(cell: str, decimal: str) -> str:
    value = parse_number(cell.lstrip("<>≤≥=~≈ "), "," if decimal == "," else ".")
    return number_text(0.0 if value is None else value)

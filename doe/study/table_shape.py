"""The shape of a table: a header of unique names, and rows that fit under it."""

from __future__ import annotations

from doe.errors import Fault
from doe.study.grid import Grid
from doe.study.names import fold
from doe.study.numerals import parse_number


def shape_faults(grid: Grid) -> list[Fault]:
    """Find what is wrong with the header and with the lengths of the rows, all at once."""
    if not grid.rows:
        what, allowed = "the file is empty", "a line with the names of the columns first"
        return [Fault(where=grid.source, what=what, allowed=allowed)]
    header, line = grid.rows[0], grid.lines[0]
    names = [cell.strip() for cell in header]
    if all(_is_number(name) for name in names if name):
        return [
            Fault(
                where=grid.place(line, 0),
                what="the first line holds numbers where the names of the columns are due",
                do="Put a line with the names above it.",
            )
        ]
    width = max(i for i, name in enumerate(names) if name) + 1
    faults = [*_named_twice(grid, names, line), *_nameless(grid, names[:width], line)]
    for number, row in zip(grid.lines[1:], grid.rows[1:], strict=True):
        faults.extend(_length_faults(grid, number, row, width))
    return faults


def _is_number(name: str) -> bool:
    return parse_number(name, ".") is not None or parse_number(name, ",") is not None


def _named_twice(grid: Grid, names: list[str], line: int) -> list[Fault]:
    faults: list[Fault] = []
    first: dict[str, int] = {}
    for i, name in enumerate(names):
        if name and first.setdefault(fold(name), i) != i:
            what = f"the name '{name}' stands over two columns"
            do = "Give each column its own name."
            faults.append(Fault(where=grid.place(line, i), what=what, do=do))
    return faults


def _nameless(grid: Grid, names: list[str], line: int) -> list[Fault]:
    return [
        Fault(where=grid.place(line, i), what="the column has cells but no name")
        for i, name in enumerate(names)
        if not name and any(len(row) > i and row[i].strip() for row in grid.rows[1:])
    ]


def _length_faults(grid: Grid, line: int, row: tuple[str, ...], width: int) -> list[Fault]:
    extra = next((i for i in range(width, len(row)) if row[i].strip()), None)
    if extra is not None:
        what = f"'{row[extra].strip()}' stands beyond the last named column"
        comma = grid.separator == ","
        do = "A decimal comma splits a number in two: use points, or quotes." if comma else ""
        return [Fault(where=grid.place(line, extra), what=what, do=do)]
    if len(row) < width and not grid.sheet:
        what = f"the line has {len(row)} cells where {width} are due"
        return [Fault(where=grid.place(line, len(row) - 1), what=what)]
    return []

"""Where the curves stand in a file: one a row, one a column, or one reading a line."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from doe.errors import Fault
from doe.study.grid import Grid
from doe.study.names import fold
from doe.study.reflectance_labels import COLUMNS
from doe.study.reflectance_scale import Unit
from doe.study.text_grid import SEPARATORS

STEPS_NM = (1.0, 5.0, 10.0, 20.0)
Kind = Literal["rows", "columns", "lines"]

# A table of other readings has hardly ten numbers that look like wavelengths in even steps.
_FEWEST = 10
_LONGEST_HEAD = 100
_WAVELENGTH = re.compile(
    r"(?:(?:r|refl|reflectance|spin|spex|sci|sce|wl|%|r ?%|% ?r|"
    r"(?:r|refl|reflectance)?[ _.]*(?:fraction|factor|pct|per ?cent))[ _.]*)?[\[(]?\s*"
    r"(?P<nm>\d{3}(?:[.,]\d{1,3})?)\s*(?:nm)?\s*[\])]?\s*(?:nm)?\s*(?:[\[(]?\s*%\s*[\])]?)?",
    re.I,
)
_SAYS_PERCENT = re.compile(r"%|\b(?:r ?)?(?:per ?cent|pct)", re.I)
_SAYS_FRACTION = re.compile(r"fraction|factor|0 ?(?:\.\.+|…|-|–|to) ?1\b", re.I)
_OF_REFLECTANCE = re.compile(r"reflect|\brefl\b|%\s*R\b|\bR\s*[\[(]?\s*%|\bunits?\b", re.I)
_WAVELENGTH_WORDS = ("wavelength", "wavelength nm", "wave length", "nm", "lambda", "λ", "wl")
_REFLECTANCE_WORDS = ("reflectance", "reflectance factor", "refl", "r", "value")
_LABEL_WORDS = ("label", "curve", "name", "sample", "sample name", "sample id", "id", "reading")
_AGE_WORDS = ("age", "age d")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One reading as the file holds it."""

    nm: float
    text: str
    line: int
    column: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundCurve:
    """One curve as the file holds it.

    Attributes:
        place: Line or column of the curve.
        names: What says whose it is, by column: `label`, `run`, `day` …
        cells: Its readings, blank ones too, in the order of the file.
    """

    place: str
    names: dict[str, str]
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where the curves of a file stand.

    Attributes:
        grid: The cells of the file.
        kind: One curve a row, one a column, or one reading a line.
        head: Row with the names of the columns, from 0.
        nm: Wavelength by column, for curves in rows.
        places: Column by what it says: `label`, `run` …, `wavelength`, `reflectance`.
        ignored: Columns that say nothing of a curve.
        says: Unit of the numbers, where a head or a line above it says one.
    """

    grid: Grid
    kind: Kind
    head: int
    nm: dict[int, float]
    places: dict[str, int]
    ignored: tuple[str, ...] = ()
    says: Unit | None = None

    @property
    def width(self) -> int:
        """How many columns the head names."""
        row = self.grid.rows[self.head]
        return max((i for i, cell in enumerate(row) if cell.strip()), default=0) + 1


def wavelength(text: str) -> float | None:
    """Read a wavelength, nm; None where it is none.

    Example:
        >>> [wavelength(text) for text in ("400", "400 nm", "R400", "400.0", "run 400", "40")]
        [400.0, 400.0, 400.0, 400.0, None, None]
    """
    match = _WAVELENGTH.fullmatch(text.strip())
    value = float(match["nm"].replace(",", ".")) if match else 0.0
    return value if 300.0 <= value <= 900.0 else None


def text_layouts(text: str, source: str) -> Layout | None:
    """Find the curves in a text, by the separator under which most wavelengths stand."""
    found = []
    for separator in SEPARATORS:
        grid = _split(text, source, separator)
        layout = None if grid is None else find_layout(grid)
        if layout is not None:
            found.append(layout)
    return max(found, key=_size, default=None)


def find_layout(grid: Grid) -> Layout | None:
    """Find the curves in a grid; None where there are none."""
    for i, row in enumerate(grid.rows[:_LONGEST_HEAD]):
        nm = {j: value for j, cell in enumerate(row) if (value := wavelength(cell)) is not None}
        if _is_spectrum(nm.values()):
            places, ignored = _named_columns(row, nm)
            return Layout(
                grid=grid, kind="rows", head=i, nm=nm, places=places, ignored=ignored,
                says=_unit_in([*(row[j] for j in nm), *_above(grid, i)]),
            )  # fmt: skip
    return _by_lines(grid) or _by_columns(grid)


def curves_in(layout: Layout) -> list[FoundCurve]:
    """List the curves of a file in its order; those without a single reading are left out."""
    kinds = {"rows": _curves_in_rows, "columns": _curves_in_columns, "lines": _curves_in_lines}
    found = kinds[layout.kind](layout)
    return [curve for curve in found if any(cell.text for cell in curve.cells)]


def stray_faults(layout: Layout) -> list[Fault]:
    """Find cells that belong to no curve, so that none is dropped unseen."""
    grid = layout.grid
    body = list(zip(grid.lines, grid.rows, strict=True))[layout.head + 1 :]
    faults = []
    for line, row in body:
        extra = next((j for j in range(layout.width, len(row)) if row[j].strip()), None)
        at = layout.places.get("wavelength")
        if extra is not None:
            comma = grid.separator == ","
            faults.append(
                Fault(
                    where=grid.place(line, extra),
                    what=f"'{row[extra].strip()}' stands beyond the last named column",
                    do="A decimal comma splits a number in two: use points, or quotes."
                    if comma
                    else "",
                )
            )
        elif at is not None and wavelength(_at(row, at)) is None:
            faults.append(
                Fault(
                    where=grid.place(line, at),
                    what=f"'{_at(row, at)}' is no wavelength",
                    allowed="360 to 780 nm",
                )
            )
    return faults


def _is_spectrum(values: Iterable[float]) -> bool:
    places = sorted(set(values))
    if len(places) < _FEWEST:
        return False
    gaps = Counter(round(b - a, 3) for a, b in pairwise(places))
    gap, count = gaps.most_common(1)[0]
    return gap in STEPS_NM and 2 * count >= len(places) - 1


def _split(text: str, source: str, separator: str) -> Grid | None:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    lines, rows, start = [], [], 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append(start)
                rows.append(tuple(cells))
            start = reader.line_num + 1
    except csv.Error:
        return None
    return Grid(source=source, lines=tuple(lines), rows=tuple(rows), separator=separator)


def _size(layout: Layout) -> int:
    if layout.kind == "rows":
        return len(layout.nm)
    column = layout.places["wavelength"]
    return sum(wavelength(_at(row, column)) is not None for row in layout.grid.rows)


def _by_lines(grid: Grid) -> Layout | None:
    for i, row in enumerate(grid.rows[:_LONGEST_HEAD]):
        heads = [_plain(cell) for cell in row]
        at = next((j for j, head in enumerate(heads) if head in _WAVELENGTH_WORDS), None)
        of = next((j for j, head in enumerate(heads) if head in _REFLECTANCE_WORDS), None)
        if at is None or of is None or not _is_spectrum(_below(grid, i, at)):
            continue
        places, ignored = _named_columns(row, {at: 0.0, of: 0.0})
        return Layout(
            grid=grid, kind="lines", head=i, nm={}, ignored=ignored,
            places=places | {"wavelength": at, "reflectance": of},
            says=_unit_in([row[of], *_above(grid, i)]),
        )  # fmt: skip
    return None


def _by_columns(grid: Grid) -> Layout | None:
    for i, row in enumerate(grid.rows[:_LONGEST_HEAD]):
        under = grid.rows[i + 1] if i + 1 < len(grid.rows) else ()
        head = _plain(_at(row, 0))
        starts = wavelength(_at(under, 0)) is not None and wavelength(_at(row, 0)) is None
        if starts and (not head or head in _WAVELENGTH_WORDS) and _is_spectrum(_below(grid, i, 0)):
            return Layout(
                grid=grid, kind="columns", head=i, nm={}, places={"wavelength": 0},
                says=_unit_in([*row, *_above(grid, i)]),
            )  # fmt: skip
    return None


def _above(grid: Grid, head: int) -> Iterator[str]:
    """List what lines above the heads say of reflectance; other per cents stand there too."""
    for row in grid.rows[:head]:
        line = " ".join(row)
        if _OF_REFLECTANCE.search(line):
            yield line


def _unit_in(texts: Iterable[str]) -> Unit | None:
    """Find the unit that heads say: per cent where any does, as a reflectance factor may be."""
    every = " ".join(texts)
    if _SAYS_PERCENT.search(every):
        return "per cent"
    return "fraction" if _SAYS_FRACTION.search(every) else None


def _below(grid: Grid, head: int, column: int) -> Iterator[float]:
    for row in grid.rows[head + 1 :]:
        value = wavelength(_at(row, column))
        if value is not None:
            yield value


def _named_columns(
    row: Sequence[str], taken: dict[int, float]
) -> tuple[dict[str, int], tuple[str, ...]]:
    """Find the columns that say whose a curve is, and name those that nobody asks for."""
    places: dict[str, int] = {}
    ignored = []
    for j, cell in enumerate(row):
        if j in taken:
            continue
        head = _plain(cell)
        name = "age_d" if head in _AGE_WORDS else head.replace(" ", "_")
        if name in COLUMNS and name not in places:
            places[name] = j
        elif (head in _LABEL_WORDS or (not head and j == 0)) and "label" not in places:
            places["label"] = j
        elif head:
            ignored.append(cell.strip())
    return places, tuple(ignored)


def _plain(head: str) -> str:
    """Take units and per cent signs off the head of a column."""
    bare = re.sub(r"[\[(].*?[\])]|[%,/]", " ", fold(head)).replace("_", " ")
    return " ".join(bare.split())


def _at(row: Sequence[str], column: int) -> str:
    return row[column].strip() if column < len(row) else ""


def _names(layout: Layout, row: Sequence[str]) -> dict[str, str]:
    return {
        name: _at(row, column)
        for name, column in layout.places.items()
        if name not in ("wavelength", "reflectance")
    }


def _curves_in_rows(layout: Layout) -> list[FoundCurve]:
    grid = layout.grid
    found = []
    for line, row in list(zip(grid.lines, grid.rows, strict=True))[layout.head + 1 :]:
        cells = tuple(
            Cell(nm=nm, text=_at(row, j), line=line, column=j) for j, nm in layout.nm.items()
        )
        found.append(
            FoundCurve(place=line_place(grid, line), names=_names(layout, row), cells=cells)
        )
    return found


def _curves_in_columns(layout: Layout) -> list[FoundCurve]:
    grid = layout.grid
    body = list(zip(grid.lines, grid.rows, strict=True))[layout.head + 1 :]
    width = max(len(row) for _, row in body)
    found = []
    for j in range(1, width):
        cells = tuple(
            Cell(nm=nm, text=_at(row, j), line=line, column=j)
            for line, row in body
            if (nm := wavelength(_at(row, 0))) is not None
        )
        label = _at(grid.rows[layout.head], j)
        place = grid.place(grid.lines[layout.head], j, label)
        found.append(FoundCurve(place=place, names={"label": label}, cells=cells))
    return found


def _curves_in_lines(layout: Layout) -> list[FoundCurve]:
    grid = layout.grid
    groups: dict[tuple[str, ...], tuple[str, dict[str, str], list[Cell]]] = {}
    for line, row in list(zip(grid.lines, grid.rows, strict=True))[layout.head + 1 :]:
        nm = wavelength(_at(row, layout.places["wavelength"]))
        if nm is None:
            continue
        names, column = _names(layout, row), layout.places["reflectance"]
        group = groups.setdefault(tuple(names.values()), (line_place(grid, line), names, []))
        group[2].append(Cell(nm=nm, text=_at(row, column), line=line, column=column))
    return [
        FoundCurve(place=place, names=names, cells=tuple(cells))
        for place, names, cells in groups.values()
    ]


def line_place(grid: Grid, line: int) -> str:
    """Say where a line is."""
    if grid.sheet:
        return f"{grid.source}, sheet '{grid.sheet}', row {line}"
    return f"{grid.source}, line {line}"

"""Files of reflectance curves as instruments export them: read, checked, and given as fractions."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from doe.errors import Fault, ResultsError
from doe.study.curves import Curve
from doe.study.finding import Finding
from doe.study.grid import Grid
from doe.study.numerals import Decimal, parse_number
from doe.study.reflectance_labels import CurveLabel, label_of_cells
from doe.study.reflectance_layout import (
    STEPS_NM,
    Cell,
    FoundCurve,
    Layout,
    curves_in,
    find_layout,
    stray_faults,
    text_layouts,
)
from doe.study.reflectance_scale import GREATEST, FloatArray, Scale, scale_of
from doe.study.sheet_grid import OLD_OFFICE_MARK, ZIP_MARK, read_sheet
from doe.study.tables import number_fault
from doe.study.text_grid import SEPARATORS, decode_text

FIRST_NM, LAST_NM = 360.0, 780.0
_SHAPES = (
    "one curve a row under heads such as 400 or R400, one curve a column beside the wavelengths, "
    "or lines of label, wavelength and reflectance"
)
_HAS_POINT = re.compile(r"\d*\.\d+|\d+\.")
_HAS_COMMA = re.compile(r"\d*,\d+|\d+,")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReflectanceFile:
    """What a file of reflectance holds.

    Attributes:
        curves: Fractions 0..1 over nm, in the order of the file; not numbered yet.
        findings: How the file was read, and what looks doubtful in it.
    """

    curves: tuple[Curve, ...]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Parsed:
    """One curve as numbers, in the unit of the file, by ascending wavelength."""

    place: str
    label: CurveLabel
    nm: FloatArray
    y: FloatArray
    cells: tuple[Cell, ...]


def is_reflectance_file(data: bytes, source: str) -> bool:
    """Tell whether a file holds reflectance curves, right or wrong ones.

    Args:
        data: Content of the file.
        source: Its name.
    """
    try:
        return _layout_of(data, source) is not None
    except ResultsError:
        return False


def read_reflectance(data: bytes, source: str) -> ReflectanceFile:
    """Read the reflectance curves of a file.

    Args:
        data: Content of the file: text parted by commas, semicolons or tabs, or an XLSX workbook,
            whose first sheet is read.
        source: Name of the file, for messages.

    Raises:
        ResultsError: The file holds no such curves, or some that cannot be used; all faults are
            reported together.
    """
    layout = _layout_of(data, source)
    if layout is None:
        raise ResultsError("no reflectance curves were found", where=source, allowed=_SHAPES)
    found = curves_in(layout)
    if not found:
        raise ResultsError("the table holds no reading", where=source, allowed=_SHAPES)
    faults = stray_faults(layout)
    decimal = _decimal_of(layout.grid, found)
    if isinstance(decimal, Fault):
        raise ResultsError.from_faults([*faults, decimal])
    parsed = [one for curve in found if (one := _parse(curve, layout, decimal, faults))]
    scale = _scale(parsed, layout, faults)
    kept, doubled = _one_a_label(parsed, faults)
    if faults or scale is None:
        raise ResultsError.from_faults(faults)
    findings = (*_how_read(layout, decimal), *scale.findings, *doubled)
    return ReflectanceFile(
        curves=tuple(_curve(one, scale.factor) for one in kept), findings=findings
    )


def _layout_of(data: bytes, source: str) -> Layout | None:
    if data.startswith(ZIP_MARK):
        sheet = read_sheet(data, source, None)
        # Texts with a decimal comma stay as they are; real numbers follow them.
        comma = any(
            _HAS_COMMA.fullmatch(cell.strip()) for row in sheet.texts().rows for cell in row
        )
        return find_layout(sheet.grid("," if comma else "."))
    if data.startswith(OLD_OFFICE_MARK):
        raise ResultsError(
            "the file is an XLS workbook of the old kind, or protected by a password",
            where=source,
            allowed="XLSX or text",
            do="Save it as XLSX without a password, or as CSV UTF-8.",
        )
    return text_layouts(decode_text(data, source), source)


def _decimal_of(grid: Grid, found: Sequence[FoundCurve]) -> Decimal | Fault:
    """Decide the decimal sign; reflectance has no thousands, so one sign says all."""
    point = comma = None
    for curve in found:
        for cell in curve.cells:
            if point is None and _HAS_POINT.fullmatch(cell.text):
                point = cell
            elif comma is None and _HAS_COMMA.fullmatch(cell.text):
                comma = cell
        if point and comma:
            break
    if point and comma:
        return Fault(
            where=grid.place(point.line, point.column),
            what=f"'{point.text}' has a decimal point, but '{comma.text}' "
            f"({grid.place(comma.line, comma.column)}) a decimal comma",
            allowed="one decimal sign in a file",
        )
    return "," if comma else "."


def _parse(
    curve: FoundCurve, layout: Layout, decimal: Decimal, faults: list[Fault]
) -> _Parsed | None:
    own = len(faults)
    label = label_of_cells(curve.names, curve.place)
    if isinstance(label, Fault):
        faults.append(label)
    cells = _each_once(curve, layout, faults)
    numbers = _numbers(cells, curve.place, layout, decimal, faults)
    faults.extend(_wavelength_faults([cell.nm for cell in cells], curve.place))
    if len(faults) > own or isinstance(label, Fault):
        return None
    nm = np.array([cell.nm for cell in cells])
    return _Parsed(place=curve.place, label=label, nm=nm, y=np.array(numbers), cells=cells)


def _each_once(curve: FoundCurve, layout: Layout, faults: list[Fault]) -> tuple[Cell, ...]:
    """Sort the cells by wavelength; one read twice must be the same."""
    first: dict[float, Cell] = {}
    for cell in curve.cells:
        before = first.setdefault(cell.nm, cell)
        if before.text != cell.text:
            faults.append(
                Fault(
                    where=layout.grid.place(cell.line, cell.column),
                    what=f"{cell.nm:g} nm has '{cell.text}', and '{before.text}' before "
                    f"({layout.grid.place(before.line, before.column)})",
                    allowed="one reading a wavelength and curve",
                    do="Label a second curve of the unit 'repeat 2'; keep one of two geometries.",
                )
            )
    return tuple(first[nm] for nm in sorted(first))


def _numbers(
    cells: Sequence[Cell], place: str, layout: Layout, decimal: Decimal, faults: list[Fault]
) -> list[float]:
    blank = [f"{cell.nm:g}" for cell in cells if not cell.text]
    if blank:
        faults.append(Fault(where=place, what=f"no reflectance at {', '.join(blank)} nm"))
    numbers = []
    for cell in cells:
        value = parse_number(cell.text, decimal)
        if value is not None:
            numbers.append(value)
        elif cell.text:
            where = layout.grid.place(cell.line, cell.column, f"{cell.nm:g} nm")
            faults.append(number_fault(cell.text, where))
    return numbers


def _wavelength_faults(nm: Sequence[float], place: str) -> list[Fault]:
    """Find what is wrong with the wavelengths of a curve; they ascend."""
    if len(nm) < 2:
        return [Fault(where=place, what="the curve has a single wavelength")]
    faults = []
    outside = [f"{one:g}" for one in nm if not FIRST_NM <= one <= LAST_NM]
    if outside:
        what = f"{', '.join(outside)} nm lie outside the visible range"
        faults.append(Fault(where=place, what=what, allowed=f"{FIRST_NM:g} to {LAST_NM:g} nm"))
    gaps = [round(b - a, 3) for a, b in pairwise(nm)]
    step = Counter(gaps).most_common(1)[0][0]
    if step not in STEPS_NM:
        allowed = ", ".join(f"{one:g}" for one in STEPS_NM) + " nm"
        what = f"the wavelengths go by steps of {step:g} nm"
        return [*faults, Fault(where=place, what=what, allowed=allowed)]
    for i, gap in enumerate(gaps):
        if gap != step:
            missing = gap > step and gap % step == 0
            due = f", and {nm[i] + step:g} nm is missing" if missing else ""
            what = f"the step from {nm[i]:g} to {nm[i + 1]:g} nm is {gap:g} nm{due}"
            faults.append(Fault(where=place, what=what, allowed=f"even steps, here {step:g} nm"))
    return faults


def _scale(parsed: Sequence[_Parsed], layout: Layout, faults: list[Fault]) -> Scale | None:
    source = layout.grid.source
    whites = [one.place for one in parsed if one.label.subject == "white"]
    found = scale_of({one.place: one.y for one in parsed}, source, says=layout.says, whites=whites)
    if isinstance(found, Fault):
        # A curve that was not read might have settled the unit.
        faults.extend([] if faults else [found])
        return None
    for one in parsed:
        for i in np.flatnonzero((one.y < 0.0) | (one.y * found.factor > GREATEST)):
            cell = one.cells[i]
            unit, end = ("%", 120) if found.factor < 1.0 else ("", GREATEST)
            faults.append(
                Fault(
                    where=layout.grid.place(cell.line, cell.column, f"{cell.nm:g} nm"),
                    what=f"a reflectance of {cell.text} {unit}".rstrip() + " cannot be",
                    allowed=f"0 to {end:g} {unit}".rstrip(),
                    do="Calibrate black and white, and read it again.",
                )
            )
    return found


def _one_a_label(
    parsed: Sequence[_Parsed], faults: list[Fault]
) -> tuple[list[_Parsed], list[Finding]]:
    """Keep one curve a label; the same one twice is told, two that differ are refused."""
    first: dict[CurveLabel, _Parsed] = {}
    told = []
    for one in parsed:
        before = first.setdefault(one.label, one)
        if before is one:
            continue
        if np.array_equal(before.nm, one.nm) and np.array_equal(before.y, one.y):
            what = f"{one.place}: the curve stands in {before.place} too, and is taken once."
            told.append(Finding(level="note", what=what))
        else:
            faults.append(
                Fault(
                    where=one.place,
                    what=f"the curve has the label of another, which differs ({before.place})",
                    do="Label the second 'repeat 2', or delete the one that is wrong.",
                )
            )
    return list(first.values()), told


def _how_read(layout: Layout, decimal: Decimal) -> list[Finding]:
    told, source = [], layout.grid.source
    separator = layout.grid.separator
    if separator not in ("", ",") or decimal == ",":
        parted = f"the columns are separated by {SEPARATORS[separator]} and " if separator else ""
        sign = "comma" if decimal == "," else "point"
        told.append(
            Finding(level="note", what=f"{source}: {parted}the decimal sign is the {sign}.")
        )
    if layout.ignored:
        names = ", ".join(f"'{name}'" for name in layout.ignored)
        told.append(Finding(level="note", what=f"{source}: the columns {names} are not used."))
    return told


def _curve(one: _Parsed, factor: float) -> Curve:
    label = one.label
    # Rounded where a float shows what 1/100 adds, so that both ways of writing give one curve.
    y = tuple(float(f"{value * factor:.12g}") for value in one.y)
    return Curve(
        subject=label.subject, run=label.run, day=label.day, card=label.card, panel=label.panel,
        age_d=label.age_d, repeat=label.repeat or 1, what=label.what,
        x=tuple(one.nm.tolist()), y=y, source=one.place,
    )  # fmt: skip

"""Flow curves as a rheometer gives them: long tables, or one column a curve."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from doe.errors import Fault, ResultsError
from doe.study.curves import Curve
from doe.study.flow_curve_heads import Head, Label, read_head, read_label, units_of
from doe.study.numerals import number_text
from doe.study.tables import Table, read_table
from doe.study.text_grid import decode_text

_LABELS = ("label", "curve", "name")
_AS_LABEL = "labels such as 'run 7', 'run 7 repeat 2' or 'run 7 panel 1 age 28 repeat 2'"


@dataclass(slots=True, kw_only=True)
class _Points:
    """The points of one curve while they are gathered: stress (Pa) by shear rate (1/s)."""

    label: Label
    source: str
    stress: dict[float, float] = field(default_factory=dict)


def read_flow_curves(data: bytes, source: str) -> tuple[Curve, ...]:
    """Read the flow curves of a file.

    A long table has a column of shear rates, one of shear stress or viscosity, and tells the curve
    by the columns `run`, `panel`, `age_d`, `repeat`, or by `label`. A wide one has a column of
    shear rates and one column a curve, `run 7 (Pa)` or `run 7 repeat 2 (mPa·s)`; the quantity may
    stand in the first head instead: `shear rate (1/s) / viscosity (mPa·s)`. Viscosities become
    stresses. Blank cells are left out; shear rates need not ascend.

    Args:
        data: The file: text (comma, semicolon or tab) or an XLSX workbook.
        source: Its name, for messages.

    Returns:
        The curves in order of coming, ids from 1: shear rate in 1/s, shear stress in Pa.

    Raises:
        ResultsError: The file has faults; the error holds all of them.
    """
    table = read_table(data, source)
    heads = {name: read_head(name) for name in table.names}
    faults: list[Fault] = []
    rates = _column_of_rates(table, heads, faults)
    values = [name for name, head in heads.items() if not head.name and _is_value(head)]
    if faults or rates is None:
        raise ResultsError.from_faults(faults)
    gathered = (
        _long(table, heads, rates, values, faults) if values else _wide(table, heads, rates, faults)
    )
    if not gathered and not faults:
        faults.append(Fault(where=source, what="the file holds no points of a flow curve"))
    if faults:
        raise ResultsError.from_faults(faults)
    return tuple(_curve(i, points) for i, points in enumerate(gathered, start=1))


def is_flow_curve_file(data: bytes, source: str) -> bool:
    """Tell whether a file means to hold flow curves, even where it has faults: by its heads."""
    try:
        names = read_table(data, source).names
    except ResultsError:
        names = _first_cells(data, source)
    heads = [read_head(name) for name in names]
    has_rates = any(head.quantity == "rate" and not head.name for head in heads)
    return has_rates and any(_is_value(head) or read_label(head.name) for head in heads)


def _first_cells(data: bytes, source: str) -> tuple[str, ...]:
    """Give the cells of the first line of a text that is no table; none of other files."""
    try:
        lines = decode_text(data, source).splitlines()
    except ResultsError:
        return ()
    first = next((line for line in lines if line.strip()), "")
    return tuple(cell.strip(' "') for cell in re.split(r"[,;\t]", first))


def _is_value(head: Head) -> bool:
    return head.quantity in ("stress", "viscosity")


def _column_of_rates(table: Table, heads: Mapping[str, Head], faults: list[Fault]) -> str | None:
    found = [name for name, head in heads.items() if head.quantity == "rate" and not head.name]
    if len(found) != 1:
        said = " and ".join(f"'{name}'" for name in found)
        what = f"{said} both hold shear rates" if found else "no column holds shear rates"
        allowed = "one column 'shear rate (1/s)'"
        faults.append(Fault(where=table.source, what=what, allowed=allowed))
        return None
    if heads[found[0]].factor is None:
        faults.append(_unit_fault(table, found[0], heads[found[0]]))
        return None
    return found[0]


def _unit_fault(table: Table, name: str, head: Head) -> Fault:
    quantity = head.quantity or "stress"
    said = f"the unit '{head.unit}' is none of a {quantity}" if head.unit else "the unit is missing"
    shown = "shear rate" if quantity == "rate" else quantity
    return Fault(
        where=f"{table.source}, column '{name}'",
        what=said,
        allowed=units_of(quantity),
        do=f"Put it in brackets behind the name: '{shown} ({units_of(quantity).split(',')[0]})'.",
    )


# --- one line a point ---------------------------------------------------------------------------


def _long(
    table: Table,
    heads: Mapping[str, Head],
    rates: str,
    values: Sequence[str],
    faults: list[Fault],
) -> list[_Points]:
    stresses = [name for name in values if heads[name].quantity == "stress"]
    chosen = (stresses or list(values))[0]
    if len(stresses or values) > 1:
        said = " and ".join(f"'{name}'" for name in stresses or values)
        what, do = f"{said} hold the same quantity", "Keep one of them."
        faults.append(Fault(where=table.source, what=what, do=do))
    if heads[chosen].factor is None:
        faults.append(_unit_fault(table, chosen, heads[chosen]))
    label_column = next((name for name in _LABELS if table.find(name)), None)
    if label_column is None and table.find("run") is None:
        what = "no column says which run each line belongs to"
        faults.append(Fault(where=table.source, what=what, allowed="'run' or 'label'"))
    if faults:
        return []
    gathered: dict[Label, _Points] = {}
    for i in range(len(table)):
        label = _label_of(table, i, label_column, faults)
        point = _point(table, i, (rates, heads[rates]), (chosen, heads[chosen]), faults)
        if label is not None and point is not None:
            where = f"{table.source}, from line {table.lines[i]}"
            points = gathered.setdefault(label, _Points(label=label, source=where))
            _add(points, point, table.place(i, rates), faults)
    return list(gathered.values())


def _label_of(table: Table, i: int, column: str | None, faults: list[Fault]) -> Label | None:
    if column is not None and (text := table.text(i, column)):
        label = read_label(text)
        if label is None:
            faults.append(_no_label(table.place(i, column), text))
        return label
    run = table.whole(i, "run", faults)
    panel, repeat = table.whole(i, "panel", faults), table.whole(i, "repeat", faults)
    age = table.number(i, "age_d", faults)
    if run is None:
        if not table.text(i, "run"):
            faults.append(
                Fault(where=table.place(i, column or "run"), what="the line names no run")
            )
        return None
    return Label(run=run, panel=panel, age_d=age, repeat=repeat or 1)


# --- one column a curve -------------------------------------------------------------------------


def _wide(
    table: Table, heads: Mapping[str, Head], rates: str, faults: list[Fault]
) -> list[_Points]:
    shared = read_head(heads[rates].rest.lstrip(" /;,:|→-"))
    gathered: dict[Label, _Points] = {}
    for name in table.names:
        if name == rates:
            continue
        head, where = heads[name], f"{table.source}, column '{name}'"
        label = read_label(head.name)
        if label is None:
            faults.append(_no_label(where, name))
            continue
        head = head if head.quantity or head.unit else shared
        if not _is_value(head):
            faults.append(_no_quantity(where, head))
            continue
        if head.factor is None:
            faults.append(_unit_fault(table, name, head))
            continue
        if label in gathered:
            what, do = "the curve stands in another column too", "Number them: 'run 7 repeat 2'."
            faults.append(Fault(where=where, what=what, do=do))
            continue
        points = gathered[label] = _Points(label=label, source=where)
        for i in range(len(table)):
            point = _point(table, i, (rates, heads[rates]), (name, head), faults)
            if point is not None:
                _add(points, point, table.place(i, name), faults)
    return [points for points in gathered.values() if points.stress]


def _no_label(where: str, text: str) -> Fault:
    return Fault(where=where, what=f"'{text}' names no run", allowed=_AS_LABEL)


def _no_quantity(where: str, head: Head) -> Fault:
    if head.unit:
        what = f"'{head.unit}' is no unit of shear stress or viscosity"
    else:
        what = "nothing says whether the column holds shear stress or viscosity"
    return Fault(
        where=where,
        what=what,
        allowed=f"{units_of('stress')} for stress, {units_of('viscosity')} for viscosity",
        do="Put the unit in brackets behind the label: 'run 7 (Pa)'.",
    )


# --- points -------------------------------------------------------------------------------------


def _point(
    table: Table, i: int, rates: tuple[str, Head], values: tuple[str, Head], faults: list[Fault]
) -> tuple[float, float] | None:
    """Read one point, in 1/s and Pa; None where its value is blank or wrong."""
    found = []
    for name, head in (rates, values):
        number = table.number(i, name, faults)
        if number is not None and number <= 0.0:
            faults.append(
                Fault(
                    where=table.place(i, name),
                    what=f"{table.text(i, name)} is not above 0",
                    do="Take the point out: the instrument could not tell it from nothing.",
                )
            )
            number = None
        found.append(None if number is None else number * (head.factor or 1.0))
    rate, value = found
    if value is not None and rate is None and not table.text(i, rates[0]):
        what = "a value stands here without its shear rate"
        faults.append(Fault(where=table.place(i, rates[0]), what=what))
    if rate is None or value is None:
        return None
    return rate, value * rate if values[1].quantity == "viscosity" else value


def _add(points: _Points, point: tuple[float, float], where: str, faults: list[Fault]) -> None:
    rate, stress = point
    if rate in points.stress:
        faults.append(
            Fault(
                where=where,
                what=f"the shear rate {number_text(rate)} 1/s stands twice in the curve of "
                f"run {points.label.run}",
                do="Keep one branch of an up-and-down curve, and number repeats.",
            )
        )
    points.stress.setdefault(rate, stress)


def _curve(number: int, points: _Points) -> Curve:
    rates = sorted(points.stress)
    return Curve(
        id=number,
        run=points.label.run,
        panel=points.label.panel,
        age_d=points.label.age_d,
        repeat=points.label.repeat,
        x=tuple(rates),
        y=tuple(points.stress[rate] for rate in rates),
        source=points.source,
    )

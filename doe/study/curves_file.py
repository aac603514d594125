"""`raw/curves/reflectance.csv` and its like: one line a curve, one column a place on it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from doe.errors import Fault, StudyError
from doe.study.csv_text import write_csv
from doe.study.curves import Curve, Subject
from doe.study.numerals import number_text, parse_number
from doe.study.tables import Table, read_table

COLUMNS = (
    "id", "replaces", "entered", "subject", "run", "day", "card", "panel", "age_d", "repeat",
    "what", "source",
)  # fmt: skip


def encode_curves(curves: Sequence[Curve]) -> bytes:
    """Write all curves, one a line, in order of entry."""
    places = sorted({x for curve in curves for x in curve.x})
    rows = []
    for curve in curves:
        values = dict(zip(curve.x, curve.y, strict=True))
        rows.append([*(getattr(curve, name) for name in COLUMNS), *(values.get(x) for x in places)])
    return write_csv((*COLUMNS, *map(number_text, places)), rows).encode()


def decode_curves(data: bytes, where: str) -> tuple[Curve, ...]:
    """Read all curves.

    Raises:
        StudyError: The file has faults; the error holds all of them.
    """
    table = read_table(data, where, ours=True, error=StudyError)
    faults: list[Fault] = []
    if table.find("id") is None or table.find("subject") is None:
        raise StudyError("the columns 'id' and 'subject' are needed", where=where)
    places = [(x, name) for name in table.names if (x := parse_number(name, ".")) is not None]
    curves = [_curve(table, i, sorted(places), faults) for i in range(len(table))]
    if faults:
        raise StudyError.from_faults(faults)
    return tuple(curve for curve in curves if curve is not None)


def _curve(
    table: Table, i: int, places: Sequence[tuple[float, str]], faults: list[Fault]
) -> Curve | None:
    before = len(faults)
    number = table.whole(i, "id", faults)
    said = table.text(i, "subject")
    subjects: dict[str, Subject] = {one: one for one in get_args(Subject)}
    if said not in subjects:
        what, allowed = f"'{said}' is nothing that is read", ", ".join(subjects)
        faults.append(Fault(where=table.place(i, "subject"), what=what, allowed=allowed))
    points = [(x, y) for x, name in places if (y := table.number(i, name, faults)) is not None]
    if not points:
        faults.append(Fault(where=table.place(i, "id"), what="the curve has no values"))
    whole = {name: table.whole(i, name, faults) for name in ("replaces", "run", "day", "panel")}
    repeat, age = table.whole(i, "repeat", faults), table.number(i, "age_d", faults)
    if len(faults) > before or number is None:
        return None
    return Curve(
        id=number, replaces=whole["replaces"], entered=table.text(i, "entered"),
        subject=subjects[said], run=whole["run"], day=whole["day"], card=table.text(i, "card"),
        panel=whole["panel"], age_d=age, repeat=repeat or 1, what=table.text(i, "what"),
        x=tuple(x for x, _ in points), y=tuple(y for _, y in points),
        source=table.text(i, "source"),
    )  # fmt: skip

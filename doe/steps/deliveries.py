"""Files from the bench, read into what they hold: readings, raw readings, curves, actuals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from doe.errors import Fault, ResultsError
from doe.sheets.raw_in import ShownValue
from doe.sheets.raw_table_in import read_raw_table
from doe.sheets.recognise import is_workbook
from doe.sheets.sheet_text_in import read_sheet_text
from doe.sheets.workbook_in import read_workbook
from doe.steps.session import Session
from doe.study.curves import Curve
from doe.study.finding import Finding
from doe.study.flow_curve_file import is_flow_curve_file, read_flow_curves
from doe.study.plan import Plan
from doe.study.raw_data import FLOW_CURVE, REFLECTANCE
from doe.study.readings import Actual, Reading
from doe.study.reflectance_file import is_reflectance_file, read_reflectance
from doe.study.tables import read_table

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What one or several files hold.

    Attributes:
        readings: Values of responses, entered as they are.
        raw: Raw readings by test.
        curves: By kind of curve.
        actuals: What was really done.
        shown: What a spreadsheet computed from the raw readings.
        findings: What the reader ought to know of the files.
    """

    readings: tuple[Reading, ...] = ()
    raw: Mapping[str, tuple[Reading, ...]]
    curves: Mapping[str, tuple[Curve, ...]]
    actuals: tuple[Actual, ...] = ()
    shown: tuple[ShownValue, ...] = ()
    findings: tuple[Finding, ...] = ()


def read_deliveries(delivered: Mapping[Path, bytes], session: Session, plan: Plan) -> Delivery:
    """Read every file, gathering the faults of all of them.

    Raises:
        ResultsError: The files have faults; the error holds all of them.
    """
    found: list[Delivery] = []
    faults: list[Fault] = []
    for file, data in delivered.items():
        try:
            found.append(_read(file.name, data, session, plan))
        except ResultsError as error:
            faults += error.faults
    faults += _strange_runs(found, plan)
    if faults:
        raise ResultsError.from_faults(faults)
    return Delivery(
        readings=tuple(row for one in found for row in one.readings),
        raw=_joined([one.raw for one in found]),
        curves=_joined([one.curves for one in found]),
        actuals=tuple(row for one in found for row in one.actuals),
        shown=tuple(row for one in found for row in one.shown),
        findings=tuple(finding for one in found for finding in one.findings),
    )


def _read(name: str, data: bytes, session: Session, plan: Plan) -> Delivery:
    book = (
        read_workbook(data, session.study, plan, source=name)
        if is_workbook(data)
        else read_sheet_text(data, session.study, plan, source=name)
    )
    if book is not None:
        return Delivery(
            readings=book.readings,
            raw=book.raw,
            curves={},
            actuals=book.actuals,
            shown=book.shown,
            findings=book.findings,
        )
    if is_reflectance_file(data, name):
        file = read_reflectance(data, name)
        return Delivery(raw={}, curves={REFLECTANCE: file.curves}, findings=file.findings)
    if is_flow_curve_file(data, name):
        return Delivery(raw={}, curves={FLOW_CURVE: read_flow_curves(data, name)})
    table = read_table(data, name)
    entries = read_raw_table(table, session.study, plan)
    return Delivery(
        readings=entries.readings, raw=entries.raw, curves={},
        findings=(*table.notes, *entries.findings),
    )  # fmt: skip


def _joined(parts: Sequence[Mapping[str, tuple[T, ...]]]) -> dict[str, tuple[T, ...]]:
    joined: dict[str, tuple[T, ...]] = {}
    for part in parts:
        for name, rows in part.items():
            joined[name] = (*joined.get(name, ()), *rows)
    return joined


def _strange_runs(found: list[Delivery], plan: Plan) -> list[Fault]:
    """Name curves of runs that the plan does not have."""
    known = set(plan.run)
    return [
        Fault(
            where=curve.source,
            what=f"the plan has no run {curve.run}",
            allowed=f"runs {min(known)} to {max(known)}",
        )
        for one in found
        for curves in one.curves.values()
        for curve in curves
        if curve.run is not None and curve.run not in known
    ]

"""The filled bench workbook, read back: readings, actuals, and what looks odd in them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from openpyxl.workbook import Workbook

from doe.errors import Fault, ResultsError
from doe.methods.raw_columns import bench_tests
from doe.recipe.actual import check_weighing
from doe.sheets.asks import DATE_DONE, Ask, BatchForm, bench_forms
from doe.sheets.book_form import READINGS, WEIGHING, run_marks
from doe.sheets.book_pages import Page, Spot, open_book, read_page
from doe.sheets.cell_in import CellReader, decide_sign
from doe.sheets.machine import Machine, read_machine
from doe.sheets.raw_in import ShownValue, raw_heads, raw_spots, read_raw
from doe.sheets.readings_in import read_readings
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.hashes import region_hash
from doe.study.names import fold
from doe.study.numerals import number_text
from doe.study.plan import Plan
from doe.study.readings import Actual, Reading

_WEIGHING_HEADS = ("unit", "what", "actual")
_UNIT_HEADS = ("unit",)


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkbookEntries:
    """What a bench workbook says.

    Attributes:
        readings: In the order of the sheet, numbered from 1; whoever takes them in numbers them
            anew.
        actuals: Grams, settings reached, order and day as done.
        findings: What looks odd: weighings off target or transposed, notes, a brief changed since.
        raw: Raw readings by name of the test, in the order of its sheet, numbered from 1; the
            response of each is its raw column.
        shown: What the spreadsheet has computed from them.
    """

    readings: tuple[Reading, ...]
    actuals: tuple[Actual, ...]
    findings: tuple[Finding, ...]
    raw: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    shown: tuple[ShownValue, ...] = ()


def read_workbook(
    data: bytes, study: Study, plan: Plan, source: str = "bench.xlsx"
) -> WorkbookEntries:
    """Read a bench workbook that was filled in, as far as it is.

    Args:
        data: The XLSX file, as `workbook_bytes` wrote it and a spreadsheet saved it.
        study: The brief.
        plan: The plan; it may have grown since the workbook was written.
        source: Name of the file, for messages and for the source of readings.

    Raises:
        ResultsError: It is no bench workbook, belongs to another plan, or holds entries that
            cannot be understood: all of them together, each with its sheet and cell.
    """
    book = open_book(data, source)
    machine = read_machine(book[0], source)
    _check_plan(machine, plan, source)
    forms = bench_forms(study, plan) if WEIGHING in machine.sheets else ()
    tests = bench_tests(study)
    faults: list[Fault] = []
    pages = _read_pages(book, machine, source)
    for page in pages.values():
        faults += page.faults
    sign, sign_faults, findings = decide_sign(
        (*_entry_spots(pages, machine), *raw_spots(pages, machine.raw, tests))
    )
    faults += sign_faults
    reader = CellReader(sign=sign, faults=faults)
    actuals = _read_actuals(pages, machine, forms, reader)
    readings, notes = _read_plain(pages, machine, study, plan, reader)
    raw = read_raw(pages, machine.raw, tests, (study, plan), reader)
    if faults:
        raise ResultsError.from_faults(dict.fromkeys(faults))
    return WorkbookEntries(
        readings=_from_file(readings, source),
        actuals=(*actuals, *raw.actuals),
        findings=(
            *_changed_since(machine, study, source),
            *findings,
            *notes,
            *raw.findings,
            *_weighing_findings(forms, actuals),
        ),
        raw={name: _from_file(those, source) for name, those in raw.readings.items()},
        shown=tuple(raw.shown),
    )


def _read_plain(
    pages: Mapping[str, Page], machine: Machine, study: Study, plan: Plan, reader: CellReader
) -> tuple[list[Reading], list[Finding]]:
    """Read the readings that are entered as they are; a workbook may have none."""
    if READINGS not in machine.sheets:
        return [], []
    return read_readings(
        pages[READINGS], machine.columns, study, plan, reader, for_some=machine.is_for_some
    )


def _from_file(readings: Iterable[Reading], source: str) -> tuple[Reading, ...]:
    return tuple(replace(one, source=f"{source}, {one.source}") for one in readings)


def missing_runs(data: bytes, plan: Plan) -> tuple[int, ...]:
    """Find the runs of a plan that a workbook does not hold as they stand now.

    Returns:
        Run numbers; every one where the file is no bench workbook at all.
    """
    try:
        marks = read_machine(open_book(data, "")[0], "").marks
    except ResultsError:
        return plan.run
    return tuple(run for run, mark in run_marks(plan).items() if marks.get(run) != mark)


def _check_plan(machine: Machine, plan: Plan, source: str) -> None:
    marks = run_marks(plan)
    strange = [run for run, mark in machine.marks.items() if marks.get(run) != mark]
    if not strange:
        return
    shown = ", ".join(str(run) for run in strange[:6]) + (" …" if len(strange) > 6 else "")
    raise ResultsError(
        f"the workbook belongs to another study or plan: its run{'s' if len(strange) > 1 else ''} "
        f"{shown} {'are' if len(strange) > 1 else 'is'} not as plan.csv has them",
        where=source,
        do="Enter the workbook of this study; `millbase sheet` writes a new one.",
    )


def _read_pages(book: tuple[Workbook, Workbook], machine: Machine, source: str) -> dict[str, Page]:
    """Read every sheet that is filled in."""
    heads: dict[str, list[str]] = {}
    if WEIGHING in machine.sheets:
        heads[WEIGHING] = list(_WEIGHING_HEADS)
    for column in machine.columns:
        first = ("run", "repeat") if column.sheet == READINGS else _UNIT_HEADS
        heads.setdefault(column.sheet, list(first)).append(column.head)
    if READINGS in machine.sheets:
        heads.setdefault(READINGS, ["run", "repeat"])
    heads |= raw_heads(machine.raw)
    return {title: read_page(book, title, wanted, source) for title, wanted in heads.items()}


def _entry_spots(pages: Mapping[str, Page], machine: Machine) -> Iterator[Spot]:
    """Give the cells to fill in of all sheets."""
    if WEIGHING in pages:
        for _, spot in pages[WEIGHING].cells("actual"):
            yield spot
    for column in machine.columns:
        for _, spot in pages[column.sheet].cells(column.head):
            yield spot


def _read_actuals(
    pages: Mapping[str, Page],
    machine: Machine,
    forms: Sequence[BatchForm],
    reader: CellReader,
) -> tuple[Actual, ...]:
    asks = {(fold(ask.unit), fold(ask.what)): ask for ask in _all_asks(forms)}
    found: dict[tuple[str, str], tuple[Spot, Actual]] = {}
    dates: dict[str, str] = {}
    for unit, what, spot in _actual_spots(pages, machine):
        ask = asks.get((fold(unit), fold(what)))
        if ask is None:
            reader.faults.append(_no_ask(spot, unit, what))
            continue
        if ask.what == DATE_DONE:
            dates[ask.unit] = reader.date(spot)
            continue
        value = _actual_value(spot, ask, reader)
        if not value:
            continue
        key = (ask.unit, ask.what)
        if key in found and found[key][1].value != value:
            reader.faults.append(_twice(spot, found[key][0], ask))
        found[key] = (spot, Actual(unit=ask.unit, what=ask.what, value=value))
    return tuple(replace(one, when=dates.get(one.unit, "")) for _, one in found.values())


def _all_asks(forms: Iterable[BatchForm]) -> Iterator[Ask]:
    for form in forms:
        yield from form.asks
        for sample in form.samples:
            yield from sample.asks
            for panel in sample.panels:
                yield from panel


def _actual_spots(pages: Mapping[str, Page], machine: Machine) -> Iterator[tuple[str, str, Spot]]:
    """Give every filled cell of an actual with its unit and what it is of."""
    weighing = pages.get(WEIGHING, Page(title=WEIGHING, heads={}, rows=()))
    for row, spot in weighing.cells("actual"):
        unit, what = weighing.at(row, "unit"), weighing.at(row, "what")
        if not spot.is_blank and unit is not None and what is not None:
            yield unit.text, what.text, spot
    for column in machine.columns:
        page = pages[column.sheet]
        if column.sheet == READINGS:
            continue
        for row, spot in page.cells(column.head):
            unit = page.at(row, "unit")
            if not spot.is_blank and unit is not None:
                yield unit.text, column.what, spot


def _actual_value(spot: Spot, ask: Ask, reader: CellReader) -> str:
    """Read the answer to an ask as `actuals.csv` holds it; empty after a fault."""
    if ask.kind == "word":
        return reader.level(spot, ask.levels)
    number: float | None
    if ask.kind == "whole":
        number = reader.whole(spot)
    elif ask.kind == "grams":
        number = reader.grams(spot)
    else:
        number = reader.number(spot)
    return "" if number is None else number_text(number)


def _no_ask(spot: Spot, unit: str, what: str) -> Fault:
    return Fault(
        where=spot.where,
        what=f"'{what}' of {unit or 'no unit'} is not asked for by the plan",
        do="Give unit and name back as the workbook had them; after a change of the brief write "
        "a new workbook with `millbase sheet`.",
    )


def _twice(spot: Spot, earlier: Spot, ask: Ask) -> Fault:
    return Fault(
        where=spot.where,
        what=f"'{ask.what}' of {ask.unit} stands twice, as {spot.text} and, in {earlier.where}, "
        f"as {earlier.text}",
        do="Keep the right one.",
    )


def _changed_since(machine: Machine, study: Study, source: str) -> Iterator[Finding]:
    if machine.region != region_hash(study):
        yield Finding(
            level="note",
            what=f"{source}: the brief has changed since this workbook was written.",
            evidence={"workbook": machine.region, "brief": region_hash(study)},
            advice="Its runs stand as they were planned.",
        )


def _weighing_findings(forms: Sequence[BatchForm], actuals: Sequence[Actual]) -> Iterator[Finding]:
    """Compare all grams with their targets, unit by unit."""
    grams: dict[str, dict[str, float]] = {}
    for one in actuals:
        grams.setdefault(one.unit, {})[one.what] = _number(one.value)
    for form in forms:
        units = [(form.batch.unit, form.weighing)]
        units += [(sample.sample.unit, sample.asks) for sample in form.samples]
        for unit, asks in units:
            lines = [replace(ask.line, name=ask.what) for ask in asks if ask.line is not None]
            yield from check_weighing(lines, grams.get(unit, {}), unit=unit)


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")  # a level of a named choice; no line of a recipe bears its name

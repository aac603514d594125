"""The sheets of raw readings, read back: readings by test, dates and cards, what was computed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from doe.errors import Fault
from doe.methods.method import RawColumn
from doe.methods.raw_columns import BenchTest
from doe.sheets.bench_tests import ages_of
from doe.sheets.book_form import CARD, DATE_BEGUN, DRAWDOWNS, film_record
from doe.sheets.book_pages import Page, Spot
from doe.sheets.cell_in import CellReader
from doe.sheets.raw_form import RawEntry
from doe.sheets.raw_lines import lead_runs, read_units
from doe.sheets.readings_in import note_finding, stands_twice
from doe.sheets.row_units import RowFrame, RowUnit, units_of_rows
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.readings import Actual, Reading, ReadingKey


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownValue:
    """What the spreadsheet computed of a response, as its file keeps it.

    Attributes:
        response: The response.
        run: First run of the unit.
        panel: Panel number; None where the response has no panels.
        age_d: Age, days; None without.
        repeat: 1 for the first reading.
        value: Response unit.
        where: File, sheet and cell.
    """

    response: str
    run: int
    panel: int | None
    age_d: float | None
    repeat: int
    value: float
    where: str


@dataclass(slots=True, kw_only=True)
class RawEntries:
    """What all sheets of raw readings say, gathered sheet by sheet."""

    readings: dict[str, tuple[Reading, ...]] = field(default_factory=dict)
    shown: list[ShownValue] = field(default_factory=list)
    actuals: list[Actual] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """One sheet: its cells, what it was written with, and the test as it stands now."""

    page: Page
    entries: tuple[RawEntry, ...]
    test: BenchTest
    columns: Mapping[str, RawColumn]


def raw_heads(raw: Sequence[RawEntry]) -> dict[str, list[str]]:
    """Give the sheets that are read back with the columns that must be there."""
    heads: dict[str, list[str]] = {}
    for one in raw:
        if one.kind == "raw":
            heads.setdefault(one.sheet, ["run", "repeat"]).append(one.head)
        elif one.kind == "card":
            heads[one.sheet] = ["run", one.head]
    return heads


def raw_spots(
    pages: Mapping[str, Page], raw: Sequence[RawEntry], tests: Sequence[BenchTest]
) -> Iterator[Spot]:
    """Give the cells of raw readings that hold numbers, words of ratings left out."""
    ratings = {
        (fold(test.table.name), fold(column.name))
        for test in tests
        for column in test.table.columns
        if column.ratings
    }
    names = {one.sheet: fold(one.what) for one in raw if one.kind == "test"}
    for one in raw:
        if one.kind == "raw" and (names.get(one.sheet), fold(one.what)) not in ratings:
            for _, spot in pages[one.sheet].cells(one.head):
                yield spot


def read_raw(
    pages: Mapping[str, Page],
    raw: Sequence[RawEntry],
    tests: Sequence[BenchTest],
    study_plan: tuple[Study, Plan],
    reader: CellReader,
) -> RawEntries:
    """Read every sheet of raw readings.

    Args:
        pages: The sheets, by name.
        raw: What the file keeps of them.
        tests: The tests that the brief asks for now.
        study_plan: The brief and the plan.
        reader: Reads cells and gathers what it cannot understand.
    """
    found = RawEntries()
    by_name = {fold(test.table.name): test for test in tests}
    for own in raw:
        if own.kind != "test":
            continue
        entries = tuple(one for one in raw if one.sheet == own.sheet)
        test, page = by_name.get(fold(own.what)), pages.get(own.sheet)
        if page is None:
            continue  # names of curves only: nothing was to be filled in
        if test is None:
            found.findings.extend(_no_test(page, entries))
            continue
        columns = _columns(page, entries, test, reader, found.findings)
        sheet = _Sheet(page=page, entries=entries, test=test, columns=columns)
        _read_sheet(sheet, study_plan, reader, found)
    if any(one.kind == "card" for one in raw):
        found.actuals += _cards(pages[DRAWDOWNS], raw, by_name, study_plan, reader)
    return found


def _columns(
    page: Page,
    entries: Sequence[RawEntry],
    test: BenchTest,
    reader: CellReader,
    findings: list[Finding],
) -> dict[str, RawColumn]:
    """Match the columns of a sheet with those of its test, by head."""
    known = {fold(column.name): column for column in test.table.columns}
    matched = {}
    for one in entries:
        if one.kind != "raw":
            continue
        column = known.get(fold(one.what))
        filled = next((spot for _, spot in page.cells(one.head) if not spot.is_blank), None)
        if column is not None and column.unit == one.measure:
            matched[one.head] = column
        elif column is not None and filled is not None:
            reader.faults.append(
                Fault(
                    where=filled.where,
                    what=f"'{one.what}' is entered in {one.measure or 'no unit'}, but the method "
                    f"takes it in {column.unit or 'no unit'}",
                    do="Write a new workbook with `millbase sheet` and convert the readings.",
                )
            )
        elif filled is not None:
            findings.append(
                Finding(
                    level="note",
                    what=f"Sheet '{page.title}': the column '{one.head}' is left out; no method "
                    "of the brief reads it.",
                )
            )
    return matched


def _no_test(page: Page, entries: Sequence[RawEntry]) -> Iterator[Finding]:
    filled = any(
        not spot.is_blank
        for one in entries
        if one.kind == "raw"
        for _, spot in page.cells(one.head)
    )
    if filled:
        yield Finding(
            level="note",
            what=f"The sheet '{page.title}' is left out; no response of the brief reads it.",
        )


def _read_sheet(
    sheet: _Sheet, study_plan: tuple[Study, Plan], reader: CellReader, found: RawEntries
) -> None:
    """Read one sheet into what was found."""
    study, plan = study_plan
    frame = RowFrame(
        plan=plan, leads=lead_runs(study, plan, sheet.test.per), ages_d=ages_of(sheet.test)
    )
    rows = [*units_of_rows(sheet.page, list(sheet.columns), frame, reader)]
    readings: dict[ReadingKey, tuple[Spot, Reading]] = {}
    for row, unit in rows:
        if unit.note:
            found.findings.append(note_finding(unit))
        for head, column in sheet.columns.items():
            spot = sheet.page.at(row, head)
            reading = None if spot is None else _reading(sheet, spot, column, unit, reader)
            if spot is None or reading is None:
                continue
            known = readings.setdefault(reading.key, (spot, reading))
            reader.faults.extend(stands_twice(spot, reading, *known))
        found.shown += _shown(sheet, row, unit)
    found.findings += _strange_ages(sheet, [unit for _, unit in rows])
    found.actuals += _dates(sheet, frame, study, reader)
    name = sheet.test.table.name
    numbered = enumerate((one for _, one in readings.values()), start=1)
    if readings:
        found.readings[name] = tuple(replace(one, id=number) for number, one in numbered)


def _reading(
    sheet: _Sheet, spot: Spot, column: RawColumn, unit: RowUnit, reader: CellReader
) -> Reading | None:
    said = (
        reader.rating(spot, column.ratings, column.spellings)
        if column.ratings
        else reader.reading(spot)
    )
    if said is None or said.flag is None:
        return None
    cell = spot.where.rsplit(" ", 1)[-1]
    return Reading(
        id=1,
        run=unit.run,
        panel=unit.panel if sheet.test.per == "panel" else None,
        age_d=unit.age_d,
        repeat=unit.repeat,
        response=column.name,
        value=said.value,
        value_to=said.value_to,
        flag=said.flag,
        because=unit.note,
        source=f"{sheet.page.title} {cell}",
    )


def _shown(sheet: _Sheet, row: Sequence[Spot], unit: RowUnit) -> Iterator[ShownValue]:
    """Give the numbers that the spreadsheet has computed in a row."""
    responses = {fold(one.name): one for one in sheet.test.responses}
    for one in sheet.entries:
        spot = sheet.page.at(row, one.head) if one.kind == "computed" else None
        response = responses.get(fold(one.what))
        if spot is None or response is None or isinstance(spot.value, bool):
            continue
        if isinstance(spot.value, int | float):
            yield ShownValue(
                response=response.name,
                run=unit.run,
                panel=unit.panel if response.per == "panel" else None,
                age_d=unit.age_d,
                repeat=unit.repeat,
                value=float(spot.value),
                where=spot.where,
            )


def _strange_ages(sheet: _Sheet, units: Sequence[RowUnit]) -> Iterator[Finding]:
    """Name readings at an age that nothing in the brief asks for."""
    asked = ages_of(sheet.test)
    if asked == (None,):
        return
    strange = [unit for unit in units if unit.age_d not in asked]
    for age_d in dict.fromkeys(unit.age_d for unit in strange):
        runs = ", ".join(str(unit.run) for unit in strange if unit.age_d == age_d)
        age = "no age" if age_d is None else f"{age_d:g} d"
        yield Finding(
            level="note",
            what=f"Sheet '{sheet.page.title}': run {runs} is read at {age}, which no response of "
            "the brief asks for.",
            advice="Correct the age, or say it in the brief.",
        )


def _dates(sheet: _Sheet, frame: RowFrame, study: Study, reader: CellReader) -> Iterator[Actual]:
    """Read when the test of each unit began; the first date of a unit counts."""
    head = next((one.head for one in sheet.entries if one.kind == "begun"), "")
    names = {unit.run: unit.name for unit in read_units(study, frame.plan, sheet.test.per)}
    what = film_record(sheet.test.table.name, DATE_BEGUN)
    dated: set[int] = set()
    for row, spot in sheet.page.cells(head):
        run = sheet.page.at(row, "run")
        if spot.is_blank or spot.is_uncomputed or run is None or run.is_blank:
            continue
        number = reader.whole(run)
        lead = frame.leads.get(number or 0)
        if lead is None or lead in dated:
            continue
        dated.add(lead)
        if date := reader.date(spot):
            yield Actual(unit=names[lead], what=what, value=date)


def _cards(
    page: Page,
    raw: Sequence[RawEntry],
    tests: Mapping[str, BenchTest],
    study_plan: tuple[Study, Plan],
    reader: CellReader,
) -> Iterator[Actual]:
    """Read which card each unit was really drawn on."""
    study, plan = study_plan
    head = next(one.head for one in raw if one.kind == "card")
    for row, spot in page.cells(head):
        run, test_spot = page.at(row, "run"), page.at(row, "test")
        test = tests.get(fold(test_spot.text)) if test_spot else None
        if spot.is_blank or run is None or test is None:
            continue
        names = {unit.run: unit.name for unit in read_units(study, plan, test.per)}
        number = reader.whole(run)
        if number in names:
            what = film_record(test.table.name, CARD)
            yield Actual(unit=names[number], what=what, value=spot.text)

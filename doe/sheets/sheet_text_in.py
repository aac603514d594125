"""One sheet of the workbook that a spreadsheet saved as text, read back like the workbook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from openpyxl.utils import get_column_letter

from doe.errors import Fault, ResultsError
from doe.methods.raw_columns import bench_tests
from doe.sheets.bench_tests import plain_responses
from doe.sheets.book_form import READINGS, EntryColumn
from doe.sheets.book_pages import Page, Spot, page_of
from doe.sheets.cell_in import CellReader, decide_sign
from doe.sheets.raw_form import RawEntry, raw_forms
from doe.sheets.raw_in import raw_heads, read_raw
from doe.sheets.raw_sheets import TAKEN_TITLES
from doe.sheets.readings_in import read_readings
from doe.sheets.wording import with_unit
from doe.sheets.workbook_in import WorkbookEntries
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.grid import Grid
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.readings import Reading
from doe.study.text_grid import decode_text, text_grid


def read_sheet_text(data: bytes, study: Study, plan: Plan, source: str) -> WorkbookEntries | None:
    """Read a sheet of readings or raw readings that was saved as CSV, in either decimal sign.

    Args:
        data: The file: commas, semicolons or tabs.
        study: The brief.
        plan: The plan.
        source: Name of the file, for messages and for the source of readings.

    Returns:
        What it says; None where the file is no sheet of the workbook: its title stands above the
        headers. What the spreadsheet computed is left out, as a text may show it rounded.

    Raises:
        ResultsError: It holds entries that cannot be understood: all of them together.
    """
    rows = _rows(data, source)
    title = rows[0][0].text if rows and rows[0] else ""
    if not title or any(not spot.is_blank for spot in rows[0][1:]):
        return None
    forms = {fold(one.title): one for one in raw_forms(bench_tests(study), plan, TAKEN_TITLES)}
    if fold(title) == fold(READINGS):
        return _readings(rows, study, plan, source)
    form = forms.get(fold(title))
    return None if form is None or not form.raw else _raw(rows, form.entries(), study, plan, source)


def _rows(data: bytes, source: str) -> list[tuple[Spot, ...]]:
    """Split a text into cells; none where it is no text, which others tell."""
    try:
        grid = text_grid(decode_text(data, source), source)
    except ResultsError:
        return []
    width = max((len(row) for row in grid.rows), default=0)
    return [_spots(grid, line, (*row, *[""] * (width - len(row))))
            for line, row in zip(grid.lines, grid.rows, strict=True)]  # fmt: skip


def _spots(grid: Grid, line: int, row: Sequence[str]) -> tuple[Spot, ...]:
    return tuple(
        Spot(where=f"{grid.source}, cell {get_column_letter(place)}{line}", value=cell or None)
        for place, cell in enumerate(row, start=1)
    )


def _reader(page: Page) -> tuple[CellReader, list[Finding]]:
    """Decide the decimal sign by all cells of a sheet."""
    spots = [spot for row in page.rows for spot in row]
    sign, faults, findings = decide_sign(spots)
    return CellReader(sign=sign, faults=[*page.faults, *faults]), findings


def _readings(
    rows: Sequence[tuple[Spot, ...]], study: Study, plan: Plan, source: str
) -> WorkbookEntries:
    columns = [
        EntryColumn(
            sheet=READINGS, head=with_unit(one.name, one.unit), what=one.name, measure=one.unit
        )
        for one in plain_responses(study.responses)
    ]
    page = page_of(rows, READINGS, ["run", "repeat"], source)
    reader, findings = _reader(page)
    readings, notes = read_readings(page, columns, study, plan, reader)
    _refuse(reader.faults)
    return WorkbookEntries(
        readings=_from_file(readings, source), actuals=(), findings=(*findings, *notes)
    )


def _raw(
    rows: Sequence[tuple[Spot, ...]],
    entries: Sequence[RawEntry],
    study: Study,
    plan: Plan,
    source: str,
) -> WorkbookEntries:
    title = entries[0].sheet
    page = page_of(rows, title, raw_heads(entries)[title], source)
    reader, findings = _reader(page)
    raw = read_raw({title: page}, entries, bench_tests(study), (study, plan), reader)
    _refuse(reader.faults)
    return WorkbookEntries(
        readings=(),
        actuals=tuple(raw.actuals),
        findings=(*findings, *raw.findings),
        raw={name: _from_file(those, source) for name, those in raw.readings.items()},
    )


def _from_file(readings: Sequence[Reading], source: str) -> tuple[Reading, ...]:
    return tuple(replace(one, source=f"{source}, {one.source}") for one in readings)


def _refuse(faults: Sequence[Fault]) -> None:
    """Refuse a file with faults.

    Raises:
        ResultsError: There are some.
    """
    if faults:
        raise ResultsError.from_faults(dict.fromkeys(faults))

"""The hidden sheet that ties a workbook to its plan, and says what its columns were."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from doe import __version__
from doe.errors import ResultsError
from doe.sheets.book_form import (
    FORMAT,
    FORMAT_RAW,
    MACHINE,
    READINGS,
    WEIGHING,
    EntryColumn,
    run_marks,
)
from doe.sheets.book_look import put
from doe.sheets.raw_form import RAW_KINDS, RawEntry
from doe.study.brief import Study
from doe.study.hashes import region_hash
from doe.study.plan import Plan

# Sheets that are read back for what they are, beside those that have columns to fill in.
_WHOLE_SHEETS = (WEIGHING, READINGS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """What a workbook says of itself.

    Attributes:
        region: Region hash of the brief at the time.
        marks: Mark of each run.
        columns: The columns to fill in, those of raw readings left out.
        raw: What it keeps of its sheets of raw readings.
        sheets: Which of the weigh-out and the readings it has.
        is_for_some: It was written for some of the responses only.
    """

    region: str
    marks: Mapping[int, str]
    columns: tuple[EntryColumn, ...]
    raw: tuple[RawEntry, ...] = ()
    sheets: tuple[str, ...] = field(default=_WHOLE_SHEETS)
    is_for_some: bool = False


def describe_book(
    book: Workbook,
    study: Study,
    plan: Plan,
    columns: Sequence[EntryColumn],
    raw: Sequence[RawEntry],
) -> Machine:
    """Describe a workbook that has all its sheets for the bench."""
    sheets = tuple(title for title in _WHOLE_SHEETS if title in book.sheetnames)
    return Machine(
        region=region_hash(study),
        marks=run_marks(plan),
        columns=tuple(columns),
        raw=tuple(raw),
        sheets=sheets,
        is_for_some=WEIGHING not in sheets,
    )


def write_machine(sheet: Worksheet, study: Study, machine: Machine) -> None:
    """Keep, out of sight, what ties the file to its plan."""
    is_raw = bool(machine.raw) or machine.sheets != _WHOLE_SHEETS
    rows: list[tuple[str | int, ...]] = [
        ("format", FORMAT_RAW if is_raw else FORMAT),
        ("title", study.about.title),
        ("region", machine.region),
        ("version", __version__),
        *(("run", run, mark) for run, mark in machine.marks.items()),
        *(("column", one.sheet, one.head, one.what, one.measure) for one in machine.columns),
        *((one.kind, one.sheet, one.head, one.what, one.measure) for one in machine.raw),
    ]
    if is_raw:
        rows += [("sheet", title, "whole") for title in machine.sheets]
        rows += [("for", "some", "responses")] if machine.is_for_some else []
    for row, values in enumerate(rows, start=1):
        for column, value in enumerate(values, start=1):
            put(sheet, row, column, value, "said")
    sheet.sheet_state = "hidden"
    sheet.protection.sheet = True


def read_machine(book: Workbook, source: str) -> Machine:
    """Read the hidden sheet.

    Raises:
        ResultsError: It is missing, or of a format that this version does not know.
    """
    if MACHINE not in book.sheetnames:
        raise ResultsError(
            "this is no bench workbook of millbase: its hidden sheet is missing",
            where=source,
            do="Enter the workbook that `millbase sheet` wrote, or a table with a column 'run'.",
        )
    lines = [list(row) for row in book[MACHINE].iter_rows(values_only=True)]
    rows = [[value for value in line if value is not None] for line in lines]
    said = {str(row[0]): row[1] for row in rows if len(row) == 2}
    if said.get("format") not in (FORMAT, FORMAT_RAW):
        raise ResultsError(
            f"the workbook has format {said.get('format')}",
            where=source,
            allowed=f"format {FORMAT} or {FORMAT_RAW}",
            do="Use the version of millbase that wrote it, or write a new one with `sheet`.",
        )
    sheets = tuple(str(row[1]) for row in rows if row[:1] == ["sheet"])
    return Machine(
        region=str(said.get("region", "")),
        marks={int(str(row[1])): str(row[2]) for row in rows if row[:1] == ["run"]},
        columns=tuple(_column(row) for row in rows if row[:1] == ["column"]),
        raw=tuple(_raw(line) for line in lines if line and line[0] in RAW_KINDS),
        sheets=_WHOLE_SHEETS if said["format"] == FORMAT else sheets,
        is_for_some=any(row[:1] == ["for"] for row in rows),
    )


def _column(row: Sequence[object]) -> EntryColumn:
    sheet, head, what, *measure = (str(value) for value in row[1:])
    return EntryColumn(sheet=sheet, head=head, what=what, measure=measure[0] if measure else "")


def _raw(line: Sequence[object]) -> RawEntry:
    """Read a line whose empty cells some programs leave out."""
    sheet, head, what, measure = (
        "" if value is None else str(value) for value in (*line, None, None, None, None)[1:5]
    )
    kind = next(one for one in RAW_KINDS if one == line[0])
    return RawEntry(kind=kind, sheet=sheet, head=head, what=what, measure=measure)

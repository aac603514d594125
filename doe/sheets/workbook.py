"""The bench workbook: weigh-outs, settings and blank readings, to fill in and to read back."""

from __future__ import annotations

import io
import re
import textwrap
import zipfile
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from doe import __version__
from doe.methods.raw_columns import bench_tests
from doe.sheets.asks import BatchForm, bench_forms
from doe.sheets.bench_tests import cautions_of, plain_responses, with_sources
from doe.sheets.book_form import (
    HEAD_ROW,
    MACHINE,
    PANELS,
    READINGS,
    README,
    SAMPLES,
    WEIGHING,
    EntryColumn,
)
from doe.sheets.book_look import add_styles, set_page
from doe.sheets.machine import describe_book, write_machine
from doe.sheets.raw_sheets import WORDS, write_raw_sheets
from doe.sheets.readings_sheet import write_readings
from doe.sheets.readme_sheet import write_readme
from doe.sheets.unit_sheet import write_units
from doe.sheets.weighing_sheet import write_weighing
from doe.study.brief import Study
from doe.study.hashes import region_hash
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.readings import Actual, Readings

# No clock: the same study gives the same bytes. The first date that a ZIP archive can hold.
EPOCH = datetime(1980, 1, 1)

ActualValues = dict[tuple[str, str], Actual]


def workbook_bytes(
    study: Study,
    plan: Plan,
    readings: Readings | None = None,
    actuals: Sequence[Actual] = (),
    raw: Mapping[str, Readings] | None = None,
) -> bytes:
    """Write the bench workbook.

    Args:
        study: The brief.
        plan: All runs, in bench order.
        readings: What is known already; shown in place of blanks.
        actuals: Likewise.
        raw: Raw readings that are known, by test; the response of each is its raw column.

    Returns:
        An XLSX file; the same bytes for the same input.

    Raises:
        PlanError: A recipe cannot be weighed out.
    """
    forms = bench_forms(study, plan)
    actual = _by_unit(actuals)
    book = _new_book(study)
    write_weighing(book.create_sheet(WEIGHING), forms, actual)
    columns = [*_write_unit_sheets(book, forms, actual)]
    known = Known(readings=readings or Readings(), actuals=actual, raw=raw or {})
    return _finished(book, study, plan, known, columns)


def lab_workbook_bytes(study: Study, plan: Plan, wanted: Collection[str], known: Known) -> bytes:
    """Write a workbook for whoever reads some of the responses: no recipes, no settings.

    Args:
        study: The brief.
        plan: All runs, in bench order.
        wanted: Names of the responses; what they are computed from is asked for, too.
        known: What is known already.

    Returns:
        An XLSX file that can be entered alone; the same bytes for the same input.
    """
    return _finished(_new_book(study), study, plan, known, [], wanted)


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known already and stands in its cell.

    Attributes:
        readings: Readings that are entered as they are.
        actuals: Notes by folded unit and thing.
        raw: Raw readings by test.
    """

    readings: Readings
    actuals: Mapping[tuple[str, str], Actual]
    raw: Mapping[str, Readings]

    @classmethod
    def of(
        cls, readings: Readings, actuals: Sequence[Actual], raw: Mapping[str, Readings]
    ) -> Known:
        """Gather what is known of a study."""
        return cls(readings=readings, actuals=_by_unit(actuals), raw=raw)


def _by_unit(actuals: Sequence[Actual]) -> ActualValues:
    return {(fold(one.unit), fold(one.what)): one for one in actuals}


def _new_book(study: Study) -> Workbook:
    book = Workbook()
    book.properties.creator, book.properties.title = f"millbase {__version__}", study.about.title
    book.properties.created = EPOCH
    add_styles(book)
    first = book.active
    if not isinstance(first, Worksheet):
        raise TypeError("a new workbook begins with a worksheet")
    first.title = README
    return book


def _finished(
    book: Workbook,
    study: Study,
    plan: Plan,
    known: Known,
    columns: list[EntryColumn],
    wanted: Collection[str] | None = None,
) -> bytes:
    """Write the sheets of readings, of all responses or some, and what every workbook has."""
    responses = study.responses if wanted is None else with_sources(study, wanted)
    plain = plain_responses(responses)
    names = {one.name for one in responses}
    tests = [test for test in bench_tests(study) if names & {one.name for one in test.responses}]
    if plain:
        sheet = book.create_sheet(READINGS)
        columns += write_readings(sheet, study, plan, known.readings, plain)
    raw = write_raw_sheets(book, study, plan, tests, (known.raw, known.actuals))
    filled = [title for title in book.sheetnames if title not in (README, WORDS)]
    cautions = cautions_of(test.table for test in tests)
    write_readme(book[README], study, plan, filled, cautions)
    machine = describe_book(book, study, plan, columns, raw.entries)
    write_machine(book.create_sheet(MACHINE), study, machine)
    _finish_pages(book, study, raw.head_rows)
    return _without_clock(book)


def _write_unit_sheets(
    book: Workbook, forms: Sequence[BatchForm], known: ActualValues
) -> Iterable[EntryColumn]:
    samples = [(form.batch, one.sample.runs, one.asks) for form in forms for one in form.samples]
    panels = [
        (form.batch, (run,), asks)
        for form in forms
        for one in form.samples
        for run, asks in zip(one.sample.runs, one.panels, strict=True)
    ]
    for title, units in ((SAMPLES, samples), (PANELS, panels)):
        if any(asks for _, _, asks in units):
            yield from write_units(book.create_sheet(title), units, known)


def _finish_pages(book: Workbook, study: Study, head_rows: Mapping[str, int]) -> None:
    title = textwrap.shorten(study.about.title, 70, placeholder=" …")
    footer = f"{title} · millbase {__version__} · region {region_hash(study)}"
    for sheet in book.worksheets:
        if sheet.title in (MACHINE, WORDS):
            continue
        head_row = 1 if sheet.title == README else head_rows.get(sheet.title, HEAD_ROW)
        column = {README: "A", WEIGHING: "C"}.get(sheet.title, "B")
        set_page(sheet, head_row=head_row, freeze=f"{column}{head_row + 1}", footer=footer)


def _without_clock(book: Workbook) -> bytes:
    """Save, and take out the times that the library and the archive put in."""
    saved, fixed = io.BytesIO(), io.BytesIO()
    book.save(saved)
    with zipfile.ZipFile(saved) as old, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(
                    rb"(<dcterms:modified[^>]*>)[^<]*(?=<)",
                    rb"\g<1>" + EPOCH.strftime("%Y-%m-%dT%H:%M:%SZ").encode(),
                    content,
                )
            new.writestr(
                zipfile.ZipInfo(name, EPOCH.timetuple()[:6]), content, zipfile.ZIP_DEFLATED
            )
    return fixed.getvalue()

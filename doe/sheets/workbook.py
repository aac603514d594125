"""The bench workbook: weigh-outs, settings and blank readings, to fill in and to read back."""

from __future__ import annotations

import io
import re
import textwrap
import zipfile
from collections.abc import Iterable, Sequence
from datetime import datetime

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from doe import __version__
from doe.sheets.asks import BatchForm, bench_forms
from doe.sheets.book_form import (
    FORMAT,
    MACHINE,
    PANELS,
    READINGS,
    README,
    SAMPLES,
    WEIGHING,
    EntryColumn,
    run_marks,
)
from doe.sheets.book_look import WRAPPED, Look, add_styles, lines_needed, put, set_page
from doe.sheets.readings_sheet import write_readings
from doe.sheets.unit_sheet import write_units
from doe.sheets.weighing_sheet import write_weighing
from doe.sheets.wording import cautions_for, number_text, with_unit
from doe.study.brief import Study
from doe.study.hashes import region_hash
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.readings import Actual, Readings

# No clock: the same study gives the same bytes. The first date that a ZIP archive can hold.
EPOCH = datetime(1980, 1, 1)

README_WIDTH = 120.0

ActualValues = dict[tuple[str, str], Actual]


def workbook_bytes(
    study: Study,
    plan: Plan,
    readings: Readings | None = None,
    actuals: Sequence[Actual] = (),
) -> bytes:
    """Write the bench workbook.

    Args:
        study: The brief.
        plan: All runs, in bench order.
        readings: What is known already; shown in place of blanks.
        actuals: Likewise.

    Returns:
        An XLSX file; the same bytes for the same input.

    Raises:
        PlanError: A recipe cannot be weighed out.
    """
    forms = bench_forms(study, plan)
    known = {(fold(one.unit), fold(one.what)): one for one in actuals}
    book = Workbook()
    book.properties.creator, book.properties.title = f"millbase {__version__}", study.about.title
    book.properties.created = EPOCH
    add_styles(book)
    first = book.active
    if not isinstance(first, Worksheet):
        raise TypeError("a new workbook begins with a worksheet")
    first.title = README
    _write_readme(first, study, plan)
    write_weighing(book.create_sheet(WEIGHING), forms, known)
    columns = [*_write_unit_sheets(book, forms, known)]
    columns += write_readings(book.create_sheet(READINGS), study, plan, readings or Readings())
    _write_machine(book.create_sheet(MACHINE), study, plan, columns)
    _finish_pages(book, study)
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


def _write_readme(sheet: Worksheet, study: Study, plan: Plan) -> None:
    lines: list[tuple[Look, str]] = [
        ("title", study.about.title),
        ("hint", study.about.question),
        ("hint", ""),
        ("head", "How to fill it in"),
        *(("hint", line) for line in _how_to_fill_in(study)),
        ("hint", ""),
        ("head", "Cautions"),
        *(("hint", line) for line in cautions_for(study)),
        ("hint", ""),
        ("head", "What this file belongs to"),
        *(("hint", line) for line in _belongs_to(study, plan)),
    ]
    sheet.column_dimensions["A"].width = README_WIDTH
    for row, (look, text) in enumerate(lines, start=1):
        put(sheet, row, 1, text, look).alignment = WRAPPED
        height, signs = (20, README_WIDTH / 1.7) if look == "title" else (15, README_WIDTH)
        sheet.row_dimensions[row].height = height * lines_needed(text, signs)
    sheet.page_setup.scale = 100


def _how_to_fill_in(study: Study) -> tuple[str, ...]:
    held = [
        f"{with_unit(factor.name, factor.unit)} {_value_text(factor.value)}"
        for factor in study.factors
        if factor.kind == "held"
    ]
    return (
        "Fill in the pale cells; leave blank what is not there yet. The file may be entered as "
        "often as it grows: `millbase enter` takes what is new.",
        "Weigh-out: grams as weighed, in the order of addition; what was titrated and reached.",
        "Readings: one line a run. It shows no settings: give this sheet alone to whoever reads "
        "the panels. A second reading of a run goes into a spare line below, with its run number.",
        "In a reading cell: a number, or gelled, lost, > 5000, < 5, 5 to 10 (between the two).",
        "Where a number turns into a date, type it again with your decimal sign.",
        *((f"Held throughout: {'; '.join(held)}.",) if held else ()),
    )


def _value_text(value: float | str | None) -> str:
    return number_text(value) if isinstance(value, (int, float)) else str(value)


def _belongs_to(study: Study, plan: Plan) -> tuple[str, ...]:
    seeds = dict.fromkeys(str(one.seed) for one in plan.rounds if one.seed is not None)
    return (
        f"millbase {__version__}; {len(plan)} runs in {len(plan.rounds)} "
        f"round{'s' if len(plan.rounds) > 1 else ''}.",
        f"Seed {', '.join(seeds) or 'none'}; region hash {region_hash(study)}.",
    )


def _write_machine(
    sheet: Worksheet, study: Study, plan: Plan, columns: Sequence[EntryColumn]
) -> None:
    """Keep, out of sight, what ties the file to its plan."""
    rows: list[tuple[str | int, ...]] = [
        ("format", FORMAT),
        ("title", study.about.title),
        ("region", region_hash(study)),
        ("version", __version__),
        *(("run", run, mark) for run, mark in run_marks(plan).items()),
        *(("column", one.sheet, one.head, one.what, one.measure) for one in columns),
    ]
    for row, values in enumerate(rows, start=1):
        for column, value in enumerate(values, start=1):
            put(sheet, row, column, value, "said")
    sheet.sheet_state = "hidden"
    sheet.protection.sheet = True


def _finish_pages(book: Workbook, study: Study) -> None:
    title = textwrap.shorten(study.about.title, 70, placeholder=" …")
    footer = f"{title} · millbase {__version__} · region {region_hash(study)}"
    freeze = {README: "A2", WEIGHING: "C4", SAMPLES: "B4", PANELS: "B4", READINGS: "B4"}
    for sheet in book.worksheets:
        if sheet.title != MACHINE:
            head_row = 1 if sheet.title == README else 3
            set_page(sheet, head_row=head_row, freeze=freeze[sheet.title], footer=footer)


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

"""The workbook of a ladder: a line a pot with its weigh-out, and cells for what is read on it."""

from __future__ import annotations

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from doe import __version__
from doe.sheets.book_bytes import book_bytes
from doe.sheets.book_look import WRAPPED, Look, add_styles, fit_columns, lines_needed, put, set_page
from doe.sheets.ladder_form import (
    DOSE,
    FOAM,
    NOTE,
    ORDER,
    POT,
    READING_ADVICE,
    README,
    REPEAT,
    SHEET,
    SPARE_LINES,
    VISCOSITY,
    LadderForm,
    joined,
    order_sentence,
)
from doe.sheets.wording import cautions_for, grams_decimals
from doe.study.ladder import Pot, PotReading, viscosity_text
from doe.study.numerals import parse_number

HEAD_ROW = 3
README_WIDTH = 110.0


def ladder_workbook(form: LadderForm) -> bytes:
    """Write the workbook of a ladder.

    Returns:
        An XLSX file; the same bytes for the same input. What is known already stands in it.
    """
    book = Workbook()
    book.properties.creator = f"millbase {__version__}"
    book.properties.title = form.study.about.title
    add_styles(book)
    first = book.active
    if not isinstance(first, Worksheet):
        raise TypeError("a new workbook begins with a worksheet")
    first.title = SHEET
    _write_pots(first, form)
    _write_readme(book.create_sheet(README), form)
    footer = f"{form.study.about.title[:70]} · dose ladder · millbase {__version__}"
    set_page(first, head_row=HEAD_ROW, freeze="D4", footer=footer)
    set_page(book[README], head_row=1, freeze="A2", footer=footer)
    return book_bytes(book)


def _write_pots(sheet: Worksheet, form: LadderForm) -> None:
    put(sheet, 1, 1, "Dose ladder", "title")
    put(sheet, 2, 1, "A line a pot, grams in order of addition; fill in the pale cells.", "line")
    heads = (POT, ORDER, f"{DOSE}, % on pigment", *form.materials, REPEAT, VISCOSITY, FOAM, NOTE)
    for column, head in enumerate(heads, start=1):
        put(sheet, HEAD_ROW, column, head, "head")
    row = HEAD_ROW
    for pot in form.ladder.pots:
        for reading in form.ladder.of_pot(pot.number) or (PotReading(pot=pot.number),):
            row += 1
            _write_line(sheet, row, form, pot, reading)
    for _ in range(SPARE_LINES):
        row += 1
        _write_spare(sheet, row, len(form.materials))
    fit_columns(sheet, HEAD_ROW, least=(6, 6, 9, *(9 for _ in form.materials), 7, 13, 14, 24))


def _write_line(
    sheet: Worksheet, row: int, form: LadderForm, pot: Pot, reading: PotReading
) -> None:
    is_first = reading.repeat == 1
    put(sheet, row, 1, pot.number, "said")
    put(sheet, row, 2, pot.order, "said")
    put(sheet, row, 3, pot.dose, "said")
    for column, name in enumerate(form.materials, start=4):
        grams = parse_number(pot.made.get(name, "")) if is_first else None
        decimals = "General" if grams is None else "0." + "0" * grams_decimals(grams)
        put(sheet, row, column, grams, "said", decimals)
    _write_entries(sheet, row, 4 + len(form.materials), reading)


def _write_entries(sheet: Worksheet, row: int, column: int, reading: PotReading) -> None:
    put(sheet, row, column, reading.repeat, "said")
    shown = viscosity_text(reading.viscosity)
    value = parse_number(shown)
    put(sheet, row, column + 1, (shown or None) if value is None else value, "entry")
    put(sheet, row, column + 2, reading.foam or None, "entry")
    put(sheet, row, column + 3, reading.note or None, "entry")


def _write_spare(sheet: Worksheet, row: int, n_materials: int) -> None:
    """Leave a line for a second reading: its pot is typed in."""
    last = 7 + n_materials
    for column in range(1, last + 1):
        is_entry = column == 1 or column >= last - 3
        put(sheet, row, column, None, "entry" if is_entry else "closed")


def _write_readme(sheet: Worksheet, form: LadderForm) -> None:
    lines: list[tuple[Look, str]] = [
        ("title", f"Dose ladder: {form.study.about.title}"),
        ("head", "How to fill it in"),
        ("hint", "Viscosity in mPa·s; a number, or gelled, lost, > 5000, < 5, 5 to 10."),
        ("hint", "A second reading of a pot goes into a spare line, with its pot number."),
        ("hint", "Take it in with `millbase dose STUDY --enter FILE`, as often as it grows."),
        *(("hint", line) for line in READING_ADVICE),
        ("hint", order_sentence(form.order_words)),
        ("hint", f"All pots alike: {joined(form.shared)}." if form.shared else ""),
        ("hint", "Pigment and total water are the same in every pot; only the weighed water and "
        "the additives change."),
        ("head", "Cautions"),
        *(("hint", line) for line in cautions_for(form.study)),
    ]  # fmt: skip
    sheet.column_dimensions["A"].width = README_WIDTH
    for row, (look, text) in enumerate((one for one in lines if one[1]), start=1):
        put(sheet, row, 1, text, look).alignment = WRAPPED
        height, signs = (20, README_WIDTH / 1.7) if look == "title" else (15, README_WIDTH)
        sheet.row_dimensions[row].height = height * lines_needed(text, signs)
    sheet.page_setup.scale = 100

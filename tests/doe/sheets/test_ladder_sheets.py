"""The sheets of a ladder: the same bytes, filled in and read back, printed with their cautions."""

from __future__ import annotations

import io
from typing import Any

import pytest
from openpyxl import load_workbook

from doe.errors import ResultsError
from doe.sheets.ladder_cards import ladder_cards
from doe.sheets.ladder_form import SHEET, LadderForm
from doe.sheets.ladder_in import is_ladder_workbook, read_ladder_workbook
from doe.sheets.ladder_sheet import HEAD_ROW, ladder_workbook
from doe.sheets.wording import FOLLOW
from doe.study.brief import Study
from doe.study.ladder import Ladder, Pot, PotReading
from doe.study.reading_cell import CellReading


@pytest.fixture
def form() -> LadderForm:
    """Give a ladder of three pots, one of them read."""
    pots = tuple(
        Pot(
            number=number, order=order, kind="pot" if dose else "control", dose=dose,
            made={"pH": "9", "water, g": "210.5", "dispersant, g": f"{10 * dose:g}"},
        )
        for order, (number, dose) in enumerate([(3, 1.6), (1, 0.0), (2, 0.8)], start=1)
    )  # fmt: skip
    readings = (PotReading(pot=2, viscosity=CellReading(value=420.0), foam="little"),)
    return LadderForm(
        study=Study.model_validate({"study": {"title": "=red"}}),
        ladder=Ladder(pots=pots, readings=readings),
        shared=("pH 9",),
        order_words="random, seed 1",
    )


def filled(data: bytes, cells: dict[tuple[int, str], Any]) -> bytes:
    """Fill in cells by sheet row below the headers and by header, as a spreadsheet would."""
    book = load_workbook(io.BytesIO(data))
    sheet = book[SHEET]
    heads = {str(cell.value): place for place, cell in enumerate(sheet[HEAD_ROW], start=1)}
    for (row, head), value in cells.items():
        sheet.cell(HEAD_ROW + row, heads[head]).value = value
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_sheets_are_the_same_bytes_for_the_same_ladder(form: LadderForm) -> None:
    """No clock in them, so that a ladder planned twice changes nothing."""
    assert ladder_workbook(form) == ladder_workbook(form)
    assert ladder_cards(form) == ladder_cards(form)


def test_workbook_reads_back_what_was_filled_in(form: LadderForm) -> None:
    """Numbers, gelled, off the scale, a repeat on a spare line; blank lines are pending."""
    data = filled(
        ladder_workbook(form),
        {
            (1, "viscosity, mPa·s"): 315.5,
            (1, "note"): "thin",
            (2, "viscosity, mPa·s"): "> 5000",
            (4, "pot"): 3,
            (4, "repeat"): 2,
            (4, "viscosity, mPa·s"): "gelled",
        },
    )
    entries, _ = read_ladder_workbook(data, "ladder.xlsx")

    assert is_ladder_workbook(data, "ladder.xlsx")
    assert [(one.pot, one.repeat, one.viscosity) for one in entries] == [
        (3, 1, CellReading(value=315.5)),
        (1, 1, CellReading(value=5000.0, flag="above")),
        (2, 1, CellReading(value=420.0)),
        (3, 2, CellReading(value=None, flag="gelled")),
    ]
    assert (entries[0].note, entries[2].foam) == ("thin", "little")


def test_all_faults_of_a_workbook_come_together(form: LadderForm) -> None:
    """A word, a viscosity of 0, a reading without its pot; each with its cell."""
    data = filled(
        ladder_workbook(form),
        {
            (1, "viscosity, mPa·s"): "thick",
            (2, "viscosity, mPa·s"): 0,
            (4, "viscosity, mPa·s"): 300,
        },
    )
    with pytest.raises(ResultsError) as caught:
        read_ladder_workbook(data, "ladder.xlsx")

    assert len(caught.value.faults) == 3
    assert all("cell" in fault.where for fault in caught.value.faults)


def test_title_is_no_formula_and_cautions_stand_in_the_book(form: LadderForm) -> None:
    """Text of the user is never run; the usual cautions are there."""
    book = load_workbook(io.BytesIO(ladder_workbook(form)))
    texts = [str(cell.value) for row in book["Read me"].iter_rows() for cell in row]

    assert all(cell.data_type != "f" for row in book["Read me"].iter_rows() for cell in row)
    assert FOLLOW in texts


def test_cards_are_a_page_a_pot(form: LadderForm) -> None:
    """Three pots, three pages."""
    data = ladder_cards(form)

    assert data.startswith(b"%PDF")
    assert data.count(b"/Type /Page\n") + data.count(b"/Type /Page ") == len(form.ladder.pots)

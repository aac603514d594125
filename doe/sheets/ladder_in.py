"""The filled workbook of a ladder, read back."""

from __future__ import annotations

from doe.errors import Fault, ResultsError
from doe.sheets.book_pages import Page, Spot, open_book, read_page
from doe.sheets.cell_in import decide_sign
from doe.sheets.ladder_form import FOAM, NOTE, POT, REPEAT, SHEET, VISCOSITY
from doe.study.finding import Finding
from doe.study.ladder import PotEntry
from doe.study.ladder_file import not_above_0
from doe.study.numerals import Decimal
from doe.study.reading_cell import CellReading, read_cell
from doe.study.tables import number_fault


def is_ladder_workbook(data: bytes, source: str) -> bool:
    """Tell the workbook of a ladder from any other.

    Raises:
        ResultsError: The file is no workbook that can be opened.
    """
    return SHEET in open_book(data, source)[0].sheetnames


def read_ladder_workbook(
    data: bytes, source: str
) -> tuple[tuple[PotEntry, ...], tuple[Finding, ...]]:
    """Read the workbook of a ladder as far as it is filled in.

    Returns:
        The readings, and how the file was read where that is not plain.

    Raises:
        ResultsError: Columns are missing or cells cannot be understood; all of them together.
    """
    page = read_page(open_book(data, source), SHEET, (POT, VISCOSITY), source)
    faults: list[Fault] = list(page.faults)
    sign, more, findings = decide_sign(cell for _, cell in page.cells(VISCOSITY))
    faults += more
    entries = [
        entry
        for row, cell in page.cells(VISCOSITY)
        if (entry := _entry(page, row, cell, sign, faults)) is not None
    ]
    if faults:
        raise ResultsError.from_faults(dict.fromkeys(faults))
    return tuple(entries), tuple(findings)


def _entry(
    page: Page, row: tuple[Spot, ...], cell: Spot, sign: Decimal, faults: list[Fault]
) -> PotEntry | None:
    value = _viscosity(cell, sign, faults)
    if value is None:
        return None
    pot = page.at(row, POT)
    number = _whole(pot, faults)
    if number is None:
        if pot is None or pot.is_blank:
            faults.append(Fault(where=cell.where, what="the reading has no pot number beside it"))
        return None
    return PotEntry(
        pot=number, dose=None, repeat=_whole(page.at(row, REPEAT), faults), viscosity=value,
        foam=_words(page.at(row, FOAM)), note=_words(page.at(row, NOTE)), where=cell.where,
    )  # fmt: skip


def _viscosity(cell: Spot, sign: Decimal, faults: list[Fault]) -> CellReading | None:
    if cell.is_uncomputed:
        faults.append(
            Fault(
                where=cell.where,
                what="the cell holds a formula that has not been computed",
                do="Open the workbook in a spreadsheet, save it, and enter it again.",
            )
        )
        return None
    if isinstance(cell.value, (int, float)) and not isinstance(cell.value, bool):
        read: CellReading | Fault | None = CellReading(value=float(cell.value))
    else:
        read = read_cell(cell.text, sign, cell.where)
    if isinstance(read, CellReading):
        read = not_above_0(read, cell.where) or read
    if isinstance(read, Fault):
        faults.append(read)
        return None
    return read


def _whole(cell: Spot | None, faults: list[Fault]) -> int | None:
    if cell is None or cell.is_blank:
        return None
    if not cell.text.isdecimal() or int(cell.text) < 1:
        faults.append(number_fault(cell.text, cell.where))
        return None
    return int(cell.text)


def _words(cell: Spot | None) -> str:
    return "" if cell is None else cell.text

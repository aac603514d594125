"""The look of the workbook: plain black on white, entry cells pale, everything fitted to print."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from typing import Literal

from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell, MergedCell
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

Look = Literal[
    "title", "line", "hint", "head", "said", "entry", "closed", "first said", "first entry",
    "computed", "first computed", "computed head", "small",
]  # fmt: skip
# How what is said and what is asked look, within a batch or sample and on its first line.
LOOKS: tuple[Look, Look] = ("said", "entry")
FIRST_LOOKS: tuple[Look, Look] = ("first said", "first entry")

_FONT = "Arial"
_HAIR, _THICK = Side(style="thin", color="9A9A94"), Side(style="medium", color="30302C")
_BOX = Border(left=_HAIR, right=_HAIR, top=_HAIR, bottom=_HAIR)
# The first line of a batch or sample carries a stronger rule above it.
_FIRST = Border(left=_HAIR, right=_HAIR, top=_THICK, bottom=_HAIR)
_HEAD, _ENTRY, _CLOSED, _COMPUTED = (
    PatternFill("solid", fgColor=colour)
    for colour in ("FFE6E5E0", "FFFFF9DC", "FFD4D3CE", "FFE8EEF4")
)
# Three digits or so, whatever the size.
COMPUTED_FORMAT = "[>=1000]0;[>=10]0.00;0.0000"
_LEFT = Alignment(horizontal="left", vertical="center", wrap_text=True)
_RIGHT = Alignment(horizontal="right", vertical="center", wrap_text=True)

WRAPPED = Alignment(vertical="top", wrap_text=True)

WIDEST = 40.0
LINE_HEIGHT = 14.0
# A spreadsheet takes text that begins so for a formula when it is edited or saved as CSV.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


def add_styles(book: Workbook) -> None:
    """Register the looks of cells with the workbook."""
    # Column widths count in digits of the normal style's font, and the library's default is a font
    # that free systems replace by a wider one. There is no public door to that style, nor a stub.
    styles = book._named_styles  # type: ignore[attr-defined]  # noqa: SLF001
    styles["Normal"].font = Font(name=_FONT, size=10)
    for look in _styles():
        book.add_named_style(look)


def _styles() -> tuple[NamedStyle, ...]:
    bold, plain = Font(name=_FONT, size=10, bold=True), Font(name=_FONT, size=10)
    slanted = Font(name=_FONT, size=10, italic=True, color="FF2F4A63")
    slanted_bold = Font(name=_FONT, size=10, italic=True, bold=True, color="FF2F4A63")
    locked, unlocked = Protection(locked=True), Protection(locked=False)
    return (
        NamedStyle(name="title", font=Font(name=_FONT, size=14, bold=True)),
        NamedStyle(name="line", font=plain),
        NamedStyle(name="hint", font=plain, alignment=Alignment(vertical="top", wrap_text=True)),
        NamedStyle(name="head", font=bold, fill=_HEAD, border=_BOX, alignment=_LEFT),
        NamedStyle(name="said", font=plain, border=_BOX, alignment=_LEFT, protection=locked),
        NamedStyle(
            name="entry", font=plain, fill=_ENTRY, border=_BOX, alignment=_RIGHT,
            protection=unlocked,
        ),
        NamedStyle(name="closed", font=plain, fill=_CLOSED, border=_BOX, protection=locked),
        NamedStyle(name="first said", font=plain, border=_FIRST, alignment=_LEFT),
        NamedStyle(
            name="first entry", font=plain, fill=_ENTRY, border=_FIRST, alignment=_RIGHT,
            protection=unlocked,
        ),
        NamedStyle(
            name="computed", font=slanted, fill=_COMPUTED, border=_BOX, alignment=_RIGHT,
            protection=locked,
        ),
        NamedStyle(
            name="first computed", font=slanted, fill=_COMPUTED, border=_FIRST, alignment=_RIGHT,
            protection=locked,
        ),
        NamedStyle(
            name="computed head", font=slanted_bold, fill=_COMPUTED, border=_BOX, alignment=_LEFT
        ),
        NamedStyle(
            name="small", font=Font(name=_FONT, size=8, color="FF55554F"),
            alignment=Alignment(vertical="bottom", wrap_text=True),
        ),
    )  # fmt: skip


def put(
    sheet: Worksheet,
    row: int,
    column: int,
    value: float | str | None,
    look: Look,
    number_format: str = "",
) -> Cell:
    """Write one cell as text or number, never as a formula."""
    cell = sheet.cell(row, column)
    if not isinstance(cell, Cell):
        raise TypeError(f"{cell.coordinate} lies inside a merged cell")
    cell.style = look
    if isinstance(value, str):
        cell.value = ILLEGAL_CHARACTERS_RE.sub(" ", value)
        cell.data_type = "s"
        if value.startswith(FORMULA_SIGNS):
            # openpyxl keeps the mark "this is text" in the style, not in the value.
            cell.quotePrefix = True
    elif value is not None:
        cell.value = value
        if look in ("said", "first said"):
            cell.alignment = _RIGHT
    if number_format:
        cell.number_format = number_format
    return cell


def put_formula(cell: Cell, formula: str) -> None:
    """Let the spreadsheet compute a cell; the tool never reads it back."""
    cell.value = formula
    cell.alignment = _RIGHT


def put_wide(sheet: Worksheet, row: int, text: str, width: float, columns: int) -> None:
    """Write a sentence across all columns of a sheet, as high as it needs.

    Args:
        sheet: Its column widths are fitted already.
        row: Where.
        text: What.
        width: Of all columns together, in signs.
        columns: How many it may cross.
    """
    put(sheet, row, 1, text, "hint")
    if columns > 1:
        sheet.merge_cells(start_row=row, start_column=1, end_row=row, end_column=columns)
    sheet.row_dimensions[row].height = LINE_HEIGHT * lines_needed(text, 1.05 * width) + 2


def put_note(sheet: Worksheet, row: int, column: int, note: str, look: Look) -> None:
    """Open a cell to words, which begin at its left."""
    put(sheet, row, column, note or None, look).alignment = _LEFT


def text_width(text: str) -> int:
    """Count the columns a text takes: wide letters, as of Chinese, take two.

    Example:
        >>> text_width("pH"), text_width("颜料")
        (2, 4)
    """
    return sum(2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in text)


def fit_columns(sheet: Worksheet, head_row: int, least: Sequence[float] = ()) -> None:
    """Set widths by the longest word and text of each column, and heights where text wraps."""
    rows = [
        [_shown(cell) for cell in cells]
        for cells in sheet.iter_rows(min_row=head_row, max_row=sheet.max_row)
    ]
    widths = []
    for index, texts in enumerate(zip(*rows, strict=True)):
        floor = least[index] if index < len(least) else 7.0
        longest = max(_wanted_width(texts[0]), *(text_width(text) for text in texts[1:]), 0)
        widths.append(min(max(floor, longest * 1.1 + 2), WIDEST))
        sheet.column_dimensions[get_column_letter(index + 1)].width = round(widths[-1], 1)
    for row, cells in enumerate(rows, start=head_row):
        slack = 0.85 if row == head_row else 1.0  # headers are bold, thus wider
        lines = max(lines_needed(text, slack * w) for text, w in zip(cells, widths, strict=True))
        sheet.row_dimensions[row].height = LINE_HEIGHT * lines + 4


def _wanted_width(head: str) -> float:
    """Let a header wrap at its words: its longest line counts, down to a third of the whole."""
    longest_word = max((text_width(word) for word in head.split()), default=0)
    return max(longest_word, text_width(head) / 3)


def lines_needed(text: str, width: float) -> int:
    """Count the lines a text takes in a column of a width, words kept whole.

    Example:
        >>> lines_needed("red iron oxide", 8.0)
        2
    """
    lines, used = 1, 0
    for word in text.split():
        length = text_width(word)
        if used and used + 1 + length > width:
            lines, used = lines + 1, 0
        # A word longer than the column is broken.
        lines, used = lines + int((length - 1) // width), used + bool(used) + length
    return lines


def _shown(cell: Cell | MergedCell) -> str:
    value = cell.value
    if value is None or cell.data_type == "f":
        return ""
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def set_page(sheet: Worksheet, *, head_row: int, freeze: str, footer: str) -> None:
    """Print on A4 across, one page wide, headers on each page; lock all but the entry cells."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = 9  # A4 in the numbering of the file format
    if not sheet.page_setup.scale:
        sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
        sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    if head_row > 1:
        sheet.print_title_rows = f"{head_row}:{head_row}"
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.page_margins.top, sheet.page_margins.bottom = 0.5, 0.7
    foot = sheet.oddFooter
    if foot is None or foot.left is None or foot.right is None:
        raise TypeError("a new sheet has an empty footer with three parts")
    # "&" begins a code in a footer, so that the user's own is written twice.
    foot.left.text = footer.replace("&", "&&")
    foot.right.text = "&A, page &P of &N"
    foot.left.size = foot.right.size = 8
    sheet.freeze_panes = freeze
    sheet.sheet_view.showGridLines = False
    sheet.protection.sheet = True
    sheet.protection.formatColumns = sheet.protection.formatRows = False


# A4 across within the margins of `set_page`, in points; a column takes 5.25 of them a sign at
# Arial 10, and a little more in some programs.
_PAGE_WIDTH, _PAGE_HEIGHT, _POINTS_A_SIGN = 780.0, 500.0, 5.75


def keep_blocks_whole(sheet: Worksheet, head_row: int, blocks: Sequence[range]) -> None:
    """Scale a sheet to the width of the page, and begin a new page before a block that splits.

    Args:
        sheet: With its widths and heights fitted.
        head_row: Row of the headers, repeated on every page.
        blocks: The rows of each block.
    """
    signs = sum(column.width for column in sheet.column_dimensions.values())
    scale = min(1.0, _PAGE_WIDTH / (signs * _POINTS_A_SIGN))
    sheet.page_setup.scale = max(10, math.floor(100 * scale))
    room = _PAGE_HEIGHT / scale - _height(sheet, range(head_row, head_row + 1))
    used = _height(sheet, range(1, head_row))
    for block in blocks:
        needed = _height(sheet, block)
        if used and used + needed > room and block.start > head_row + 1:
            sheet.row_breaks.append(Break(id=block.start - 1))
            used = 0.0
        used += needed


def _height(sheet: Worksheet, rows: range) -> float:
    return sum(sheet.row_dimensions[row].height or LINE_HEIGHT for row in rows)

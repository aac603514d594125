"""The cells of a filled workbook, found by their headers, wherever a spreadsheet has put them."""

from __future__ import annotations

import datetime
import io
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import ParseError

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook

from doe.errors import Fault, ResultsError
from doe.study.names import fold, match_name, nearest_name

# What openpyxl lets through when a file is damaged or no workbook.
_UNREADABLE = (
    zipfile.BadZipFile, KeyError, ValueError, TypeError, OSError, EOFError, ParseError,
)  # fmt: skip
# Headers stand in row 3; a user may have put some lines above them.
_HEAD_ROWS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One cell: where it is and what is in it."""

    where: str
    value: object
    is_uncomputed: bool = False

    @property
    def text(self) -> str:
        """The value as a user would read it aloud; empty for a blank cell."""
        if isinstance(self.value, datetime.datetime):
            return self.value.isoformat(sep=" ").removesuffix(" 00:00:00")
        if isinstance(self.value, float) and self.value.is_integer():
            return str(int(self.value))
        return "" if self.value is None else str(self.value).strip()

    @property
    def is_blank(self) -> bool:
        """Nothing was entered."""
        return self.text == "" and not self.is_uncomputed


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One sheet below its headers.

    Attributes:
        title: Name of the sheet.
        heads: Headers by folded text, with the place of their column in a row.
        rows: Cells of each row that is not empty.
        faults: Columns that are missing.
    """

    title: str
    heads: dict[str, int]
    rows: tuple[tuple[Spot, ...], ...]
    faults: tuple[Fault, ...] = ()

    def cells(self, head: str) -> Iterator[tuple[tuple[Spot, ...], Spot]]:
        """Give each row with its cell under a header; nothing if there is no such header."""
        place = self.heads.get(fold(head))
        if place is not None:
            for row in self.rows:
                yield row, row[place]

    def at(self, row: Sequence[Spot], head: str) -> Spot | None:
        """Give the cell of a row under a header, None without such a column."""
        place = self.heads.get(fold(head))
        return None if place is None else row[place]


def open_book(data: bytes, source: str) -> tuple[Workbook, Workbook]:
    """Open a workbook for its values and, a second time, for its formulas.

    Raises:
        ResultsError: It cannot be opened.
    """
    try:
        with warnings.catch_warnings():
            # It warns of validation and styles of other programs; only cells are read here.
            warnings.simplefilter("ignore")
            values = load_workbook(io.BytesIO(data), data_only=True)
            return values, load_workbook(io.BytesIO(data))
    except _UNREADABLE as cause:
        raise ResultsError(
            "the file cannot be opened as an XLSX workbook",
            where=source,
            do="Save it as XLSX, without a password.",
        ) from cause


def read_page(
    book: tuple[Workbook, Workbook], title: str, heads: Sequence[str], source: str
) -> Page:
    """Find the headers of a sheet and read what stands below them.

    Args:
        book: The workbook, as `open_book` gives it.
        title: Name of the sheet.
        heads: The columns that must be there.
        source: Name of the file, for messages.

    Returns:
        The page; with faults and without rows where the sheet or a column is missing.
    """
    found = match_name(title, book[0].sheetnames)
    if found is None:
        fault = Fault(
            where=source,
            what=f"the sheet '{title}' is missing",
            do="Enter the workbook with all its sheets, under their own names.",
        )
        return Page(title=title, heads={}, rows=(), faults=(fault,))
    return page_of(_spots(book, found, source), title, heads, f"{source}, sheet '{found}'")


def page_of(rows: Sequence[tuple[Spot, ...]], title: str, heads: Sequence[str], where: str) -> Page:
    """Find the headers among the first rows and gather what stands below them.

    Args:
        rows: All cells, as many in each row.
        title: Name of the sheet.
        heads: The columns that must be there.
        where: Where a missing one is missed.
    """
    # The header row is the one that holds most of what is looked for.
    wanted = {fold(head) for head in heads}
    scores = [len(wanted & {fold(spot.text) for spot in row}) for row in rows[:_HEAD_ROWS]]
    best = scores.index(max(scores)) if scores and max(scores) > 0 else 0
    header = rows[best] if rows else ()
    places = {fold(spot.text): place for place, spot in enumerate(header) if not spot.is_blank}
    faults = _missing_faults(header, heads, where)
    body = tuple(row for row in rows[best + 1 :] if any(not spot.is_blank for spot in row))
    return Page(title=title, heads=places, rows=() if faults else body, faults=faults)


def _spots(book: tuple[Workbook, Workbook], title: str, source: str) -> list[tuple[Spot, ...]]:
    values, formulas = book[0][title], book[1][title]
    rows = []
    for number, cells in enumerate(values.iter_rows(values_only=True), start=1):
        rows.append(
            tuple(
                Spot(
                    where=f"{source}, sheet '{title}', cell {get_column_letter(place)}{number}",
                    value=value,
                    is_uncomputed=value is None and formulas.cell(number, place).data_type == "f",
                )
                for place, value in enumerate(cells, start=1)
            )
        )
    return rows


def _missing_faults(header: Sequence[Spot], heads: Sequence[str], where: str) -> tuple[Fault, ...]:
    there = {fold(spot.text) for spot in header}
    known = {fold(head) for head in heads}
    strangers = {spot.text: spot for spot in header if spot.text and fold(spot.text) not in known}
    faults = []
    for head in heads:
        if fold(head) in there:
            continue
        likely = nearest_name(head, strangers)
        renamed = f"; '{likely}' stands there instead" if likely else ""
        faults.append(
            Fault(
                where=strangers[likely].where if likely else where,
                what=f"the column '{head}' is missing{renamed}",
                do="Give the column its header back as the workbook had it.",
            )
        )
    return tuple(faults)

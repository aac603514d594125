"""Workbooks: the values of one sheet, to a grid."""

from __future__ import annotations

import datetime
import io
import warnings
import zipfile
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import ParseError

from doe.errors import Fault, ResultsError
from doe.study.grid import Grid, column_letters
from doe.study.names import fold
from doe.study.numerals import Decimal, number_text

ZIP_MARK = b"PK\x03\x04"
OLD_OFFICE_MARK = b"\xd0\xcf\x11\xe0"
# What openpyxl lets through when a file is damaged or no workbook.
_UNREADABLE = (
    zipfile.BadZipFile, KeyError, ValueError, TypeError, OSError, EOFError, ParseError,
)  # fmt: skip

# A cell is a text, or a number whose decimal sign the texts of the file decide.
Cell = str | float | int


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The values of one sheet: its filled rows, each with its number."""

    source: str
    title: str
    rows: tuple[tuple[int, tuple[Cell, ...]], ...]

    def grid(self, decimal: Decimal) -> Grid:
        """Write the numbers with the decimal sign of the texts, for one rule to read."""
        return Grid(
            source=self.source,
            lines=tuple(number for number, _ in self.rows),
            rows=tuple(tuple(_written(cell, decimal) for cell in cells) for _, cells in self.rows),
            sheet=self.title,
        )

    def texts(self) -> Grid:
        """Give the texts alone, numbers left blank."""
        return Grid(
            source=self.source,
            lines=tuple(number for number, _ in self.rows),
            rows=tuple(
                tuple(cell if isinstance(cell, str) else "" for cell in cells)
                for _, cells in self.rows
            ),
            sheet=self.title,
        )


def read_sheet(data: bytes, source: str, sheet: str | None) -> Sheet:
    """Read the values of a sheet.

    Args:
        data: The workbook.
        source: Name of the file, for messages.
        sheet: Name of the sheet, None for the first.

    Raises:
        ResultsError: The file is no workbook, has no such sheet, or was never computed.
    """
    try:
        values, formulas = _open(data, formulas=False), _with_formulas(data)
    except _UNREADABLE as cause:
        raise ResultsError(
            "the file cannot be opened as an XLSX workbook",
            where=source,
            do="Open it in a spreadsheet and save it again as XLSX or as CSV UTF-8.",
        ) from cause
    names = [one.title for one in values.worksheets]
    chosen = next((name for name in names if sheet is None or fold(name) == fold(sheet)), None)
    if chosen is None:
        listed = ", ".join(f"'{name}'" for name in names)
        raise ResultsError(f"there is no sheet '{sheet}'", where=source, allowed=listed)
    rows: list[tuple[int, tuple[Cell, ...]]] = []
    faults: list[Fault] = []
    for number, cells in enumerate(values[chosen].iter_rows(), start=1):
        if formulas is not None:
            faults.extend(_uncomputed(cells, formulas[chosen][number], source, chosen))
        texts = tuple(_cell(one.value) for one in cells)
        if any(not isinstance(text, str) or text.strip() for text in texts):
            rows.append((number, texts))
    if faults:
        raise ResultsError.from_faults(faults)
    return Sheet(source=source, title=chosen, rows=tuple(rows))


def _open(data: bytes, *, formulas: bool) -> Any:
    # Imported here: it takes a tenth of a second that reading a CSV does not need.
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        # It warns of cell validation and styles that it does not keep; only values are read here.
        warnings.simplefilter("ignore")
        return load_workbook(io.BytesIO(data), data_only=not formulas)


def _with_formulas(data: bytes) -> Any:
    """Open the workbook a second time for its formulas, if it has any."""
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        sheets = [name for name in parts.namelist() if name.startswith("xl/worksheets/sheet")]
        has_formulas = any(b"<f" in parts.read(name) for name in sheets)
    return _open(data, formulas=True) if has_formulas else None


def _uncomputed(values: Any, formulas: Any, source: str, sheet: str) -> list[Fault]:
    """Name formulas whose value no spreadsheet has computed; an empty text is a value."""
    return [
        Fault(
            where=f"{source}, sheet '{sheet}', cell {column_letters(i)}{formula.row}",
            what="the cell holds a formula that has not been computed",
            do="Open the workbook in a spreadsheet, save it, and read it again.",
        )
        for i, (value, formula) in enumerate(zip(values, formulas, strict=False))
        if formula.data_type == "f" and value.value is None and value.data_type == "n"
    ]


def _cell(value: Any) -> Cell:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return value
    if isinstance(value, datetime.datetime):
        return value.isoformat(sep=" ").removesuffix(" 00:00:00")
    return value.isoformat() if isinstance(value, datetime.date | datetime.time) else str(value)


def _written(cell: Cell, decimal: Decimal) -> str:
    return cell if isinstance(cell, str) else number_text(cell).replace(".", decimal)

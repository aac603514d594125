"""Tables: what a file with columns holds, read with all its faults named, and written safely."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from doe.errors import DoeError, Fault, ResultsError
from doe.study.csv_text import restore_text, write_csv
from doe.study.decimal_sign import decide_decimal
from doe.study.finding import Finding
from doe.study.grid import Grid
from doe.study.names import match_name
from doe.study.numerals import Decimal, date_meant, holds_unit, is_error_value, parse_number
from doe.study.sheet_grid import OLD_OFFICE_MARK, ZIP_MARK, read_sheet
from doe.study.table_shape import shape_faults
from doe.study.text_grid import decode_text, text_grid

__all__ = ["Table", "number_fault", "read_table", "write_csv"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A file of named columns.

    Attributes:
        grid: The cells as the file holds them, its header left out.
        names: Names of the columns, trimmed, in the order of the file.
        columns: Position of each column in the file, from 0.
        decimal: The decimal sign of the file, decided once.
        notes: How the file was read, where that is not plain.
        ours: Whether we wrote the file; then texts stand as they were given.
    """

    grid: Grid
    names: tuple[str, ...]
    columns: tuple[int, ...]
    decimal: Decimal = "."
    notes: tuple[Finding, ...] = ()
    ours: bool = False

    def __len__(self) -> int:
        return len(self.grid.rows)

    @property
    def source(self) -> str:
        """Name of the file."""
        return self.grid.source

    @property
    def lines(self) -> tuple[int, ...]:
        """Line or sheet row of each row."""
        return self.grid.lines

    @property
    def rows(self) -> tuple[tuple[str, ...], ...]:
        """The cells as text, one tuple a row in the order of `names`."""
        return tuple(
            tuple(self.text(i, name) for name in self.names) for i in range(len(self.grid.rows))
        )

    def find(self, name: str) -> str | None:
        """Find the column that a name means, capitals and white space aside."""
        return match_name(name, self.names)

    def text(self, i: int, name: str) -> str:
        """Give a cell as text; a blank one, and one of a column that is not there, as ''."""
        column = self._column(name)
        row = self.grid.rows[i]
        if column is None or column >= len(row):
            return ""
        return restore_text(row[column]) if self.ours else row[column].strip()

    def place(self, i: int, name: str) -> str:
        """Say where a cell is: file, line and column."""
        column = self._column(name)
        shown = self.find(name) or name
        return self.grid.place(self.lines[i], 0 if column is None else column, shown)

    def number(self, i: int, name: str, faults: list[Fault] | None = None) -> float | None:
        """Give a cell as a number.

        Args:
            i: Row, from 0.
            name: Name of the column.
            faults: Gathers what is wrong; without it the first fault is raised.

        Returns:
            None for a blank cell, and after a fault.

        Raises:
            ResultsError: The cell is no number and `faults` is not given.
        """
        text = self.text(i, name)
        if not text.strip():
            return None
        value = parse_number(text, self.decimal)
        if value is None:
            _tell(number_fault(text, self.place(i, name)), faults)
        return value

    def whole(self, i: int, name: str, faults: list[Fault] | None = None) -> int | None:
        """Give a cell as a whole number of at least 1, such as a run; None if it is blank.

        Raises:
            ResultsError: The cell is no such number and `faults` is not given.
        """
        value = self.number(i, name, faults)
        if value is not None and (value != int(value) or value < 1):
            what = f"'{self.text(i, name)}' cannot number anything"
            allowed = "whole numbers from 1"
            _tell(Fault(where=self.place(i, name), what=what, allowed=allowed), faults)
            return None
        return None if value is None else int(value)

    def _column(self, name: str) -> int | None:
        if name in self.names:
            return self.columns[self.names.index(name)]
        known = self.find(name)
        return None if known is None else self.columns[self.names.index(known)]


def read_table(
    source: Path | bytes,
    name: str = "",
    *,
    sheet: str | None = None,
    ours: bool = False,
    error: type[DoeError] = ResultsError,
) -> Table:
    """Read a table from a text file (comma, semicolon or tab) or an XLSX workbook.

    Args:
        source: The file, or its content.
        name: What to call the file in messages; by default its name.
        sheet: Sheet of a workbook, by default the first.
        ours: Whether we wrote the file: then formula guards are taken off the texts again.
        error: Which error to raise.

    Raises:
        DoeError: The file cannot be read as a table; all faults are reported together.
    """
    data = _bytes_of(source, error) if isinstance(source, Path) else source
    name = name or (source.name if isinstance(source, Path) else "table")
    try:
        return _table_of(data, name, sheet, ours)
    except ResultsError as cause:
        raise error.from_faults(cause.faults) from cause


def number_fault(text: str, where: str) -> Fault:
    """Say why a text is no number, with the likely cause."""
    shown = text.strip()
    guess = date_meant(shown)
    if is_error_value(shown):
        what = f"'{shown}' is the error value of a spreadsheet formula"
        return Fault(where=where, what=what, do="Mend the formula, or leave the cell blank.")
    if guess is not None:
        made = f" {guess}" if guess else " a number"
        return Fault(
            where=where,
            what=f"'{shown}' is a date or time where a number is due",
            do=f"A spreadsheet probably turned{made} into it: "
            "set the column to text or number and type the value again.",
        )
    if holds_unit(shown):
        do = "Give the number alone; its unit stands in the brief."
        return Fault(where=where, what=f"'{shown}' is more than a number", do=do)
    return Fault(where=where, what=f"'{shown}' is not a number")


def _tell(fault: Fault, faults: list[Fault] | None) -> None:
    if faults is None:
        raise ResultsError.from_faults([fault])
    faults.append(fault)


def _bytes_of(path: Path, error: type[DoeError]) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError as cause:
        raise error("there is no such file", where=str(path)) from cause
    except OSError as cause:
        reason = cause.strerror or "it cannot be read"
        raise error(f"the file cannot be opened ({reason})", where=str(path)) from cause


def _table_of(data: bytes, name: str, sheet: str | None, ours: bool) -> Table:
    grid, decimal, notes = _grid_of(data, name, sheet, ours)
    header = [cell.strip() for cell in grid.rows[0]]
    columns = tuple(i for i, cell in enumerate(header) if cell)
    names = tuple(restore_text(header[i]) if ours else header[i] for i in columns)
    body = replace(grid, lines=grid.lines[1:], rows=grid.rows[1:])
    return Table(grid=body, names=names, columns=columns, decimal=decimal, notes=notes, ours=ours)


def _grid_of(
    data: bytes, name: str, sheet: str | None, ours: bool
) -> tuple[Grid, Decimal, tuple[Finding, ...]]:
    if data.startswith(ZIP_MARK):
        cells = read_sheet(data, name, sheet)
        decimal, notes = _checked(cells.grid("."), cells.texts())
        return cells.grid(decimal), decimal, notes
    if data.startswith(OLD_OFFICE_MARK):
        raise ResultsError(
            "the file is an XLS workbook of the old kind, or protected by a password",
            where=name,
            allowed="XLSX or text",
            do="Save it as XLSX without a password, or as CSV UTF-8.",
        )
    grid = text_grid(decode_text(data, name), name)
    # Our own files are written with commas and points; one that a spreadsheet saved in its own way
    # is read as any other.
    if ours and grid.separator == ",":
        _raise_all(shape_faults(grid))
        return grid, ".", ()
    return grid, *_checked(grid, grid)


def _checked(grid: Grid, texts: Grid) -> tuple[Decimal, tuple[Finding, ...]]:
    """Decide the decimal sign once the shape is right; report the faults of both together."""
    faults = shape_faults(grid)
    try:
        decided = decide_decimal(texts)
    except ResultsError as error:
        faults.extend(error.faults)
    _raise_all(faults)
    return decided


def _raise_all(faults: list[Fault]) -> None:
    if faults:
        raise ResultsError.from_faults(faults)

"""A grid of cells as a file holds it, before anything is made of the cells."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """The filled lines of a file; lines without content are left out.

    Attributes:
        source: Name of the file, for messages.
        lines: Line (or sheet row) number of each row.
        rows: The cells as text; rows may differ in length.
        separator: What parts the columns, empty for a spreadsheet.
        sheet: Name of the sheet, empty for a text file.
    """

    source: str
    lines: tuple[int, ...]
    rows: tuple[tuple[str, ...], ...]
    separator: str = ""
    sheet: str = ""

    def place(self, line: int, column: int, name: str = "") -> str:
        """Say where a cell is.

        Args:
            line: Line or sheet row, from 1.
            column: Column, from 0.
            name: Name of the column, if it has one.
        """
        if self.sheet:
            cell = f"{self.source}, sheet '{self.sheet}', cell {column_letters(column)}{line}"
            return f"{cell} (column '{name}')" if name else cell
        shown = f"'{name}'" if name else str(column + 1)
        return f"{self.source}, line {line}, column {shown}"

    def name_over(self, column: int) -> str:
        """Give what the first row says over a column, empty beyond its end."""
        header = self.rows[0] if self.rows else ()
        return header[column].strip() if column < len(header) else ""


def column_letters(column: int) -> str:
    """Name a column as spreadsheets do.

    Example:
        >>> column_letters(0), column_letters(27)
        ('A', 'AB')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters

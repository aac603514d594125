"""A table as a value: printed on the page with rounded text, written as CSV with full numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from doe.study.csv_text import write_csv

Sign = Literal["", "met", "unmet", "doubt"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One cell.

    Attributes:
        text: What the page prints.
        value: What the CSV holds, where that is more than the text.
        sign: A mark in front of the text, told by shape and word, never by colour alone.
    """

    text: str
    value: float | int | str | None = None
    sign: Sign = ""

    @property
    def full(self) -> str | float | int | None:
        """The cell in a CSV file: all digits of a number, nothing where there is none."""
        if self.value is None:
            return None if self.text == "–" else self.text
        if isinstance(self.value, float) and not math.isfinite(self.value):
            return None
        return self.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows under headings.

    Attributes:
        name: Stem of its CSV file.
        title: What it shows.
        head: Headings.
        rows: Cells, one a heading.
        words: How many columns from the left hold words; the others hold numbers.
        note: How to read it.
        file_head: Headings of its CSV file, where they name units that the page prints cell by
            cell; empty for `head`.
    """

    name: str
    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    words: int = 1
    note: str = ""
    file_head: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if any(len(row) != len(self.head) for row in (*self.rows, self._of_file)):
            raise ValueError(f"table '{self.name}': a row does not fit its headings")

    def csv(self) -> str:
        """Write headings and full numbers, comma and point."""
        return write_csv(self._of_file, [[cell.full for cell in row] for row in self.rows])

    @property
    def _of_file(self) -> tuple[str, ...]:
        return self.file_head or self.head

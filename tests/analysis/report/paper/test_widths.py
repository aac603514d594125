"""Columns on paper: no number cut, no column off the edge, every column somewhere."""

from __future__ import annotations

import pytest

from analysis.report.paper.looks import INNER
from analysis.report.paper.tables import SIZES, numbered_table
from analysis.report.paper.widths import PADDING, column_groups
from analysis.report.table import Cell, Table
from doe.sheets.paper import text_points

LONG = "Verweildauer_in_der_Perlmühle_beim_allerersten_Durchgang_durch_die_Mühle"


def _table(columns: int, *, first: str = LONG, number: str = "1234.56") -> Table:
    row = (Cell(text=first), *(Cell(text=number) for _ in range(columns)))
    heads = ("What", *(f"response number {i} (mPa·s)" for i in range(columns)))
    return Table(name="t", title="t", head=heads, rows=(row,) * 40)


@pytest.mark.parametrize("columns", [1, 5, 10, 25])
def test_no_group_is_wider_than_the_paper(columns: int) -> None:
    """What lies beyond the edge is not printed."""
    _, groups = column_groups(_table(columns), INNER, SIZES)

    assert all(sum(group.widths) <= INNER + 1e-6 for group in groups)


@pytest.mark.parametrize("columns", [1, 5, 10, 25])
def test_every_number_has_its_room(columns: int) -> None:
    """A number broken over two lines is read as two."""
    size, groups = column_groups(_table(columns), INNER, SIZES)
    least = text_points("1234.56", size) + PADDING

    assert all(width >= least - 1e-6 for group in groups for width in group.widths[1:])


@pytest.mark.parametrize("columns", [1, 5, 10, 25])
def test_every_column_stands_once_and_the_first_in_each_group(columns: int) -> None:
    """Continued columns need their rows named."""
    _, groups = column_groups(_table(columns), INNER, SIZES)

    assert all(group.columns[0] == 0 for group in groups)
    assert [i for group in groups for i in group.columns[1:]] == list(range(1, columns + 1))


def test_a_table_that_fits_is_printed_in_the_best_size_and_once() -> None:
    """Small letters and continued columns only where there is need."""
    size, groups = column_groups(_table(4, first="dose"), INNER, SIZES)

    assert size == SIZES[0]
    assert len(groups) == 1


def test_continued_columns_are_said_to_be_such() -> None:
    """The reader must know that two tables are one."""
    pieces = list(numbered_table(_table(25), 3))
    titles = [piece.flowables[0].getPlainText() for piece in pieces]

    assert len(pieces) > 1
    assert "further columns" not in titles[0]
    assert all("further columns" in title for title in titles[1:])

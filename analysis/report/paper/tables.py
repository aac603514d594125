"""Tables on paper: heads repeated, words wrapped, numbers whole, too many columns continued."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from reportlab.platypus import Flowable, Spacer, TableStyle
from reportlab.platypus import Table as PaperTable

from analysis.report.paper.looks import (
    INK,
    INNER,
    MARK,
    RULE,
    STRONG_RULE,
    bold,
    of_markup,
    said,
)
from analysis.report.paper.piece import Piece
from analysis.report.paper.widths import PADDING, Group, column_groups
from analysis.report.table import Cell, Sign, Table
from doe.sheets.fonts import BOLD, PLAIN, faced, marked_up
from doe.sheets.paper import text_points

SIGNS: dict[Sign, str] = {"met": "✓ ", "unmet": "✗ ", "doubt": "! ", "": ""}
SIZES = (7.4, 6.8, 6.2)
# Longer tables may break over pages, as those of the page for the screen do.
MOST_ROWS_KEPT = 14
# Below this much room, in points, a table begins on the next page.
LEAST_ROOM = 110.0

_LOOK: tuple[tuple[Any, ...], ...] = (
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
    ("LEFTPADDING", (0, 0), (-1, -1), PADDING / 2),
    ("RIGHTPADDING", (0, 0), (-1, -1), PADDING / 2),
    ("LEFTPADDING", (0, 0), (0, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 2.2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2.6),
    ("LINEBELOW", (0, 0), (-1, 0), 0.8, STRONG_RULE),
    ("LINEBELOW", (0, 1), (-1, -1), 0.4, RULE),
    ("TEXTCOLOR", (0, 0), (-1, -1), INK),
    ("FONTNAME", (0, 0), (-1, -1), PLAIN),
    ("FONTNAME", (0, 0), (-1, 0), BOLD),
)


def numbered_table(table: Table, number: int) -> Iterator[Piece]:
    """Set a table with its number, title and note; a short one stays whole."""
    size, groups = column_groups(table, INNER, SIZES)
    is_short = len(table.rows) <= MOST_ROWS_KEPT
    for i, group in enumerate(groups):
        more = " (further columns)" * (i > 0)
        title = f"{bold(f'Table {number}.', INK)} {marked_up(table.title + more)}"
        flowables = [of_markup(title, "table title"), paper_table(table, group, size)]
        if table.note and i == len(groups) - 1:
            flowables += [Spacer(0, 4), said(table.note, "note")]
        flowables.append(Spacer(0, 9))
        yield Piece(flowables=flowables, is_whole=is_short, room=LEAST_ROOM)


def bare_tables(table: Table, size: float = 8.0) -> Iterator[PaperTable]:
    """Set a table without number and title, over the whole width."""
    size, groups = column_groups(table, INNER, (size, *SIZES))
    for group in groups:
        spare = (INNER - sum(group.widths)) / len(group.widths)
        widths = tuple(width + spare for width in group.widths)
        yield paper_table(table, Group(columns=group.columns, widths=widths), size)


def paper_table(table: Table, group: Group, size: float) -> PaperTable:
    """Set the columns of a group."""
    # The first column begins at the margin, with no room before it.
    rooms = [width - (PADDING / 2 if i == 0 else PADDING) for i, width in enumerate(group.widths)]
    head = [_head(table.head[i], size, i < table.words) for i in group.columns]
    rows = [
        [
            _cell(row[i], room, size, i < table.words)
            for i, room in zip(group.columns, rooms, strict=True)
        ]
        for row in table.rows
    ]
    look: list[Any] = [
        *_LOOK,
        ("FONTSIZE", (0, 0), (-1, -1), size),
        ("LEADING", (0, 0), (-1, -1), 1.3 * size),
    ]
    look += [
        ("ALIGN", (n, 0), (n, -1), "RIGHT") for n, i in enumerate(group.columns) if i >= table.words
    ]
    return PaperTable(
        [head, *rows], colWidths=list(group.widths), style=TableStyle(look), repeatRows=1,
        hAlign="LEFT", splitInRow=1,
    )  # fmt: skip


def _head(text: str, size: float, is_words: bool) -> Flowable:
    return of_markup(_side(marked_up(text), is_words), "note bold", size=size)


def _cell(cell: Cell, room: float, size: float, is_words: bool) -> Flowable | str:
    """Give a short text as it is, which is quick, and a paragraph where it must wrap."""
    runs = list(faced(SIGNS[cell.sign] + cell.text))
    if not runs:
        return ""
    text = runs[0][1]
    if not cell.sign and len(runs) == 1 and runs[0][0] == PLAIN:
        if text_points(text, size) <= room:
            return text
    sign = bold(SIGNS[cell.sign], MARK if cell.sign != "met" else None) if cell.sign else ""
    return of_markup(_side(sign + marked_up(cell.text), is_words), "text in cell", size=size)


def _side(markup: str, is_words: bool) -> str:
    return markup if is_words else f'<para align="right">{markup}</para>'

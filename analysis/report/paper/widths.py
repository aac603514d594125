"""How wide the columns of a printed table are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.report.table import Table
from doe.sheets.fonts import BOLD, PLAIN
from doe.sheets.paper import text_points

# Room between neighbours, both sides together, in points.
PADDING = 9.0
# A longer word may be cut, so that one name cannot take the whole paper.
LONGEST_WORD = 92.0
# What rounding may take from a column, so that a word is not cut for a hair's breadth.
SLACK = 0.8
# Part of the paper that the first column may take where columns must be continued below.
FIRST_PART = 0.34
# A sign before a cell, such as a tick.
SIGN = "✓ "


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Columns that stand beside each other on the paper, and how wide each is, in points."""

    columns: tuple[int, ...]
    widths: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Room:
    """What one column needs at least, and what it would like."""

    least: float
    natural: float


def column_groups(table: Table, width: float, sizes: Sequence[float]) -> tuple[float, list[Group]]:
    """Choose the letter size and the widths of a table.

    Args:
        table: What is to be printed.
        width: Room, in points.
        sizes: Letter sizes to try, the best first.

    Returns:
        The first size at which all columns fit, and one group; else the last size and several
        groups, each with the first column, so that rows can be told.
    """
    for size in sizes:
        rooms = _rooms(table, size)
        if sum(room.least for room in rooms) <= width:
            columns = tuple(range(len(rooms)))
            return size, [Group(columns=columns, widths=_shared_out(rooms, width))]
    return sizes[-1], _continued(rooms, width)


def _rooms(table: Table, size: float) -> list[_Room]:
    rooms = []
    for i, head in enumerate(table.head):
        texts = [SIGN * bool(row[i].sign) + row[i].text for row in table.rows]
        natural = max((text_points(text, size) + SLACK for text in texts), default=0.0)
        head_word = _longest_word(head, size, BOLD)
        if i < table.words:
            word = max((_longest_word(text, size) for text in texts), default=0.0)
            least = min(max(word, head_word), LONGEST_WORD)
        else:
            least = max(natural, min(head_word, LONGEST_WORD))
            # Numbers stay whole; words among them may not push all else off the paper.
            least = min(least, 2 * LONGEST_WORD)
        # A long heading reads well on two lines.
        whole_head = text_points(head, size, BOLD)
        natural = max(natural, whole_head if len(head) < 12 else 0.6 * whole_head, head_word)
        rooms.append(_Room(least=least + PADDING, natural=max(natural, least) + PADDING))
    return rooms


def _longest_word(text: str, size: float, font: str = PLAIN) -> float:
    return max((text_points(word, size, font) + SLACK for word in text.split()), default=0.0)


def _shared_out(rooms: Sequence[_Room], width: float) -> tuple[float, ...]:
    """Give every column its least, and share the rest by how much more each would like."""
    wanted = sum(room.natural - room.least for room in rooms)
    spare = width - sum(room.least for room in rooms)
    part = 1.0 if wanted <= spare else spare / wanted
    return tuple(room.least + part * (room.natural - room.least) for room in rooms)


def _continued(rooms: Sequence[_Room], width: float) -> list[Group]:
    """Set as many columns beside the first as there is room for, then begin again below."""
    first = _Room(
        least=min(rooms[0].least, FIRST_PART * width),
        natural=min(rooms[0].natural, FIRST_PART * width),
    )
    groups: list[list[int]] = [[]]
    used = first.least
    for i, room in enumerate(rooms[1:], start=1):
        if groups[-1] and used + room.least > width:
            groups.append([])
            used = first.least
        groups[-1].append(i)
        used += room.least
    return [
        Group(columns=(0, *group), widths=_shared_out([first, *(rooms[i] for i in group)], width))
        for group in groups
    ]

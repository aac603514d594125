"""The sheet of weigh-outs: a block a batch, in order of addition."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from openpyxl.formatting.rule import Rule
from openpyxl.styles import PatternFill
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.worksheet.worksheet import Worksheet

from doe.recipe.actual import WEIGHING_TOLERANCE
from doe.sheets.asks import Ask, BatchForm
from doe.sheets.book_form import HEAD_ROW, WEIGHING_HEADS
from doe.sheets.book_look import (
    FIRST_LOOKS,
    LOOKS,
    Look,
    fit_columns,
    keep_blocks_whole,
    put,
    put_formula,
    put_note,
)
from doe.sheets.entry_rules import EntryRules, actual_cell_value
from doe.sheets.wording import grams_decimals
from doe.study.readings import Actual

UNIT, WHAT, HOW, TARGET, MEASURE, ACTUAL, OFF, ACTIVE, WATER, NOTE = range(1, 11)
MISS = PatternFill("solid", bgColor="FFF2B5A0")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One line of the sheet."""

    row: int
    ask: Ask
    note: str
    is_first: bool

    @property
    def looks(self) -> tuple[Look, Look]:
        """How what is said and what is asked look on this line."""
        return FIRST_LOOKS if self.is_first else LOOKS


def write_weighing(
    sheet: Worksheet, forms: Sequence[BatchForm], known: Mapping[tuple[str, str], Actual]
) -> None:
    """Write the batches one under another, a line a thing to do."""
    put(sheet, 1, 1, "Weigh-out", "title")
    put(sheet, 2, 1, "One block a batch, in order of addition; fill in 'actual'.", "line")
    for column, head in enumerate(WEIGHING_HEADS, start=1):
        put(sheet, HEAD_ROW, column, head, "head")
    asks = [(form, index, ask) for form in forms for index, ask in enumerate(form.asks)]
    rules = EntryRules(sheet)
    for row, (form, index, ask) in enumerate(asks, start=HEAD_ROW + 1):
        own = next((i for i, one in enumerate(form.asks) if one.unit == form.batch.unit), 0)
        note = form.control if index == own else ""
        line = _Line(row=row, ask=ask, note=note, is_first=index == 0)
        _write_line(sheet, line)
        actual = put(sheet, row, ACTUAL, actual_cell_value(ask, known), line.looks[1])
        rules.add(actual, ask)
    rules.attach()
    _mark_misses(sheet, HEAD_ROW + len(asks))
    fit_columns(sheet, HEAD_ROW, least=(9, 14, 14, 9, 9, 11, 9, 9, 9, 16))
    ends = [*accumulate((len(form.asks) for form in forms), initial=HEAD_ROW + 1)]
    blocks = [range(start, end) for start, end in pairwise(ends) if end > start]
    keep_blocks_whole(sheet, HEAD_ROW, blocks)


def _write_line(sheet: Worksheet, line: _Line) -> None:
    row, ask = line.row, line.ask
    said, entry = line.looks
    put(sheet, row, UNIT, ask.unit, said)
    put(sheet, row, WHAT, ask.what, said)
    put(sheet, row, HOW, ask.how, said)
    decimals = "General"
    if ask.kind == "grams" and isinstance(ask.target, float):
        decimals = "0." + "0" * grams_decimals(ask.target)
    put(sheet, row, TARGET, ask.target, said, decimals)
    put(sheet, row, MEASURE, ask.measure, said)
    put_note(sheet, row, NOTE, line.note, entry)
    off = put(sheet, row, OFF, None, said, "+0.0;-0.0;0.0")
    if ask.kind == "grams" and ask.target:
        put_formula(off, f'=IF(ISNUMBER(F{row}),100*(F{row}/D{row}-1),"")')
    weighed = ask.line if ask.line is not None and ask.line.kind != "balance" else None
    put(sheet, row, ACTIVE, weighed.active_g if weighed else None, said, "0.000")
    put(sheet, row, WATER, weighed.water_g if weighed else None, said, "0.000")


def _mark_misses(sheet: Worksheet, last_row: int) -> None:
    """Colour weighings that are off by more than the tolerance; the balance may differ."""
    first = HEAD_ROW + 1
    miss = f"AND(ISNUMBER(G{first}),ABS(G{first})>{100 * WEIGHING_TOLERANCE:g})"
    sheet.conditional_formatting.add(
        f"G{first}:G{last_row}",
        Rule(type="expression", formula=[miss], dxf=DifferentialStyle(fill=MISS)),
    )

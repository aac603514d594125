"""The sheets of samples and panels: a line a unit, a column a thing set or weighed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from openpyxl.cell.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

from doe.recipe.batches import BenchBatch, BenchRun
from doe.sheets.asks import Ask
from doe.sheets.book_form import HEAD_ROW, EntryColumn
from doe.sheets.book_look import FIRST_LOOKS, LOOKS, fit_columns, put
from doe.sheets.entry_rules import EntryRules, actual_cell_value
from doe.sheets.wording import number_text, with_unit
from doe.study.readings import Actual

Unit = tuple[BenchBatch, tuple[BenchRun, ...], tuple[Ask, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    """What one or two columns ask; the plan stands in the header where it is the same for all."""

    what: str
    measure: str
    is_planned: bool
    same: float | str | None

    @property
    def head(self) -> str:
        planned = "" if self.same is None else f", planned {_text(self.same)}"
        return with_unit(f"{self.what}{planned}", self.measure)

    @property
    def planned_head(self) -> str:
        return with_unit(f"{self.what} planned", self.measure)


def write_units(
    sheet: Worksheet, units: Sequence[Unit], known: Mapping[tuple[str, str], Actual]
) -> list[EntryColumn]:
    """Write one line a unit and give the columns to fill in."""
    columns = _columns(units)
    put(sheet, 1, 1, sheet.title, "title")
    put(sheet, 2, 1, "One line a unit, in bench order; fill in the pale cells.", "line")
    heads = ["unit", "batch", "run"]
    for one in columns:
        heads += [one.planned_head, one.head] if one.is_planned else [one.head]
    for index, head in enumerate(heads, start=1):
        put(sheet, HEAD_ROW, index, head, "head")
    rules = EntryRules(sheet)
    batch_above: BenchBatch | None = None
    filled = [unit for unit in units if unit[2]]
    for row, unit in enumerate(filled, start=HEAD_ROW + 1):
        entries = _write_unit(sheet, row, unit, columns, is_first=unit[0] is not batch_above)
        for cell, ask in entries:
            cell.value = actual_cell_value(ask, known)
            rules.add(cell, ask)
        batch_above = unit[0]
    rules.attach()
    fit_columns(sheet, HEAD_ROW, least=(10, 7, 6))
    return [
        EntryColumn(sheet=sheet.title, head=one.head, what=one.what, measure=one.measure)
        for one in columns
    ]


def _write_unit(
    sheet: Worksheet,
    row: int,
    unit: Unit,
    columns: Sequence[_Column],
    *,
    is_first: bool,
) -> list[tuple[Cell, Ask]]:
    """Write what is known of a unit and give its entry cells."""
    batch, runs, asks = unit
    said, entry = FIRST_LOOKS if is_first else LOOKS
    entries = []
    put(sheet, row, 1, asks[0].unit, said)
    put(sheet, row, 2, batch.number, said)
    several = ", ".join(str(run.run) for run in runs)
    put(sheet, row, 3, several if len(runs) > 1 else runs[0].run, said)
    by_what = {ask.what: ask for ask in asks}
    column = 3
    for one in columns:
        ask = by_what.get(one.what)
        if one.is_planned:
            column += 1
            put(sheet, row, column, ask.target if ask else None, said if ask else "closed")
        column += 1
        if ask is None:
            put(sheet, row, column, None, "closed")
        else:
            entries.append((put(sheet, row, column, None, entry), ask))
    return entries


def _columns(units: Sequence[Unit]) -> list[_Column]:
    """Gather what is asked of any unit, in order.

    Settings and grams that differ have a column of their own for the plan; grams that are the same
    for all stand in the header.
    """
    asked: dict[str, list[Ask]] = {}
    for _, _, asks in units:
        for ask in asks:
            asked.setdefault(ask.what, []).append(ask)
    columns = []
    for what, those in asked.items():
        targets = {ask.target for ask in those}
        is_same = len(targets) == 1 and those[0].kind == "grams"
        columns.append(
            _Column(
                what=what,
                measure=those[0].measure,
                is_planned=not is_same,
                same=those[0].target if is_same else None,
            )
        )
    return columns


def _text(value: float | str) -> str:
    return value if isinstance(value, str) else number_text(value)

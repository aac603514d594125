"""The sheet of readings: a line a run, no settings, so that it can be read blind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from openpyxl.worksheet.worksheet import Worksheet

from doe.recipe.batches import bench_batches
from doe.sheets.book_form import HEAD_ROW, ID_HEADS, NOTE, EntryColumn, reading_text
from doe.sheets.book_look import FIRST_LOOKS, LOOKS, fit_columns, put, put_note
from doe.sheets.entry_rules import EntryRules
from doe.sheets.wording import with_unit
from doe.study.brief import Response, Study
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.readings import Readings

# Spare lines for second readings: one for every four runs, at least so many.
LEAST_SPARE = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One line: which reading of which run; both None on a spare line.

    Attributes:
        run: Run number.
        repeat: 1 for the first reading.
        numbers: What tells the unit apart, by column.
        is_first: It is the first line of a batch.
    """

    run: int | None
    repeat: int | None
    numbers: Mapping[str, int | None]
    is_first: bool = False

    @property
    def is_spare(self) -> bool:
        """The line waits for a second reading of some run."""
        return self.run is None


def write_readings(
    sheet: Worksheet,
    study: Study,
    plan: Plan,
    readings: Readings,
    responses: Sequence[Response],
) -> list[EntryColumn]:
    """Write one line a run and give the columns to fill in, those of some responses."""
    put(sheet, 1, 1, "Readings", "title")
    put(sheet, 2, 1, "A number, or: gelled, lost, > 5000, < 5, 5 to 10. Blank: pending.", "line")
    identities = _identities(plan)
    columns = [
        EntryColumn(
            sheet=sheet.title, head=with_unit(one.name, one.unit), what=one.name, measure=one.unit
        )
        for one in responses
    ]
    heads = [*identities, *(one.head for one in columns), NOTE]
    for index, head in enumerate(heads, start=1):
        put(sheet, HEAD_ROW, index, head, "head")
    known = reading_text(readings.current())
    rules = EntryRules(sheet)
    open_lines = _lead_runs(study, plan)
    for row, line in enumerate(_lines(plan, known), start=HEAD_ROW + 1):
        _write_identity(sheet, row, line, identities, rules)
        for index, response in enumerate(responses, start=len(identities) + 1):
            value = known.get((line.run or 0, line.repeat or 0, fold(response.name)))
            if line.is_spare or line.run in open_lines[response.name] or value is not None:
                look = FIRST_LOOKS[1] if line.is_first else LOOKS[1]
                rules.add_reading(put(sheet, row, index, value, look))
            else:
                put(sheet, row, index, None, "closed")
        put_note(sheet, row, len(heads), "", FIRST_LOOKS[1] if line.is_first else LOOKS[1])
    rules.attach()
    widths = [7.0] * len(identities) + [12.0] * len(columns) + [24.0]
    fit_columns(sheet, HEAD_ROW, least=widths)
    return columns


def _write_identity(
    sheet: Worksheet, row: int, line: _Line, identities: Sequence[str], rules: EntryRules
) -> None:
    said, entry = FIRST_LOOKS if line.is_first else LOOKS
    for index, head in enumerate(identities, start=1):
        is_open = line.is_spare and head in ("run", "repeat")
        cell = put(sheet, row, index, line.numbers.get(head), entry if is_open else said)
        if is_open:
            rules.add_count(cell)


def _identities(plan: Plan) -> list[str]:
    """Name the numbers that tell the units of this plan apart."""
    there = {
        "run": True,
        "day": any(plan.day),
        "batch": any(plan.batch),
        "sample": any(plan.sample),
        "panel": any(plan.panel),
        "repeat": True,
    }
    return [head for head in ID_HEADS if there[head]]


def _lines(plan: Plan, known: Mapping[tuple[int, int, str], object]) -> list[_Line]:
    """List a line a run, one more for each repeat that is known, and spare ones at the end."""
    lines = []
    batch_above: int | None = None
    for row, run in enumerate(plan.run):
        repeats = max((repeat for one, repeat, _ in known if one == run), default=1)
        for repeat in range(1, repeats + 1):
            numbers = {
                "run": run,
                "day": plan.day[row],
                "batch": plan.batch[row],
                "sample": plan.sample[row],
                "panel": plan.panel[row],
                "repeat": repeat,
            }
            is_first = plan.batch[row] is not None and plan.batch[row] != batch_above
            lines.append(_Line(run=run, repeat=repeat, numbers=numbers, is_first=is_first))
            batch_above = plan.batch[row]
    spare = max(LEAST_SPARE, len(plan) // 4)
    first = _Line(run=None, repeat=None, numbers={}, is_first=True)
    return [*lines, first, *[replace(first, is_first=False)] * (spare - 1)]


def _lead_runs(study: Study, plan: Plan) -> dict[str, set[int]]:
    """Give, by response, the runs whose line takes its readings: the first of each unit."""
    batches = bench_batches(study, plan)
    first: dict[str, set[int]] = {
        "batch": {batch.runs[0].run for batch in batches},
        "sample": {sample.runs[0].run for batch in batches for sample in batch.samples},
        "panel": set(plan.run),
    }
    return {response.name: first[response.per] for response in study.responses}

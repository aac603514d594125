"""The sheet of readings, read back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from doe.errors import Fault
from doe.sheets.book_form import ID_HEADS, NOTE, READINGS, EntryColumn
from doe.sheets.book_pages import Page, Spot
from doe.sheets.cell_in import CellReader
from doe.sheets.wording import with_unit
from doe.study.brief import Response, Study
from doe.study.finding import Finding
from doe.study.names import fold, match_name
from doe.study.plan import Plan
from doe.study.readings import Reading, ReadingKey


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unit:
    """What a row of the sheet is of, and what was noted beside it."""

    run: int
    repeat: int
    panel: int | None
    note: str


def read_readings(
    page: Page, columns: Sequence[EntryColumn], study: Study, plan: Plan, reader: CellReader
) -> tuple[list[Reading], list[Finding]]:
    """Read every reading of the sheet.

    Args:
        page: The sheet.
        columns: The columns as they were written.
        study: The brief.
        plan: The plan.
        reader: Reads cells and gathers what it cannot understand.

    Returns:
        Readings in the order of the sheet, their source without the file, and findings.
    """
    responses, findings = _responses(page, columns, study, reader)
    readings: dict[ReadingKey, tuple[Spot, Reading]] = {}
    for row, unit in _units(page, list(responses), plan, reader):
        if unit.note:
            findings.append(_note_finding(unit))
        for head, response in responses.items():
            spot = page.at(row, head)
            reading = None if spot is None else _reading(spot, response, unit, reader)
            if spot is None or reading is None:
                continue
            known = readings.setdefault(reading.key, (spot, reading))
            reader.faults.extend(_twice(spot, reading, *known))
    return [
        replace(one, id=number) for number, (_, one) in enumerate(readings.values(), start=1)
    ], findings


def _responses(
    page: Page, columns: Sequence[EntryColumn], study: Study, reader: CellReader
) -> tuple[dict[str, Response], list[Finding]]:
    """Match the columns of the sheet with the responses of the brief."""
    matched: dict[str, Response] = {}
    findings = []
    written = {fold(one.head): one for one in columns if one.sheet == READINGS}
    heads = {fold(with_unit(one.name, one.unit)): one for one in study.responses}
    names = [one.name for one in study.responses]
    for head, place in page.heads.items():
        column = written.get(head)
        if head in heads:
            matched[head] = heads[head]
        elif column is not None and (name := match_name(column.what, names)) is not None:
            reader.faults.extend(_other_unit(page, place, column, study.response(name)))
        elif head not in (*ID_HEADS, NOTE):
            findings.append(_ignored(column.head if column else head))
    missing = [one.name for one in study.responses if one not in matched.values()]
    if missing and page.rows:
        findings.append(
            Finding(
                level="note",
                what="The workbook has no column for "
                + ", ".join(f"'{name}'" for name in missing)
                + ".",
                advice="`millbase sheet` writes one with all responses of the brief.",
            )
        )
    return matched, findings


def _other_unit(page: Page, place: int, column: EntryColumn, response: Response) -> Iterator[Fault]:
    """Refuse readings whose unit is not the brief's any more."""
    filled = next((row[place] for row in page.rows if not row[place].is_blank), None)
    if filled is not None:
        yield Fault(
            where=filled.where,
            what=f"'{response.name}' is entered in {column.measure or 'no unit'}, but the brief "
            f"has it in {response.unit or 'no unit'}",
            do="Convert the readings in a new workbook, or give the brief its unit back.",
        )


def _ignored(head: str) -> Finding:
    return Finding(
        level="note",
        what=f"Sheet '{READINGS}': the column '{head}' is left out; the brief has no such "
        "response.",
    )


def _units(
    page: Page, heads: Sequence[str], plan: Plan, reader: CellReader
) -> Iterator[tuple[tuple[Spot, ...], _Unit]]:
    """Give every filled row with its run and repeat; a blank repeat is the next of its run."""
    next_repeat: dict[int, int] = {}
    for row in page.rows:
        spots = [page.at(row, head) for head in heads]
        if all(spot is None or spot.is_blank for spot in spots):
            continue
        place = _plan_row(page, row, plan, reader)
        repeat_spot, note = page.at(row, "repeat"), page.at(row, NOTE)
        if place is None or repeat_spot is None:
            continue
        run = plan.run[place]
        repeat = reader.whole(repeat_spot) or next_repeat.get(run, 1)
        next_repeat[run] = max(next_repeat.get(run, 1), repeat + 1)
        yield (
            row,
            _Unit(
                run=run,
                repeat=repeat,
                panel=plan.panel[place],
                note=note.text if note else "",
            ),
        )


def _plan_row(page: Page, row: Sequence[Spot], plan: Plan, reader: CellReader) -> int | None:
    """Find the row of the plan that a filled row is of; None after a fault."""
    spot = page.at(row, "run")
    if spot is None:
        return None
    if spot.is_blank:
        what = "the readings of this row have no run number beside them"
        reader.faults.append(Fault(where=spot.where, what=what))
        return None
    run = reader.whole(spot)
    if run is None:
        return None
    if run not in plan.run:
        allowed = f"runs {min(plan.run)} to {max(plan.run)}"
        what = f"run {run} is not in the plan"
        reader.faults.append(Fault(where=spot.where, what=what, allowed=allowed))
        return None
    place = plan.run.index(run)
    _check_numbers(page, row, plan, place, reader)
    return place


def _check_numbers(
    page: Page, row: Sequence[Spot], plan: Plan, place: int, reader: CellReader
) -> None:
    """See that batch, sample and panel beside a run are its own: half a sheet may be sorted."""
    numbers = {"batch": plan.batch, "sample": plan.sample, "panel": plan.panel}
    for head, planned in numbers.items():
        spot = page.at(row, head)
        if spot is None or spot.is_blank:
            continue
        number = reader.whole(spot)
        if number is not None and number != planned[place]:
            reader.faults.append(
                Fault(
                    where=spot.where,
                    what=f"{head} {number} stands beside run {plan.run[place]}",
                    allowed=f"{head} {planned[place]}",
                    do="Were only some columns sorted? Sort all of them together.",
                )
            )


def _reading(spot: Spot, response: Response, unit: _Unit, reader: CellReader) -> Reading | None:
    said = reader.reading(spot)
    if said is None or said.flag is None:
        return None
    cell = spot.where.rsplit(" ", 1)[-1]
    return Reading(
        id=1,
        run=unit.run,
        panel=unit.panel if response.per == "panel" else None,
        repeat=unit.repeat,
        response=response.name,
        value=said.value,
        value_to=said.value_to,
        flag=said.flag,
        because=unit.note,
        source=f"{READINGS} {cell}",
    )


def _twice(spot: Spot, reading: Reading, earlier: Spot, known: Reading) -> list[Fault]:
    """Name a second line for the same reading; the same value twice does no harm."""
    if (reading.flag, reading.value, reading.value_to) == (known.flag, known.value, known.value_to):
        return []
    return [
        Fault(
            where=spot.where,
            what=f"run {reading.run}, repeat {reading.repeat}, '{reading.response}' stands twice, "
            f"as {spot.text} and, in {earlier.where}, as {earlier.text}",
            do="Give a second reading the next number under 'repeat'.",
        )
    ]


def _note_finding(unit: _Unit) -> Finding:
    return Finding(level="note", what=f"Run {unit.run}, noted at the bench: {unit.note}")

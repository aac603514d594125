"""The sheet of readings, read back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from doe.errors import Fault
from doe.sheets.bench_tests import plain_responses
from doe.sheets.book_form import ID_HEADS, NOTE, READINGS, EntryColumn
from doe.sheets.book_pages import Page, Spot
from doe.sheets.cell_in import CellReader
from doe.sheets.row_units import RowFrame, RowUnit, units_of_rows
from doe.sheets.wording import with_unit
from doe.study.brief import Response, Study
from doe.study.finding import Finding
from doe.study.names import fold, match_name
from doe.study.plan import Plan
from doe.study.readings import Reading, ReadingKey


def read_readings(
    page: Page,
    columns: Sequence[EntryColumn],
    study: Study,
    plan: Plan,
    reader: CellReader,
    *,
    for_some: bool = False,
) -> tuple[list[Reading], list[Finding]]:
    """Read every reading of the sheet.

    Args:
        page: The sheet.
        columns: The columns as they were written.
        study: The brief.
        plan: The plan.
        reader: Reads cells and gathers what it cannot understand.
        for_some: The workbook was written for some of the responses only.

    Returns:
        Readings in the order of the sheet, their source without the file, and findings.
    """
    responses, findings = _responses(page, columns, study, reader, for_some=for_some)
    readings: dict[ReadingKey, tuple[Spot, Reading]] = {}
    for row, unit in units_of_rows(page, list(responses), RowFrame(plan=plan), reader):
        if unit.note:
            findings.append(note_finding(unit))
        for head, response in responses.items():
            spot = page.at(row, head)
            reading = None if spot is None else _reading(spot, response, unit, reader)
            if spot is None or reading is None:
                continue
            known = readings.setdefault(reading.key, (spot, reading))
            reader.faults.extend(stands_twice(spot, reading, *known))
    return [
        replace(one, id=number) for number, (_, one) in enumerate(readings.values(), start=1)
    ], findings


def _responses(
    page: Page,
    columns: Sequence[EntryColumn],
    study: Study,
    reader: CellReader,
    *,
    for_some: bool,
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
    asked = plain_responses(study.responses)
    missing = [one.name for one in asked if one not in matched.values()]
    if missing and page.rows and not for_some:
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


def _reading(spot: Spot, response: Response, unit: RowUnit, reader: CellReader) -> Reading | None:
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


def stands_twice(spot: Spot, reading: Reading, earlier: Spot, known: Reading) -> list[Fault]:
    """Name a second line for the same reading; the same value twice does no harm."""
    if (reading.flag, reading.value, reading.value_to) == (known.flag, known.value, known.value_to):
        return []
    age = "" if reading.age_d is None else f", age {reading.age_d:g} d"
    return [
        Fault(
            where=spot.where,
            what=f"run {reading.run}{age}, repeat {reading.repeat}, '{reading.response}' stands "
            f"twice, as {spot.text} and, in {earlier.where}, as {earlier.text}",
            do="Give a second reading the next number under 'repeat'.",
        )
    ]


def note_finding(unit: RowUnit) -> Finding:
    """Tell what was noted beside the readings of a run."""
    return Finding(level="note", what=f"Run {unit.run}, noted at the bench: {unit.note}")

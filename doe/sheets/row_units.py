"""What a row of a sheet of readings is of: its run, age and repeat."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from doe.errors import Fault
from doe.sheets.book_form import AGE, NOTE
from doe.sheets.book_pages import Page, Spot
from doe.sheets.cell_in import CellReader
from doe.study.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class RowUnit:
    """What a row of the sheet is of, and what was noted beside it."""

    run: int
    repeat: int
    panel: int | None
    note: str
    age_d: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RowFrame:
    """What the rows of a sheet can be of.

    Attributes:
        plan: The plan.
        leads: For each run, the one under which its readings are kept; itself where none is named.
        ages_d: The ages that are asked for, days; a blank age is the only one of them.
    """

    plan: Plan
    leads: Mapping[int, int] = field(default_factory=dict)
    ages_d: tuple[float | None, ...] = (None,)


def units_of_rows(
    page: Page, heads: Sequence[str], frame: RowFrame, reader: CellReader
) -> Iterator[tuple[tuple[Spot, ...], RowUnit]]:
    """Give every filled row with its run, age and repeat; a blank repeat is the next of them.

    Args:
        page: The sheet.
        heads: The columns that a filled row has something in.
        frame: What the rows can be of.
        reader: Reads cells and gathers what it cannot understand.
    """
    next_repeat: dict[tuple[int, float | None], int] = {}
    for row in page.rows:
        spots = [page.at(row, head) for head in heads]
        if all(spot is None or spot.is_blank for spot in spots):
            continue
        place = _plan_row(page, row, frame.plan, reader)
        repeat_spot, note = page.at(row, "repeat"), page.at(row, NOTE)
        if place is None or repeat_spot is None:
            continue
        run = frame.leads.get(frame.plan.run[place], frame.plan.run[place])
        known = len(reader.faults)
        age_d = _age(page, row, frame, reader)
        if len(reader.faults) > known:
            continue
        repeat = reader.whole(repeat_spot) or next_repeat.get((run, age_d), 1)
        next_repeat[run, age_d] = max(next_repeat.get((run, age_d), 1), repeat + 1)
        unit = RowUnit(
            run=run,
            repeat=repeat,
            panel=frame.plan.panel[place],
            note=note.text if note else "",
            age_d=age_d,
        )
        yield row, unit


def _age(page: Page, row: Sequence[Spot], frame: RowFrame, reader: CellReader) -> float | None:
    """Read the age beside a row; with several to choose from, a blank one is a fault."""
    spot = page.at(row, AGE)
    if spot is not None and not spot.is_blank:
        return reader.number(spot)
    if len(frame.ages_d) == 1 or spot is None:
        return frame.ages_d[0] if len(frame.ages_d) == 1 else None
    ages = " or ".join(f"{age_d:g}" for age_d in frame.ages_d if age_d is not None)
    reader.faults.append(
        Fault(
            where=spot.where,
            what="the readings of this row have no age beside them",
            allowed=f"{ages} d",
        )
    )
    return None


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

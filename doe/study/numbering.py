"""Numbers of runs, batches, samples and panels: issued once a study, never used again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from doe.study.actuals_file import unit_of
from doe.study.plan import Plan
from doe.study.readings import Actual, Readings

NUMBERED = ("run", "batch", "sample", "panel")


@dataclass(frozen=True, slots=True, kw_only=True)
class NextNumbers:
    """The next free number of each kind, from 1."""

    run: int
    batch: int
    sample: int
    panel: int
    round: int
    reading: int


def next_numbers(
    plan: Plan | None, readings: Readings, actuals: Sequence[Actual] = ()
) -> NextNumbers:
    """Find the next free numbers, beyond all that stand and all that were ever issued.

    Args:
        plan: The plan so far, None before the first.
        readings: All readings; their runs count even where the plan has lost them.
        actuals: All actuals; their units count likewise.
    """
    marks = dict(issued_marks(plan)) if plan else dict.fromkeys(NUMBERED, 0)
    for reading in readings.rows:
        marks["run"] = max(marks["run"], reading.run)
        marks["panel"] = max(marks["panel"], reading.panel or 0)
    for stage, number in filter(None, (unit_of(one.unit) for one in actuals)):
        if stage in marks:
            marks[stage] = max(marks[stage], number)
    rounds = [entry.number for entry in plan.rounds] if plan else []
    return NextNumbers(
        run=marks["run"] + 1,
        batch=marks["batch"] + 1,
        sample=marks["sample"] + 1,
        panel=marks["panel"] + 1,
        round=max(rounds, default=0) + 1,
        reading=max((reading.id for reading in readings.rows), default=0) + 1,
    )


def issued_marks(plan: Plan, before: Mapping[str, int] | None = None) -> Mapping[str, int]:
    """Give the highest number ever issued of each kind.

    Args:
        plan: The plan as it stands.
        before: Marks that an earlier plan of the study left.
    """
    columns: dict[str, Iterable[int | None]] = {
        "run": (*plan.run, *(run for entry in plan.rounds for run in entry.runs)),
        "batch": plan.batch,
        "sample": plan.sample,
        "panel": plan.panel,
    }
    return {
        kind: max(plan.issued.get(kind, 0), (before or {}).get(kind, 0), *_numbers(numbers))
        for kind, numbers in columns.items()
    }


def runs_with_data(plan: Plan, readings: Readings, actuals: Sequence[Actual]) -> tuple[int, ...]:
    """Find the runs that cannot be replaced, since a reading or an actual belongs to them.

    An actual of a day, batch, sample or panel belongs to every run of that unit.
    """
    units: dict[tuple[str, int], set[int]] = {}
    for i, run in enumerate(plan.run):
        stages = (
            ("day", plan.day),
            ("batch", plan.batch),
            ("sample", plan.sample),
            ("panel", plan.panel),
        )
        for stage, column in (("run", plan.run), *stages):
            number = column[i]
            if number is not None:
                units.setdefault((stage, number), set()).add(run)
    found = {reading.run for reading in readings.rows} & set(plan.run)
    for one in actuals:
        unit = unit_of(one.unit)
        found |= units.get(unit, set()) if unit else set()
    return tuple(sorted(found))


def _numbers(numbers: Iterable[int | None]) -> list[int]:
    return [0, *(number for number in numbers if number is not None)]

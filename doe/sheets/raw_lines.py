"""The lines of a sheet of raw readings: unit by unit, each at its ages, with its repeats."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field

from doe.methods.method import Unit
from doe.methods.raw_columns import BenchTest
from doe.recipe.batches import BenchBatch, BenchRun, bench_batches
from doe.sheets.asks import panel_unit
from doe.sheets.bench_tests import ages_of
from doe.sheets.book_form import AGE
from doe.study.brief import Study
from doe.study.plan import Plan

# Spare lines for second readings: one for every four units, at least so many.
LEAST_SPARE = 6

# Run, age (days) and repeat: what is known already.
LineKey = tuple[int, float | None, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadUnit:
    """One unit of a test.

    Attributes:
        name: As actuals call it: `batch 3`, `sample 5`, `panel 4`, `run 7`.
        run: Its first run, under which its readings are kept.
        panel: Panel number; None where the test belongs to a wider unit, or panels have none.
        numbers: What tells it apart, by head of the column.
        is_first: It is the first unit of its batch.
    """

    name: str
    run: int
    panel: int | None
    numbers: Mapping[str, int | None]
    is_first: bool

    @property
    def label(self) -> str:
        """Name it as a curve or a reading of it is called."""
        return f"run {self.run}" + (f" panel {self.panel}" if self.panel is not None else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class RawLine:
    """One line of a sheet; `unit` is None on a spare one.

    Attributes:
        unit: What is read.
        age_d: At which age, days.
        repeat: 1 for the first reading.
        is_first: A stronger rule stands above it.
        is_first_of_unit: It is the unit's first line, where dates are typed.
        numbers: What the cells of its identity show, by head of the column.
    """

    unit: ReadUnit | None
    age_d: float | None = None
    repeat: int | None = None
    is_first: bool = False
    is_first_of_unit: bool = True
    numbers: Mapping[str, float | None] = field(default_factory=dict)

    @property
    def key(self) -> LineKey | None:
        """What readings of the line have in common; None on a spare line."""
        if self.unit is None or self.repeat is None:
            return None
        return (self.unit.run, self.age_d, self.repeat)


def read_units(study: Study, plan: Plan, per: Unit) -> tuple[ReadUnit, ...]:
    """List the units that a test belongs to, in bench order."""
    units = []
    for batch in bench_batches(study, plan):
        for index, (name, run, numbers) in enumerate(_members(batch, per)):
            units.append(
                ReadUnit(
                    name=name,
                    run=run.run,
                    panel=run.panel if per == "panel" else None,
                    numbers={"run": run.run, "day": batch.day, "batch": batch.number, **numbers},
                    is_first=index == 0,
                )
            )
    return tuple(units)


def lead_runs(study: Study, plan: Plan, per: Unit) -> dict[int, int]:
    """Give, for each run, the first run of the unit that it is part of."""
    leads = {}
    for batch in bench_batches(study, plan):
        for sample in batch.samples:
            for run in sample.runs:
                first = {"batch": batch.runs[0], "sample": sample.runs[0], "panel": run}[per]
                leads[run.run] = first.run
    return leads


def raw_lines(
    test: BenchTest, units: Collection[ReadUnit], known: Collection[LineKey]
) -> tuple[RawLine, ...]:
    """List a line a unit, age and repeat that is known, and spare ones at the end.

    Args:
        test: The test.
        units: Its units, in bench order.
        known: What has been read already; also at ages that nobody asks for any more.
    """
    lines = [line for unit in units for line in _unit_lines(test, unit, known)]
    if not test.table.columns:
        return tuple(lines)
    spare = max(LEAST_SPARE, len(units) // 4)
    return (*lines, *(RawLine(unit=None, is_first=index == 0) for index in range(spare)))


def _members(batch: BenchBatch, per: Unit) -> Iterator[tuple[str, BenchRun, dict[str, int | None]]]:
    """Give the units of a batch with their first run and their numbers below the batch."""
    if per == "batch":
        yield batch.unit, batch.runs[0], {}
        return
    for sample in batch.samples:
        if per == "sample":
            yield sample.unit, sample.runs[0], {"sample": sample.number}
            continue
        for run in sample.runs:
            yield panel_unit(run), run, {"sample": sample.number, "panel": run.panel}


def _unit_lines(test: BenchTest, unit: ReadUnit, known: Collection[LineKey]) -> Iterator[RawLine]:
    ages = ages_of(test)
    read = [(age_d, repeat) for run, age_d, repeat in known if run == unit.run]
    extra = sorted({age for age, _ in read if age not in ages}, key=lambda age: age or -1.0)
    first = True
    for age_d in (*ages, *extra):
        repeats = max((repeat for age, repeat in read if age == age_d), default=1)
        for repeat in range(1, repeats + 1):
            yield RawLine(
                unit=unit,
                age_d=age_d,
                repeat=repeat,
                is_first=unit.is_first and first,
                is_first_of_unit=first,
                numbers={**unit.numbers, AGE: age_d, "repeat": repeat},
            )
            first = False

"""What the doubts look at, as one value, and the cells that a reading came from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.lab.as_made import AsMade, as_made
from doe.methods.raw_columns import bench_tests
from doe.methods.registry import METHODS
from doe.study.brief import Study
from doe.study.choices import Choices
from doe.study.computed_merge import COMPUTED
from doe.study.plan import Plan
from doe.study.raw_data import RawData
from doe.study.readings import Actual, Reading, Readings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
    """Everything that came from the bench, beside the plan that it belongs to.

    Attributes:
        study: The brief, methods settled.
        plan: The runs.
        readings: All readings, those that methods compute included.
        raw: Raw readings.
        actuals: What was really done.
        choices: What was decided; gives the scale that a response is fitted on.
    """

    study: Study
    plan: Plan
    readings: Readings
    raw: RawData
    actuals: Sequence[Actual]
    choices: Choices

    @property
    def made(self) -> AsMade:
        """The runs as they were made."""
        return as_made(self.study, self.plan, self.actuals)

    def batches_of(self, runs: Sequence[int]) -> tuple[int, ...]:
        """Give the batches of some runs, where they have numbers."""
        batch = dict(zip(self.plan.run, self.plan.batch, strict=True))
        numbers = (batch.get(run) for run in runs)
        return tuple(dict.fromkeys(number for number in numbers if number is not None))

    def raw_rows(self) -> Mapping[str, tuple[Reading, ...]]:
        """Give the raw readings that stand, by name of the test, of the tests in the brief."""
        tables = self.raw.tables
        return {
            test.table.name: tables[test.table.name].current()
            for test in bench_tests(self.study)
            if test.table.name in tables
        }


def cells_of(bench: Bench, readings: Sequence[Reading]) -> tuple[str, ...]:
    """List where readings came from: of computed ones the cells of their raw readings."""
    cells: list[str] = []
    rows = bench.raw_rows()
    for reading in readings:
        method = METHODS.get(reading.source.removeprefix(COMPUTED))
        table = method.table if method and reading.source.startswith(COMPUTED) else None
        if table is None:
            cells.append(reading.source)
            continue
        cells += [row.source for row in rows.get(table.name, ()) if _is_behind(row, reading)]
        cells += [
            curve.source
            for curve in bench.raw.current_curves(table.curve or "")
            if curve.subject == "run"
            and (curve.run, curve.age_d, curve.repeat)
            == (reading.run, reading.age_d, reading.repeat)
        ]
    return tuple(dict.fromkeys(cell for cell in cells if cell))


def _is_behind(row: Reading, reading: Reading) -> bool:
    same = (row.run, row.age_d, row.repeat) == (reading.run, reading.age_d, reading.repeat)
    return same and reading.panel in (None, row.panel)

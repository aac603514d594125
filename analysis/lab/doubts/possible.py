"""Raw readings that no instrument can show: outside the ends of their column."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.lab.doubts.bench import Bench
from analysis.lab.raw_grouping import unit_label
from doe.methods.method import RawColumn
from doe.methods.raw_columns import bench_tests
from doe.study.doubt import Doubt
from doe.study.finding import Finding
from doe.study.readings import Reading


def impossible_raw_readings(bench: Bench) -> Iterator[Doubt]:
    """Find raw readings below the least or above the greatest value that is possible."""
    rows = bench.raw_rows()
    for test in bench_tests(bench.study):
        columns = {column.name: column for column in test.table.columns}
        responses = tuple(one.name for one in test.responses)
        for row in rows.get(test.table.name, ()):
            column = columns.get(row.response)
            if column is not None and row.value is not None and row.flag == "ok":
                ends = _passed(column, row.value)
                if ends:
                    yield _doubt(bench, test.table.name, row, column, ends, responses)


def _passed(column: RawColumn, value: float) -> str:
    if column.low is not None and value < column.low:
        return f"below {column.low:g}, the least that is possible"
    if column.high is not None and value > column.high:
        return f"above {column.high:g}, the most that is possible"
    return ""


def _doubt(
    bench: Bench,
    test: str,
    row: Reading,
    column: RawColumn,
    ends: str,
    responses: tuple[str, ...],
) -> Doubt:
    label = unit_label((row.run, row.panel, row.age_d, row.repeat))
    unit = f" {column.unit}" if column.unit else ""
    return Doubt(
        finding=Finding(
            level="caution",
            what=f"{label[0].upper()}{label[1:]}, {test}: {column.name} {row.value:g}{unit} is "
            f"{ends}.",
            evidence={"test": test, "column": column.name, "values": float(row.value or 0.0)},
            advice="Correct it in the file and enter it again with --correct, or note the run "
            "lost.",
        ),
        responses=responses,
        runs=(row.run,),
        batches=bench.batches_of([row.run]),
        sources=(row.source,) if row.source else (),
        is_impossible=True,
    )

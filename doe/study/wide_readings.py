"""Readings from a wide table: one line a run, one column a response."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from doe.errors import Fault, ResultsError
from doe.study.brief import Study
from doe.study.column_match import match_columns
from doe.study.finding import Finding
from doe.study.names import match_name
from doe.study.numerals import number_text
from doe.study.plan import Plan
from doe.study.reading_cell import read_cell
from doe.study.readings import Reading
from doe.study.tables import Table
from doe.study.unit_labels import UnitColumn, unit_column

READING_COLUMNS = ("panel", "age_d", "repeat")
_PLAN_COLUMNS = ("round", "day", "batch", "sample", "kind", "block", "control", "order")
# As printed by hand: settings that agree so closely are the planned ones.
_SAME_SETTING = 1e-6


def wide_readings(
    table: Table, study: Study, plan: Plan, *, entered: str = ""
) -> tuple[tuple[Reading, ...], tuple[Finding, ...]]:
    """Read results from a table with the column `run` and one column a response.

    A second line for a run (and panel and age, where they stand in the table) is a repeat. The
    ids of the readings count from 1; merging issues their own.

    Args:
        table: The table.
        study: The brief.
        plan: The plan whose runs were read.
        entered: Time of entry to note.

    Returns:
        The readings, and what the reader ought to know.

    Raises:
        ResultsError: The table has faults; the error holds all of them.
    """
    responses = [response.name for response in study.responses]
    others = ("run", *READING_COLUMNS, *_PLAN_COLUMNS, *study.setting_names)
    columns = match_columns(table, responses, (*others, *(one.name for one in study.factors)))
    faults = columns.misspelt(table)
    if table.find("run") is None:
        what = "there is no column 'run' that says which run each line belongs to"
        faults.append(Fault(where=table.source, what=what))
        raise ResultsError.from_faults(faults)
    if not columns.found and not faults:
        allowed = ", ".join(f"'{name}'" for name in responses)
        what = "no column is named as a response of the brief"
        faults.append(Fault(where=table.source, what=what, allowed=allowed))
    runs = run_column(table, faults)
    faults.extend(_unknown_runs(table, runs, plan))
    findings = [*table.notes, *columns.left_aside(table)]
    readings = row_readings(table, study, runs, faults, entered=entered)
    if faults:
        raise ResultsError.from_faults(faults)
    findings.extend(_other_settings(table, study, plan, runs))
    return readings, tuple(findings)


def run_column(table: Table, faults: list[Fault]) -> list[int | None]:
    """Read the run of each line; a blank one is a fault."""
    runs: list[int | None] = []
    for i in range(len(table)):
        runs.append(table.whole(i, "run", faults))
        if not table.text(i, "run"):
            faults.append(Fault(where=table.place(i, "run"), what="the run number is blank"))
    return runs


def row_readings(
    table: Table,
    study: Study,
    runs: Sequence[int | None],
    faults: list[Fault],
    *,
    entered: str = "",
) -> tuple[Reading, ...]:
    """Read every cell of every response, blank ones left out.

    Only responses that belong to a panel carry its number. Without a column `repeat`, the lines of
    one run, panel and age count as repeats in their order.

    Args:
        table: The table.
        study: The brief.
        runs: Run of each line, None where it is not known.
        faults: Gathers what is wrong.
        entered: Time of entry to note.
    """
    panels: UnitColumn = unit_column(table, "panel")
    counts: Counter[tuple[object, ...]] = Counter()
    readings: list[Reading] = []
    for i, run in enumerate(runs):
        age = table.number(i, "age_d", faults)
        said = table.whole(i, "repeat", faults)
        for response in study.responses:
            if table.find(response.name) is None or run is None:
                continue
            panel = panels.numbers[i] if response.per == "panel" else None
            counts[run, panel, age, response.name] += 1
            where = table.place(i, response.name)
            cell = read_cell(table.text(i, response.name), table.decimal, where)
            if isinstance(cell, Fault):
                faults.append(cell)
            elif cell is not None:
                readings.append(
                    Reading(
                        id=len(readings) + 1,
                        entered=entered,
                        run=run,
                        panel=panel,
                        age_d=age,
                        repeat=said or counts[run, panel, age, response.name],
                        response=response.name,
                        value=cell.value,
                        value_to=cell.value_to,
                        flag=cell.flag,
                        source=where,
                    )
                )
    return tuple(readings)


def _unknown_runs(table: Table, runs: Sequence[int | None], plan: Plan) -> list[Fault]:
    known = set(plan.run)
    return [
        Fault(
            where=table.place(i, "run"),
            what=f"the plan has no run {run}",
            allowed=f"runs {min(known)} to {max(known)}" if known else "no runs: plan first",
        )
        for i, run in enumerate(runs)
        if run is not None and run not in known
    ]


def _other_settings(
    table: Table, study: Study, plan: Plan, runs: Sequence[int | None]
) -> list[Finding]:
    """Name lines whose settings are not those of the plan: they may belong to another run."""
    findings: list[Finding] = []
    rows = {run: i for i, run in enumerate(plan.run)}
    for i, run in enumerate(runs):
        planned = plan.settings.row(rows[run]) if run is not None else {}
        for name, value in planned.items():
            text = table.text(i, name)
            if not text or _is_planned(table, i, name, value):
                continue
            shown = number_text(value) if isinstance(value, float) else value or "nothing"
            findings.append(
                Finding(
                    level="caution",
                    what=f"{table.place(i, name)}: run {run} has '{text}' here and {shown} in the "
                    "plan.",
                    advice="Look whether the line belongs to this run; what was really set is "
                    "entered as an actual.",
                )
            )
    return findings


def _is_planned(table: Table, i: int, name: str, value: float | str | None) -> bool:
    if isinstance(value, str):
        return match_name(table.text(i, name), [value]) is not None
    found = table.number(i, name, [])
    return (
        found is not None
        and value is not None
        and math.isclose(found, value, rel_tol=_SAME_SETTING, abs_tol=1e-9)
    )

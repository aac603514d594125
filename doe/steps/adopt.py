"""The step `adopt`: take in a table of settings and results that already exists."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from doe.errors import PlanError, ResultsError
from doe.steps.contract import envelope
from doe.steps.enter import kept_copy, read_delivery, refuse_conflicts
from doe.steps.reading_doubts import impossible_readings
from doe.steps.session import Session, open_study
from doe.study.adopt_table import adopt_table as adopt_rows
from doe.study.enter_merge import MergeOutcome, merge_readings
from doe.study.finding import Finding
from doe.study.plan import Plan
from doe.study.tables import read_table


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AdoptOutcome:
    """What the table held."""

    session: Session
    plan: Plan
    readings: MergeOutcome
    findings: tuple[Finding, ...]
    is_no: bool = False

    def contract(self) -> dict[str, Any]:
        """Give the object that `adopt --json` prints."""
        body = {
            "runs": len(self.plan),
            "added": len(self.readings.added),
            "known": len(self.readings.same),
            "blank": self.readings.blank,
        }
        return envelope(body, inputs=self.session.inputs(), findings=self.findings)


def adopt_table(table: Path, study: Path, *, replace_plan: bool = False) -> AdoptOutcome:
    """Make the runs and readings of a study from one table.

    Args:
        table: Settings and results, columns named as in the brief.
        study: The study folder; the two may be given in either order.
        replace_plan: Replace runs that stand; refused where they have readings.

    Raises:
        ResultsError: Faults in the table, or readings that contradict what stands.
        PlanError: Runs stand already that the table does not hold.
    """
    if table.is_dir() and not study.is_dir():
        table, study = study, table
    session = open_study(study)
    data = read_delivery(table)
    read = read_table(data, table.name)
    now = datetime.now(UTC).isoformat(timespec="seconds")
    plan, readings, findings = adopt_rows(read, session.study, entered=now)
    if not len(plan):
        raise ResultsError("the table has no rows", where=table.name)
    _refuse_other_runs(session, plan, replace_plan)
    merged = merge_readings(session.readings, readings)
    refuse_conflicts((merged,))
    written = {
        **session.folder.plan_files(plan),
        **session.folder.readings_file(merged.readings),
        **kept_copy(table, data),
    }
    session.folder.write(written, replace=True, command="adopt")
    session = replace(session, plan=plan, readings=merged.readings)
    return AdoptOutcome(
        session=session,
        plan=plan,
        readings=merged,
        findings=(
            *read.notes,
            *findings,
            *impossible_readings(session.study, merged.readings.current()),
        ),
    )


def _refuse_other_runs(session: Session, plan: Plan, replace_plan: bool) -> None:
    old = session.plan
    if old is None or _holds(plan, old):
        return
    with_data = session.runs_with_data(old)
    if replace_plan and not with_data:
        return
    raise PlanError(
        f"this study has {len(old)} runs already, and they are not those of the table",
        where="plan.csv",
        do="Start a new study for the table"
        + (", or replace the runs with --replace." if not with_data else "."),
    )


def _holds(new: Plan, old: Plan) -> bool:
    """Tell whether every run that stands is in the new plan with equal settings: a grown table."""
    place = {run: i for i, run in enumerate(new.run)}
    if new.settings.names != old.settings.names or not set(old.run) <= set(place):
        return False
    rows = [place[run] for run in old.run]
    return bool(np.array_equal(new.settings.values[rows], old.settings.values, equal_nan=True))

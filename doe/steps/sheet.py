"""The step `sheet`: the bench workbook, the batch cards and the labels."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from doe.errors import StudyError
from doe.layouts.extending.joining import without_runs
from doe.methods.registry import has_readings
from doe.sheets.cards import cards_pdf
from doe.sheets.labels import labels_pdf
from doe.sheets.workbook import Known, lab_workbook_bytes, workbook_bytes
from doe.steps.contract import envelope
from doe.steps.session import Session, open_study
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.names import fold, match_name
from doe.study.plan import Plan

WORKBOOK, CARDS, LABELS = "sheets/bench.xlsx", "sheets/cards.pdf", "sheets/labels.pdf"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetOutcome:
    """The files that were written."""

    session: Session
    files: tuple[Path, ...]
    findings: tuple[Finding, ...] = ()
    is_no: bool = False

    def contract(self) -> dict[str, Any]:
        """Give the object that `sheet --json` prints."""
        return envelope({"files": [str(file) for file in self.files]}, inputs=self.session.inputs())


def make_sheets(path: Path, *, wanted: Sequence[str] = (), replace: bool = False) -> SheetOutcome:
    """Write everything that goes to the bench into `sheets/`.

    Args:
        path: The study folder.
        wanted: Responses; with any, only a workbook for whoever reads those is written.
        replace: Write over a workbook that stands there.

    Raises:
        PlanError: There are no runs, or a recipe cannot be weighed.
        StudyError: A workbook stands there already and may hold readings, or the brief has no such
            response.
    """
    session = open_study(path)
    files = _lab_files(session, wanted) if wanted else _all_files(session)
    session.folder.write(files, replace=replace, command="sheet")
    return SheetOutcome(session=session, files=tuple(path / name for name in files))


def _all_files(session: Session) -> dict[str, bytes]:
    plan, study = session.needed_plan(), session.study
    raw = session.raw.tables
    waiting = _still_to_make(session, plan)
    return {
        WORKBOOK: workbook_bytes(study, plan, session.readings, session.actuals, raw),
        CARDS: cards_pdf(study, waiting),
        LABELS: labels_pdf(study, waiting),
    }


def _still_to_make(session: Session, plan: Plan) -> Plan:
    """Leave out the batches of which every run has told something; all stay where none waits."""
    known = set(session.runs_with_data(plan))
    batch = [
        run if b is None else ("batch", b) for run, b in zip(plan.run, plan.batch, strict=True)
    ]
    open_ = {b for run, b in zip(plan.run, batch, strict=True) if run not in known}
    made = [run for run, b in zip(plan.run, batch, strict=True) if b not in open_]
    return without_runs(plan, made) if open_ else plan


def _lab_files(session: Session, wanted: Sequence[str]) -> dict[str, bytes]:
    """Write the workbook for one laboratory.

    Raises:
        StudyError: The brief has no such response, or the bench reads nothing for it.
    """
    study = session.study
    names = [_response(study, name) for name in dict.fromkeys(wanted)]
    known = Known.of(session.readings, session.actuals, session.raw.tables)
    slug = "-".join(re.sub(r"[^\w]+", "-", fold(name)).strip("-") for name in names)
    file = f"sheets/bench-{slug}.xlsx"
    return {file: lab_workbook_bytes(study, session.needed_plan(), names, known)}


def _response(study: Study, name: str) -> str:
    names = [one.name for one in study.responses if has_readings(one)]
    found = match_name(name, names)
    if found is not None:
        return found
    is_computed = match_name(name, [one.name for one in study.responses]) is not None
    raise StudyError(
        f"'{name}' follows from the recipe: there is nothing to read"
        if is_computed
        else f"the brief has no response '{name}'",
        where="--for",
        allowed=", ".join(f"'{one}'" for one in names) or "none",
        do="Name a response as the brief does.",
    )

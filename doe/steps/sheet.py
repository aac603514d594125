"""The step `sheet`: the bench workbook, the batch cards and the labels."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from doe.sheets.cards import cards_pdf
from doe.sheets.labels import labels_pdf
from doe.sheets.workbook import workbook_bytes
from doe.steps.contract import envelope
from doe.steps.session import Session, open_study
from doe.study.finding import Finding

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


def make_sheets(path: Path, *, replace: bool = False) -> SheetOutcome:
    """Write everything that goes to the bench into `sheets/`.

    Raises:
        PlanError: There are no runs, or a recipe cannot be weighed.
        StudyError: A workbook stands there already and may hold readings.
    """
    session = open_study(path)
    plan, study = session.needed_plan(), session.study
    files = {
        WORKBOOK: workbook_bytes(study, plan, session.readings, session.actuals),
        CARDS: cards_pdf(study, plan),
        LABELS: labels_pdf(study, plan),
    }
    session.folder.write(files, replace=replace, command="sheet")
    return SheetOutcome(session=session, files=tuple(path / name for name in files))

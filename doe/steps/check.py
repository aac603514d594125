"""The step `check`: where the study stands, then what is wrong."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from doe.methods.goals import aim_findings
from doe.model.region import region_of
from doe.recipe.chemistry import chemistry_findings
from doe.steps.contract import envelope, finding_object
from doe.steps.foreseen import foreseen_findings
from doe.steps.recipe_check import recipe_findings
from doe.steps.session import Session, open_study
from doe.steps.status import analysis_if_any, study_status
from doe.steps.weighing_check import weighing_findings
from doe.study.finding import Finding
from doe.study.folder import StudyFolder
from doe.study.status import StatusLine


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CheckOutcome:
    """Where the study stands, and what is wrong with it.

    Attributes:
        session: The inputs.
        status: Where it stands.
        findings: What is wrong.
        chemistry: What the chemistry of the brief gives to think about; it stops nothing.
    """

    session: Session
    status: tuple[StatusLine, ...]
    findings: tuple[Finding, ...]
    chemistry: tuple[Finding, ...] = ()

    @property
    def is_no(self) -> bool:
        """Whether something must be changed before the work can go on."""
        return any(finding.level == "stop" for finding in self.findings)

    def contract(self) -> dict[str, Any]:
        """Give the object that `check --json` prints."""
        body = {
            "title": self.session.study.about.title,
            "status": [{"state": line.state, "text": line.text} for line in self.status],
            "chemistry": [finding_object(finding) for finding in self.chemistry],
        }
        return envelope(body, inputs=self.session.inputs(), findings=self.findings)


def check_study(path: Path, *, unlock: bool = False) -> CheckOutcome:
    """Read a whole study and say where it stands.

    Args:
        path: The study folder.
        unlock: Remove a lock that a broken-off command left behind.

    Raises:
        StudyError: The brief or a file has faults; all faults of a file together.
    """
    broken = StudyFolder(path).unlock() if unlock else None
    session = open_study(path)
    region = region_of(session.study)
    analysis = analysis_if_any(session) if session.plan is not None else None
    status, findings = study_status(session, analysis)
    if analysis is None:
        findings = (*region.findings, *findings)
    findings = (*findings, *foreseen_findings(session.study, region, session.plan))
    findings = (*findings, *weighing_findings(session.study, region))
    findings = (*findings, *recipe_findings(session.study, region), *aim_findings(session.study))
    if broken is not None:
        findings = (_unlocked(broken.sentence()), *findings)
    holder = session.folder.holder()
    if holder is not None:
        findings = (_locked(holder.sentence()), *findings)
    return CheckOutcome(
        session=session,
        status=status,
        findings=findings,
        chemistry=chemistry_findings(session.study, region),
    )


def _unlocked(who: str) -> Finding:
    return Finding(level="note", what=f"The lock was removed: {who}")


def _locked(who: str) -> Finding:
    return Finding(
        level="caution",
        what=f"The study is locked: {who}",
        advice="If that command no longer runs: 'millbase check STUDY --unlock'.",
    )

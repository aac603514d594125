"""The step `new`: start a study from a commented brief."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from doe.steps.contract import envelope
from doe.study.finding import Finding
from doe.study.folder import StudyFolder
from doe.study.templates import brief_text


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOutcome:
    """The brief that was written."""

    brief: Path
    like: str
    findings: tuple[Finding, ...] = ()
    is_no: bool = False

    def contract(self) -> dict[str, Any]:
        """Give the object that `new --json` prints."""
        return envelope({"brief": str(self.brief), "like": self.like}, inputs={})


def new_study(path: Path, *, like: str) -> NewOutcome:
    """Make a study folder with a commented brief.

    Raises:
        StudyError: There is a brief already, or no starting brief has that name.
    """
    text = brief_text(like)
    return NewOutcome(brief=StudyFolder(path).write_study_text(text), like=like)

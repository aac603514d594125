"""The files of a report: the page, the same on paper, and where the contract says they are."""

from __future__ import annotations

import json
from pathlib import Path

from doe.steps.report import report_study
from doe.study.folder import StudyFolder
from tests.analysis.report.masonry import BRIEF


def _study(path: Path, title: str = "Brick-red millbase for an exterior masonry paint") -> Path:
    text = BRIEF.replace("Brick-red millbase for an exterior masonry paint", title)
    StudyFolder(path).write_study_text(text)
    return path


def test_a_report_is_written_on_paper_too(tmp_path: Path) -> None:
    """A record is kept of any stage; the contract names the file, the copy by its place."""
    outcome = report_study(_study(tmp_path / "study"))
    kept = json.loads((tmp_path / "study/results/report.json").read_text(encoding="utf-8"))

    assert outcome.pdf.read_bytes().startswith(b"%PDF-")
    assert outcome.contract()["pdf"] == str(tmp_path / "study/results/report.pdf")
    assert kept["pdf"] == "results/report.pdf"


def test_the_same_study_elsewhere_gives_the_same_paper(tmp_path: Path) -> None:
    """No clock and no place of the machine is in it."""
    first, second = (report_study(_study(tmp_path / name)) for name in ("one", "two"))

    assert first.pdf.read_bytes() == second.pdf.read_bytes()


def test_signs_that_paper_lacks_are_a_finding(tmp_path: Path) -> None:
    """Whoever files the paper must know that a name stands in numbers."""
    (finding,) = report_study(_study(tmp_path / "study", "สี red")).findings

    assert finding.level == "note"
    assert "U+0E2A" in finding.what

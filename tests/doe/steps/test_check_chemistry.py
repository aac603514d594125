"""What `check` says of the chemistry of a brief: beside what is wrong, and never instead of it."""

from __future__ import annotations

from pathlib import Path

from doe.cli.show_planning import show_check
from doe.steps.check import check_study
from doe.steps.new import new_study

CHEMISTRY_HEAD = "Chemistry (advice; what a name reads as may be wrong)"


def test_chemistry_is_advice_in_a_section_of_its_own(tmp_path: Path) -> None:
    """Advice among faults would make either hard to find; it decides nothing."""
    new_study(tmp_path / "study", like="ph-and-counter-ion")

    outcome = check_study(tmp_path / "study")
    screen = show_check(outcome)
    contract = outcome.contract()

    assert not outcome.is_no
    assert not outcome.findings
    assert {one.level for one in outcome.chemistry} == {"note", "caution"}
    assert screen.count(CHEMISTRY_HEAD) == 1
    assert screen.count("Source:") == len(contract["chemistry"]) == len(outcome.chemistry)
    assert contract["findings"] == []


def test_the_ammonia_of_a_forbidden_corner_is_not_told(tmp_path: Path) -> None:
    """The brief keeps ammonia below pH 9.3, although the range goes on to 9.8."""
    new_study(tmp_path / "study", like="ph-and-counter-ion")

    (told,) = [
        one for one in check_study(tmp_path / "study").chemistry if "free share" in one.evidence
    ]
    assert told.evidence["highest pH"] == 9.3


def test_a_brief_without_chemistry_has_no_such_section(tmp_path: Path) -> None:
    """An empty heading would look like something lost."""
    brief = "[study]\ntitle = 't'\n[[factor]]\nname = 'gap'\nlow = 1\nhigh = 2\n"
    (tmp_path / "study.toml").write_text(brief + "[[response]]\nname = 'y'\n", encoding="utf-8")

    outcome = check_study(tmp_path)

    assert outcome.chemistry == ()
    assert "Chemistry" not in show_check(outcome)

"""A ladder of one dispersant out of a named choice: its chemistry and its own range."""

from __future__ import annotations

from pathlib import Path

import pytest

from doe.steps.dose import DoseOptions, DoseOutcome, dose_study
from doe.steps.dose_ladder import LadderOptions
from doe.study.templates import brief_text


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Give a study of several chemistries, each with a range of its own."""
    (tmp_path / "study.toml").write_text(brief_text("chemistries"), encoding="utf-8")
    return tmp_path


def _ladder(folder: Path, level: str, low: float | None = None) -> DoseOutcome:
    asked = LadderOptions(at=(("dispersant", level),), low=low)
    return dose_study(folder, DoseOptions(ladder=asked))


def test_the_level_names_the_family(folder: Path) -> None:
    """Who says sodium polyacrylate has said the chemistry."""
    outcome = _ladder(folder, "Sodium polyacrylate")

    assert {one.family for one in outcome.window.estimates} <= {"polyacrylate", None}
    assert not any("chemistry of the main dispersant" in one.what for one in outcome.findings)


def test_the_ladder_spans_the_levels_own_range(folder: Path) -> None:
    """The brief states it, so no estimate for the pigment stands in for it."""
    outcome = _ladder(folder, "sodium polyacrylate")
    dose = outcome.study.dose
    assert dose is not None
    assert outcome.ladder is not None
    own = next(one for one in dose.ranges if "sodium polyacrylate" in one.when.values())
    doses = [pot.dose for pot in outcome.ladder.pots if pot.kind == "pot"]

    assert (min(doses), max(doses)) == pytest.approx((own.low, own.high), rel=0.05)


def test_an_end_that_is_typed_goes_before_the_range(folder: Path) -> None:
    """The formulator knows why."""
    outcome = _ladder(folder, "sodium polyacrylate", low=0.25)
    assert outcome.ladder is not None

    assert min(pot.dose for pot in outcome.ladder.pots if pot.kind == "pot") == 0.25

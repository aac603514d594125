"""What `check` says of a brief that a later step would refuse, and `plan` of why."""

from __future__ import annotations

from pathlib import Path

import pytest

from doe.errors import PlanError
from doe.steps.check import check_study
from doe.steps.plan import PlanOptions, plan_study
from tests.journeys.briefs import RESPONSE, factors, study_of

SAME = "[[limit]]\nsum = { z1 = 1.0, z2 = -1.0 }\nat_most = 0\nat_least = 0\n"
CONTROL = '[[control]]\nname = "present"\nevery = "day"\nsettings = { z1 = 0, z2 = 0 }\n'
CHOICE = '[[factor]]\nname = "c"\nlevels = ["a", "b", "d"]\n'
NEVER_B = '[[forbid]]\nsettings = { c = "b" }\n'
TIME = '[[factor]]\nname = "time"\nlow = 10\nhigh = 60\nset_per = "sample"\n'
DOSE = '[[factor]]\nname = "dose"\nrole = "dose"\nlow = 0.8\nhigh = 2.4\n'
PIGMENT = '[pigment]\nname = "red iron oxide"\nkind = "inorganic"\n'
MILLBASE = "[millbase]\nbatch_g = 500.0\nsample_g = {}\npigment_percent = 55.0\n"
SAMPLED = '[[response]]\nname = "y"\nper = "sample"\n'


def told(study: Path) -> list[str]:
    """List what stops the work, as `check` says it."""
    return [one.what for one in check_study(study).findings if one.level == "stop"]


def test_tied_factors_are_named_by_check_and_by_plan(tmp_path: Path) -> None:
    """A limit makes both equal."""
    study = study_of(tmp_path / "s", factors(2), SAME, RESPONSE)
    (what,) = told(study)
    with pytest.raises(PlanError, match="'z1' and 'z2' move as one") as caught:
        plan_study(study, PlanOptions(model="linear"))

    assert "'z1' and 'z2' move as one" in what
    assert "Widen or lift what ties them" in caught.value.faults[0].do


def test_plan_names_the_level_that_cannot_occur(tmp_path: Path) -> None:
    """And keeps to its own words where a number is at fault."""
    study = study_of(tmp_path / "s", factors(1), CHOICE, NEVER_B, RESPONSE)
    with pytest.raises(PlanError, match="'c' can never be b"):
        plan_study(study, PlanOptions(model="linear"))
    with pytest.raises(PlanError) as caught:
        plan_study(study, PlanOptions(model="linear", runs=2))
    assert "can never" not in caught.value.faults[0].what


def test_a_day_that_its_control_fills_is_told_by_check(tmp_path: Path) -> None:
    """As plan refuses it: two or more batches a day."""
    study = study_of(tmp_path / "s", factors(2), CONTROL, RESPONSE, "[plan]\nbatches_per_day = 1\n")
    (what,) = told(study)

    assert "a day holds 1 batches, and 1 of them are controls" in what


def test_samples_that_outgrow_their_batches_are_told_once(tmp_path: Path) -> None:
    """Planned with samples of 60 g, which somebody then makes 300 g: two of them are 600 g."""
    parts = (PIGMENT, DOSE, TIME, SAMPLED)
    study = study_of(tmp_path / "s", *parts, MILLBASE.format(60.0))
    plan_study(study, PlanOptions(layout="optimal", model="linear", batches=6, runs=12, starts=12))
    assert told(study) == []
    study_of(study, *parts, MILLBASE.format(300.0))

    assert told(study) == ["2 samples of 300 g are drawn from a batch of 500 g, in 6 of 6 batches."]

"""Samples that share a batch: whether they fit it, and what repeats of one tell."""

from __future__ import annotations

from pathlib import Path

import pytest

from doe.errors import PlanError
from doe.steps.plan import PlanOptions, plan_study
from tests.journeys.briefs import factors, study_of

TIME = '[[factor]]\nname = "time"\nlow = 10\nhigh = 60\nset_per = "sample"\n'
RESPONSE = '[[response]]\nname = "y"\nper = "sample"\n'
MILLBASE = "[millbase]\nbatch_g = 500.0\nsample_g = 200.0\npigment_percent = 55.0\n"
PIGMENT = '[pigment]\nname = "red iron oxide"\nkind = "inorganic"\n'
DOSE = '[[factor]]\nname = "dose"\nrole = "dose"\nlow = 0.8\nhigh = 2.4\n'


@pytest.mark.parametrize("asked", [{}, {"batches": 8, "runs": 24}])
def test_samples_that_do_not_fit_the_batch_are_refused_before_the_search(
    asked: dict[str, int], tmp_path: Path
) -> None:
    """Three samples of 200 g from 500 g: two fit. It is refused at once, not after a search."""
    study = study_of(tmp_path / "s", PIGMENT, MILLBASE, DOSE, TIME, RESPONSE)
    seen: list[float] = []
    with pytest.raises(PlanError, match="3 samples of 200 g") as caught:
        plan_study(study, PlanOptions(layout="optimal", from_batch=True, **asked), seen.append)

    assert seen == []
    assert caught.value.faults[0].allowed == "at most 2 samples of 200 g"


def test_repeats_within_a_batch_are_said_to_tell_about_sampling(tmp_path: Path) -> None:
    """A linear model needs the two ends of the grind; the third sample repeats one of them."""
    study = study_of(tmp_path / "s", factors(1), TIME, RESPONSE)
    asked = PlanOptions(layout="optimal", model="linear", batches=6, runs=18, starts=12)
    told = [one.what for one in plan_study(study, asked).findings]

    assert any("not about new batches" in what and what.startswith("6 runs") for what in told)


def test_no_repeats_within_a_batch_are_not_spoken_of(tmp_path: Path) -> None:
    """Two samples of each batch, one at either end."""
    study = study_of(tmp_path / "s", factors(1), TIME, RESPONSE)
    asked = PlanOptions(layout="optimal", model="linear", batches=6, runs=12, starts=12)

    assert not any("new batches" in one.what for one in plan_study(study, asked).findings)

"""Rounds behind a plan of which little or nothing is left, and what is said of the runs to come."""

from __future__ import annotations

from pathlib import Path

import pytest

from doe.errors import PlanError
from doe.steps.extend import ExtendOptions, extend_study
from tests.journeys.briefs import RESPONSE, factors, study_of
from tests.journeys.whole_way import done


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Plan nine runs of a quadratic in two ranges."""
    folder = study_of(tmp_path / "s", factors(2), RESPONSE)
    done("plan", folder, "--layout", "full factorial")
    return folder


def lost(study: Path, *runs: int) -> None:
    """Say of runs that they are lost."""
    for run in runs:
        done("note", study, "--run", str(run), "--says", "lost", "--because", "spilled")


@pytest.mark.parametrize("purpose", ["repair", "replicates", "check"])
def test_a_round_behind_nothing_is_refused_with_what_to_do(study: Path, purpose: str) -> None:
    """With all unmade runs taken out and the rest lost there is nothing to add a round to."""
    lost(study, 5)
    with pytest.raises(PlanError, match="no run of the earlier rounds is left") as caught:
        extend_study(study, ExtendOptions(purpose=purpose, drop_unrun=True))

    assert "--replace" in caught.value.faults[0].do
    assert caught.value.faults[0].where == "--drop-unrun"


def test_runs_that_cannot_tell_the_model_are_not_searched_for(study: Path) -> None:
    """One run is left of nine and one is new: no search of a quadratic begins."""
    (study / "y.csv").write_text("run,y\n1,3.2\n")
    done("enter", study, study / "y.csv")
    lost(study, 2)
    outcome = extend_study(study, ExtendOptions(purpose="repair", drop_unrun=True))

    assert outcome.added is not None
    assert outcome.gains is not None
    assert outcome.gains.variance == (None, None)


def test_too_few_runs_for_the_model_are_refused_with_how_many_it_takes(study: Path) -> None:
    """Three are lost and three may be made, of which two link the rounds: 2 + 3 is below six."""
    (study / "y.csv").write_text("run,y\n1,3.2\n2,4.1\n")
    done("enter", study, study / "y.csv")
    lost(study, 3, 4, 5)
    with pytest.raises(PlanError, match="too few for the 6 terms of the quadratic") as caught:
        extend_study(study, ExtendOptions(purpose="repair", runs=3, drop_unrun=True))

    assert caught.value.faults[0].allowed == "4 or more"


@pytest.mark.parametrize("purpose", ["axial", "foldover"])
def test_the_advice_of_a_refused_table_can_be_followed(study: Path, purpose: str) -> None:
    """The plan is made for the largest model already, so `--for model` must name one."""
    (study / "y.csv").write_text("run,y\n1,3.2\n")
    done("enter", study, study / "y.csv")
    with pytest.raises(PlanError) as caught:
        extend_study(study, ExtendOptions(purpose=purpose))
    advice = caught.value.faults[0].do

    assert "--for model --model quadratic'" in advice
    outcome = extend_study(study, ExtendOptions(purpose="model", model="quadratic", starts=12))
    assert outcome.added is not None


def test_runs_of_a_lost_batch_are_not_said_to_be_still_made(tmp_path: Path) -> None:
    """Of twelve runs the two that are lost with batch 1 are not waited for."""
    time = '[[factor]]\nname = "time"\nlow = 10\nhigh = 60\nset_per = "sample"\n'
    response = '[[response]]\nname = "y"\nper = "sample"\n'
    study = study_of(tmp_path / "s", factors(1), time, response)
    options = ("--model", "linear", "--batches", "6", "--runs", "12", "--starts", "12")
    done("plan", study, "--layout", "optimal", *options)
    done("note", study, "--batch", "1", "--says", "lost", "--because", "spilled")

    outcome = extend_study(study, ExtendOptions(purpose="repair"))

    (waiting,) = (one for one in outcome.findings if "have no data yet" in one.what)
    assert waiting.evidence == {"runs": 10}


def test_a_round_that_would_never_end_is_refused_at_once(study: Path) -> None:
    """Ten thousand million runs fill the memory before any search begins."""
    (study / "y.csv").write_text("run,y\n1,3.2\n")
    done("enter", study, study / "y.csv")
    with pytest.raises(PlanError) as caught:
        extend_study(study, ExtendOptions(purpose="model", model="quadratic", runs=10**10))

    assert caught.value.faults[0].where == "--runs"
    assert caught.value.faults[0].allowed == "up to 400"

"""Whether a batch adds up."""

from __future__ import annotations

import pytest

from analysis.lab.doubts.balance import open_balances
from analysis.lab.doubts.bench import Bench
from doe.study.readings import Actual
from tests.analysis.bench_cases import bench_of, study_of

WEIGHED = {"water": 200.0, "ammonia for pH": 6.0, "pigment": 275.0, "water made up": 19.0}


def weighed(**changed: float | None) -> Bench:
    """Weigh batch 1 of 500 g out: 200 + 6 + 275 + 19 g, but for what is changed."""
    study = study_of(millbase={"batch_g": 500.0, "pigment_percent": 55.0})
    names = {"made_up": "water made up", "ammonia": "ammonia for pH", "drawn": "drawn"}
    grams = WEIGHED | {names[key]: value for key, value in changed.items()}
    actuals = [
        Actual(unit="run 1" if what == "drawn" else "batch 1", what=what, value=str(value))
        for what, value in grams.items()
        if value is not None
    ]
    return bench_of(study=study, actuals=actuals)


@pytest.mark.parametrize(
    ("made_up", "is_open"), [(19.0, False), (24.0, False), (24.1, True), (13.9, True)]
)
def test_one_per_cent_of_the_batch_is_allowed(made_up: float, is_open: bool) -> None:
    """5 g of 500; common practice, no source."""
    assert bool(list(open_balances(weighed(made_up=made_up)))) == is_open


def test_the_difference_is_given() -> None:
    """With the sign that tells a line left out from one noted twice."""
    (found,) = open_balances(weighed(ammonia=26.0))

    assert found.finding.evidence["difference, g"] == 20.0
    assert "20 g (4.0 %) more than the batch of 500 g" in found.finding.what
    assert found.batches == (1,)


def test_a_batch_with_an_open_line_is_not_judged() -> None:
    """A titrant that nobody noted yet is no loss."""
    assert not list(open_balances(weighed(ammonia=None, made_up=60.0)))


@pytest.mark.parametrize(("drawn", "is_doubted"), [(500.0, False), (501.0, True)])
def test_no_more_can_be_drawn_than_was_made(drawn: float, is_doubted: bool) -> None:
    """It is the same mill base."""
    assert bool(list(open_balances(weighed(drawn=drawn)))) == is_doubted

"""Losses by downdating against plans worked out anew."""

from __future__ import annotations

import numpy as np
import pytest

from doe.appraisal.findings import appraisal_findings
from doe.appraisal.information import information_of
from doe.appraisal.losses import average_without, losses_of, most_painful
from doe.appraisal.profile import Terrain, average_variance
from doe.appraisal.runs import PlanRuns, runs_of_values
from doe.appraisal.summary import summarise
from doe.model.coding import coding_of
from doe.model.sampling import sample_region
from doe.model.strata import Stratum
from tests.doe.appraisal.held_plans import ground, judged
from tests.doe.layouts.briefs import CUT_SIMPLEX, RANGES, a_study

RATIO = 2.5


@pytest.fixture(name="case", params=["factors", "package"])
def _case(request: pytest.FixtureRequest) -> tuple[PlanRuns, Terrain]:
    """Twenty-four runs, three in each of eight batches, on two days as fixed blocks."""
    brief = {
        "factors": a_study(RANGES[:2]),
        "package": a_study(RANGES[:1], CUT_SIMPLEX),
    }[request.param]
    _, terrain = ground(brief, "quadratic")
    values = sample_region(terrain.region, 24, np.random.default_rng(8))
    batch = np.repeat(np.arange(8), 3)
    days = Stratum(name="day", unit=batch // 4, is_fixed=True)
    return runs_of_values(values, days, Stratum(name="batch", unit=batch)), terrain


def _anew(runs: PlanRuns, terrain: Terrain, gone: list[int]) -> tuple[float, float]:
    kept = runs.take([i for i in range(len(runs)) if i not in gone])
    information = information_of(terrain.rows(kept.design_values), kept, RATIO)
    rows = np.vstack([terrain.corner_rows, terrain.sample_rows[:1500]])
    return average_variance(information, terrain), float(information.variance_at(rows).max())


def test_each_loss_is_that_of_the_plan_without_it(case: tuple[PlanRuns, Terrain]) -> None:
    """Runs and batches, average and largest variance."""
    runs, terrain = case
    information = information_of(terrain.rows(runs.design_values), runs, RATIO)
    before = _anew(runs, terrain, [])
    losses = losses_of(information, runs, terrain)

    assert set(losses) == {"run", "batch", "day"}
    for loss in (*losses["run"], *losses["batch"]):
        after = _anew(runs, terrain, [run - 1 for run in loss.runs])
        assert loss.average_rise == pytest.approx(after[0] / before[0] - 1, rel=1e-6, abs=1e-9)
        assert loss.largest_rise == pytest.approx(after[1] / before[1] - 1, rel=1e-6, abs=1e-9)


def test_single_runs_at_once_agree_with_one_after_another(case: tuple[PlanRuns, Terrain]) -> None:
    """The fast way against the plain one."""
    runs, terrain = case
    information = information_of(terrain.rows(runs.design_values), runs, RATIO)
    singles = [np.array([i]) for i in range(len(runs))]

    fast = average_without(information, terrain, singles)
    plain = [float(average_without(information, terrain, [one, np.array([0, 1])])[0])
             for one in singles]  # fmt: skip

    np.testing.assert_allclose(fast, plain, rtol=1e-9)


def test_what_a_run_alone_tells_is_named() -> None:
    """The only run off the straight line of two factors: without it their product is gone."""
    study = a_study(RANGES[:2])
    _, terrain = ground(study, "interactions")
    values = np.array([[0.8, 8.0], [2.4, 9.5], [0.8, 9.5], [2.4, 8.0], [0.8, 8.0], [2.4, 9.5]])
    runs = runs_of_values(values)
    information = information_of(terrain.rows(values), runs)

    losses = losses_of(information, runs, terrain)["run"]

    gone = {loss.number for loss in losses if loss.untold}
    assert gone == {3, 4}
    assert set(losses[2].untold) == {"intercept", "dose", "pH", "dose × pH"}
    assert np.isinf(losses[2].average_rise)
    assert {loss.number for loss in most_painful(losses, 2)} == {3, 4}


def test_a_model_that_hangs_by_a_thread_is_said_to_be_gone_in_effect() -> None:
    """A line in dose from one far run and a cluster no wider than a thousandth of the range.

    Without the far run the variance rises about a millionfold: no rank is lost, and nothing told.
    """
    study = a_study(RANGES[:1])
    dose = np.array([0.8, 0.8008, 0.8, 0.8008, 0.8, 2.4])
    found = judged(study, runs_of_values(dose[:, None]), "linear")
    by_run = {loss.number: loss for loss in found.losses["run"]}
    finding = [
        one for one in appraisal_findings(found, coding_of(study)) if "in effect" in one.what
    ]

    assert by_run[6].untold == ()
    assert by_run[6].average_rise > 1e4
    assert [run for run, loss in by_run.items() if loss.is_gone_in_effect] == [6]
    assert "can in effect not be estimated without run 6" in finding[0].what
    assert "If run 6 fails, the model can in effect not be estimated" in " ".join(summarise(found))

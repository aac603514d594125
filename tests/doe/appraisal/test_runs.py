"""The runs of a plan and who shares what."""

from __future__ import annotations

import numpy as np

from doe.appraisal.information import information_of
from doe.appraisal.runs import runs_of_plan, runs_of_values
from doe.layouts.checking import make_layout
from doe.layouts.order import arrange
from doe.model.strata import Stratum
from tests.doe.layouts.briefs import RANGES, a_request, a_study

X = np.column_stack([np.ones(8), np.tile([-1.0, 1.0], 4)])
BATCH = Stratum(name="batch", unit=np.repeat([1, 2, 3, 4], 2))


def test_controls_are_told_from_the_runs_of_the_plan() -> None:
    """By name, with a column each."""
    control = {"name": "present formula", "settings": {"dose": 1.5, "pH": 8.8}}
    study = a_study(RANGES[:2], control=[control])
    request = a_request(study, models=("linear",))
    plan = arrange(make_layout("full factorial", request), study, request.rng())

    runs = runs_of_plan(plan, study)

    assert runs.is_design.sum() == sum(kind != "control" for kind in plan.kind)
    np.testing.assert_allclose(runs.control_columns[:, 0], ~runs.is_design)


def test_a_plan_alone_calls_the_whole_scatter_of_a_run_residual() -> None:
    """Every run a batch of its own: variance 1 a run."""
    runs = runs_of_values(X)

    np.testing.assert_allclose(np.diag(information_of(X, runs, 3.0).covariance), 1 / 8)


def test_beside_a_plan_that_shares_batches_a_run_alone_has_both_scatters() -> None:
    """1 + ρ a run, so that both are in the scatter of a sample."""
    shared = runs_of_values(X, BATCH)
    alone = runs_of_values(X).beside(shared)

    np.testing.assert_allclose(np.diag(information_of(X, alone, 3.0).covariance), 4 / 8)
    assert shared.beside(alone).alone == ()


def test_taking_runs_keeps_their_units_and_scatter() -> None:
    """A batch of which one sample is left still scatters as a batch."""
    kept = runs_of_values(X, BATCH).take([0, 2, 4, 6])

    assert kept.strata.above == ()
    assert kept.alone == ("batch",)


def test_scatter_alone_stands_beside_strata_that_tie() -> None:
    """Days of two runs, each run a batch of its own: V = (1 + ρ) I + ρ ZZ'."""
    day = Stratum(name="day", unit=np.repeat([1, 2, 3, 4], 2))
    shared = runs_of_values(X, BATCH)
    runs = runs_of_values(X, day).beside(shared)
    V = 3.0 * np.eye(8) + 2.0 * np.kron(np.eye(4), np.ones((2, 2)))
    expected = np.linalg.inv(X.T @ np.linalg.inv(V) @ X)

    assert set(runs.scatter) == {"day", "batch"}
    np.testing.assert_allclose(information_of(X, runs, 2.0).covariance, expected, atol=1e-12)

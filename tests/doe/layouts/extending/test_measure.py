"""What a round buys, against plain augmented regression."""

from __future__ import annotations

import numpy as np
import pytest

from doe.appraisal.runs import PlanRuns, runs_of_plan
from doe.layouts.extending.frame import make_frame
from doe.layouts.extending.gains import gains_of
from doe.layouts.extending.measure import average_variance, yardstick
from doe.model.matrix import model_matrix
from doe.study.settings import FloatArray
from tests.doe.layouts.briefs import RANGES, a_study
from tests.doe.layouts.extending.studies import ask_for, plan_of

TWO = a_study(RANGES[:2])
CORNERS = np.array([[0.8, 8.0], [2.4, 8.0], [0.8, 9.5], [2.4, 9.5]])
DONE = np.tile(CORNERS, (4, 1))
NEW = np.array([[0.8, 8.0], [2.4, 9.5], [1.6, 8.75]])


def trace(X: FloatArray, V: FloatArray, moments: FloatArray) -> float:
    """Average over the area: C the model's block of the inverse of X'V^-1 X, times M."""
    p = len(moments)
    inverse = np.linalg.inv(X.T @ np.linalg.solve(V, X))
    return float(np.sum(inverse[:p, :p] * moments))


def test_a_fixed_round_is_estimated_beside_the_model() -> None:
    """Least squares with one more column, summing to zero over the rounds."""
    ask = ask_for(TWO, plan_of(TWO, DONE))
    stick, frame = yardstick(ask), make_frame(ask, (1,) * 3)
    values = np.vstack([DONE, NEW])
    X = model_matrix(values, ask.coding, stick.model)
    rounds = np.array([1.0] * len(DONE) + [-1.0] * 3)[:, None]
    expected = trace(np.hstack([X, rounds]), np.eye(len(X)), stick.moments)
    before = trace(X[: len(DONE)], np.eye(len(DONE)), stick.moments)

    assert frame.is_fixed
    assert average_variance(ask, stick, frame, values) == pytest.approx(expected, rel=1e-9)
    assert average_variance(ask, stick, frame, DONE) == pytest.approx(before, rel=1e-9)


def test_shared_batches_enter_by_their_covariance() -> None:
    """Generalised least squares with V = I + ρ ZZ' and two rounds that sum to zero, ρ = 2."""
    study = a_study((*RANGES[:2], {**RANGES[2], "set_per": "sample"}))
    values = np.vstack([[*row, time] for row in CORNERS for time in (15.0, 45.0)])
    plan = plan_of(study, values, batch=(1, 1, 2, 2, 3, 3, 4, 4))
    ask = ask_for(study, plan, shared=True, variance_ratio=2.0)
    stick, frame = yardstick(ask), make_frame(ask, (2, 2))
    every = np.vstack([values, values[:4]])
    batch = np.repeat(np.arange(6), 2)
    V = np.eye(12) + 2.0 * (batch[:, None] == batch[None, :])
    X = model_matrix(every, ask.coding, stick.model)
    rounds = np.array([1.0] * 8 + [-1.0] * 4)[:, None]

    assert average_variance(ask, stick, frame, every) == pytest.approx(
        trace(np.hstack([X, rounds]), V, stick.moments), rel=1e-9
    )


def two_rounds() -> tuple[PlanRuns, PlanRuns]:
    """Sixteen runs, and three more in a round of their own."""
    plan = plan_of(TWO, np.vstack([DONE, NEW]), number=(1,) * 16 + (2,) * 3)
    after = runs_of_plan(plan, TWO)
    return after.take(range(16)), after


def test_gains_count_freedom_terms_and_links() -> None:
    """16 runs, 3 terms; 3 more runs, one shift, two of them repeat corners."""
    ask = ask_for(TWO, plan_of(TWO, DONE), model="quadratic")
    linear = gains_of(*two_rounds(), yardstick(ask, "linear"), ask.coding)
    larger = gains_of(*two_rounds(), yardstick(ask), ask.coding)

    assert linear.df == {"residual": (13, 15)}
    # 19 runs less 5 different settings and the shift, which is estimated beside their means.
    assert linear.pure_error == (12, 13)
    assert linear.links == 2
    assert larger.variance == (None, None)
    assert set(larger.untold) == {"dose²", "pH²"}
    assert larger.new_terms == ("intercept",)
    assert "13 to 15 in the residual" in " ".join(linear.sentences())


def test_gains_are_those_of_an_appraisal_and_of_plain_regression() -> None:
    """Before 16 corners, after 19 runs and the rounds; differences are free of the level."""
    ask = ask_for(TWO, plan_of(TWO, DONE))
    stick = yardstick(ask)
    gains = gains_of(*two_rounds(), stick, ask.coding)
    X = model_matrix(np.vstack([DONE, NEW]), ask.coding, stick.model)
    rounds = np.array([1.0] * 16 + [-1.0] * 3)[:, None]
    # Linear in two coded ranges: the mean row is (1, 0, 0), and slopes alone tell settings apart.
    slopes = np.diag([0.0, 1 / 3, 1 / 3])

    assert gains.variance[1] == pytest.approx(
        trace(np.hstack([X, rounds]), np.eye(19), stick.moments), rel=1e-9
    )
    assert gains.differences == pytest.approx(
        (trace(X[:16], np.eye(16), slopes), trace(np.hstack([X, rounds]), np.eye(19), slopes)),
        rel=1e-9,
    )
    before, after = gains.differences
    assert before is not None
    assert after is not None
    assert after < before

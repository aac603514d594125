"""What a round buys, against plain augmented regression."""

from __future__ import annotations

import numpy as np
import pytest

from doe.layouts.extending.frame import make_frame
from doe.layouts.extending.measure import average_variance, gains_of, yardstick
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


def test_a_fixed_round_is_a_shift_beside_the_model() -> None:
    """Least squares with one more column: 1 in the new round."""
    ask = ask_for(TWO, plan_of(TWO, DONE))
    stick, frame = yardstick(ask), make_frame(ask, (1,) * 3)
    values = np.vstack([DONE, NEW])
    X = model_matrix(values, ask.coding, stick.model)
    shift = np.array([0.0] * len(DONE) + [1.0] * 3)[:, None]
    expected = trace(np.hstack([X, shift]), np.eye(len(X)), stick.moments)
    before = trace(X[: len(DONE)], np.eye(len(DONE)), stick.moments)

    assert frame.is_fixed
    assert average_variance(ask, stick, frame, values) == pytest.approx(expected, rel=1e-9)
    assert average_variance(ask, stick, frame, DONE) == pytest.approx(before, rel=1e-9)
    # A small new round must not drag down what is known of the level: the law that it rests on.
    assert expected < before


def test_shared_batches_enter_by_their_covariance() -> None:
    """Generalised least squares with V = I + ρ ZZ' and a shift, ρ = 2."""
    study = a_study((*RANGES[:2], {**RANGES[2], "set_per": "sample"}))
    values = np.vstack([[*row, time] for row in CORNERS for time in (15.0, 45.0)])
    plan = plan_of(study, values, batch=(1, 1, 2, 2, 3, 3, 4, 4))
    ask = ask_for(study, plan, shared=True, variance_ratio=2.0)
    stick, frame = yardstick(ask), make_frame(ask, (2, 2))
    every = np.vstack([values, values[:4]])
    batch = np.repeat(np.arange(6), 2)
    V = np.eye(12) + 2.0 * (batch[:, None] == batch[None, :])
    X = model_matrix(every, ask.coding, stick.model)
    shift = np.array([0.0] * 8 + [1.0] * 4)[:, None]

    assert average_variance(ask, stick, frame, every) == pytest.approx(
        trace(np.hstack([X, shift]), V, stick.moments), rel=1e-9
    )


def test_gains_count_freedom_terms_and_links() -> None:
    """16 runs, 3 terms; 3 more runs, one shift, two of them repeat corners."""
    ask = ask_for(TWO, plan_of(TWO, DONE), model="quadratic")
    linear = gains_of(ask, yardstick(ask, "linear"), make_frame(ask, (1,) * 3), NEW)
    larger = gains_of(ask, yardstick(ask), make_frame(ask, (1,) * 3), NEW)

    assert linear.df == {"residual": (13, 15)}
    assert linear.pure_error == (12, 14)
    assert linear.links == 2
    assert larger.variance == (None, None)
    assert set(larger.untold) == {"dose²", "pH²"}
    assert larger.new_terms == ("intercept",)
    assert "13 to 15 in the residual" in " ".join(linear.sentences())

"""Small concave programmes against answers worked by hand and by a general solver."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from analysis.choice.interior import FLAT, Gains, maximise
from doe.study.settings import FloatArray


def _box(d: int, q: int) -> tuple[FloatArray, FloatArray]:
    """Write −1 ≤ s ≤ 1 over steps, nothing over levels."""
    A = np.zeros((2 * d, d + q))
    A[:d, :d], A[d:, :d] = np.eye(d), -np.eye(d)
    return A, np.ones(2 * d)


def test_a_product_of_two_heights_peaks_where_they_are_equal() -> None:
    """Maximise ln(0.5 + s) + ln(0.5 − s): s = 0; prices to ten times the slopes left over."""
    A, b = _box(1, 2)
    A = np.vstack([A, [[-1.0, 1.0, 0.0], [1.0, 0.0, 1.0]]])
    gains = Gains(weight=np.ones(2), by_log=np.array([True, True]), tangent=1e-3)
    s, prices = maximise(
        gains,
        np.zeros((1, 1)),
        np.zeros((1, 1, 1)),
        A[None],
        np.concatenate([b, [0.5, 0.5]])[None],
        np.array([[0.3]]),
    )

    assert s[0, 0] == pytest.approx(0.0, abs=1e-9)
    np.testing.assert_allclose(prices[0], [0.0, 0.0, 2.0, 2.0], atol=10 * FLAT)


def test_below_the_tangent_the_steeper_side_wins() -> None:
    """Heights −1 + s and −1 − 2 s: both on the tangent, so s falls to −1, where one is 1."""
    A, b = _box(1, 2)
    A = np.vstack([A, [[-1.0, 1.0, 0.0], [2.0, 0.0, 1.0]]])
    gains = Gains(weight=np.ones(2), by_log=np.array([True, True]), tangent=0.02)
    s, _ = maximise(
        gains,
        np.zeros((1, 1)),
        np.zeros((1, 1, 1)),
        A[None],
        np.concatenate([b, [-1.0, -1.0]])[None],
        np.zeros((1, 1)),
    )

    # 1/ε = 50 a unit on the left, and 2 · 50 on the right until it leaves the tangent at 0.02;
    # from there 2/h: equal where h = 0.04, at s = −0.52.
    assert s[0, 0] == pytest.approx(-0.52, abs=1e-8)


@pytest.mark.parametrize("seed", range(6))
def test_random_programmes_agree_with_a_general_solver(seed: int) -> None:
    """Three steps, four levels under six lines, a curvature; SciPy's trust region beside it."""
    rng = np.random.default_rng(seed)
    d, q, n_lines = 3, 4, 6
    A, b = _box(d, q)
    lines = np.zeros((n_lines, d + q))
    lines[:, :d] = rng.standard_normal((n_lines, d))
    lines[np.arange(n_lines), d + np.arange(n_lines) % q] = 1.0
    A, b = np.vstack([A, lines]), np.concatenate([b, rng.uniform(0.2, 1.0, n_lines)])
    root = rng.standard_normal((d, d))
    B = root @ root.T
    gains = Gains(weight=rng.uniform(0.2, 1.0, q), by_log=np.ones(q, dtype=bool), tangent=1e-6)
    s, _ = maximise(gains, np.zeros((1, d)), B[None], A[None], b[None], np.zeros((1, d)))

    def worth(x: FloatArray) -> float:
        over = b[2 * d :] - lines[:, :d] @ x
        levels = np.full(q, np.inf)
        np.minimum.at(levels, np.arange(n_lines) % q, over)
        return float(gains.worth(levels) - 0.5 * x @ B @ x)

    rival = max(
        -minimize(lambda x: -worth(x), start, method="Nelder-Mead", bounds=[(-1, 1)] * d,
                  options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}).fun
        for start in (s[0] * 0.5, s[0] + 0.01, np.zeros(d))
    )  # fmt: skip
    assert worth(s[0]) >= rival - 1e-9


def test_many_programmes_are_each_solved_as_if_alone() -> None:
    """Easy and hard ones together do not disturb one another."""
    A, b = _box(1, 1)
    A = np.vstack([A, [[-1.0, 1.0]]])
    gains = Gains(weight=np.ones(1), by_log=np.array([True]), tangent=1e-3)
    heights = np.array([-5.0, -0.5, 0.2, 3.0])
    ends = np.column_stack([np.tile(b, (4, 1)), heights])
    pull = np.array([0.0, 0.0, 2.0, 0.1])[:, None, None]
    s, _ = maximise(
        gains,
        np.zeros((4, 1)),
        np.tile(pull, (1, 1, 1)),
        np.tile(A, (4, 1, 1)),
        ends,
        np.zeros((4, 1)),
    )

    # ln(h + s) − ½ c s²: s = 1 at c = 0; else the root of c s (h + s) = 1, at most 1.
    np.testing.assert_allclose(s[:2, 0], 1.0, atol=1e-8)
    assert s[2, 0] == pytest.approx((-0.2 + np.sqrt(0.04 + 2.0)) / 2.0, abs=1e-8)
    assert s[3, 0] == pytest.approx(1.0, abs=1e-8)

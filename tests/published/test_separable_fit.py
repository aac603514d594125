"""NIST StRD nonlinear least squares: certified parameters and sums of squares are reached.

Source: NIST Statistical Reference Datasets (SRD 140), nonlinear regression, sets Misra1a, BoxBOD
and MGH17. Data and certified values are from memory; that all of them agree to the digits below is
what vouches for the memory, as a slip in either would show.

The solver has an intercept and weights of at least 0. A model without intercept is fitted to the
readings and their mirror image through the origin, which holds the intercept at 0 and doubles the
sum of squares; a negative weight is written as a column of opposite sign.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.lab.demand_models import Chart, Mix
from analysis.lab.separable_fit import Solved, solve_chart
from doe.study.settings import FloatArray

MISRA_X = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8,
                    593.1, 689.1, 760.0])  # fmt: skip
MISRA_Y = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01,
                    66.40, 75.47, 81.78])  # fmt: skip
BOD_X = np.array([1.0, 2.0, 3.0, 5.0, 7.0, 10.0])
BOD_Y = np.array([109.0, 149.0, 149.0, 191.0, 213.0, 224.0])
MGH17_Y = np.array([0.844, 0.908, 0.932, 0.936, 0.925, 0.908, 0.881, 0.850, 0.818, 0.784, 0.751,
                    0.718, 0.685, 0.658, 0.628, 0.603, 0.580, 0.558, 0.538, 0.522, 0.506, 0.490,
                    0.478, 0.467, 0.457, 0.448, 0.438, 0.431, 0.424, 0.420, 0.414, 0.411,
                    0.406])  # fmt: skip
# Sums of squares carry the rounding of their terms; parameters half as many digits less one.
DIGITS = 1e-6


def _saturating(x: FloatArray, y: FloatArray, bounds: tuple[float, float]) -> Solved:
    """Fit b1·(1 - exp(-b2·x)), the coordinate ln b2."""

    def build(u: FloatArray, at: FloatArray) -> Mix:
        column = np.sign(at) * (1 - np.exp(-np.exp(u) * np.abs(at)))
        return Mix(np.zeros_like(column), (column,))

    both, mirrored = np.concatenate([x, -x]), np.concatenate([y, -y])
    return solve_chart(Chart(bounds=(bounds,), build=build), both, mirrored)


@pytest.mark.parametrize(
    ("x", "y", "bounds", "b1", "b2", "rss"),
    [
        (MISRA_X, MISRA_Y, (-12.0, -2.0), 2.3894212918e02, 5.5015643181e-04, 1.2455138894e-01),
        (BOD_X, BOD_Y, (-6.0, 3.0), 2.1380940889e02, 5.4723748542e-01, 1.1680088766e03),
    ],
    ids=["Misra1a", "BoxBOD"],
)
def test_certified_saturations_are_reached(
    x: FloatArray, y: FloatArray, bounds: tuple[float, float], b1: float, b2: float, rss: float
) -> None:
    """Both parameters and the sum of squares, from a grid of starts and no hint."""
    solved = _saturating(x, y, bounds)

    assert solved.weights[0] == pytest.approx(b1, rel=DIGITS)
    assert np.exp(solved.at[0]) == pytest.approx(b2, rel=DIGITS)
    assert solved.rss / 2 == pytest.approx(rss, rel=1e-8)


def test_certified_sum_of_two_decays_is_reached() -> None:
    """MGH17, a hard set: two decays of nearly equal rate and opposite sign."""

    def build(u: FloatArray, at: FloatArray) -> Mix:
        slow, fast = (np.exp(-np.exp(u[:, j : j + 1]) * at) for j in range(2))
        return Mix(np.zeros_like(slow), (slow, -fast))

    x = np.linspace(0.0, 320.0, 33)
    solved = solve_chart(Chart(bounds=((-6.0, -3.5), (-5.0, -2.5)), build=build), x, MGH17_Y)

    assert solved.rss == pytest.approx(5.4648946975e-05, rel=1e-8)
    assert solved.intercept == pytest.approx(3.7541005211e-01, rel=1e-5)
    assert solved.weights[0] == pytest.approx(1.9358469127e00, rel=1e-5)
    assert solved.weights[1] == pytest.approx(1.4646871366e00, rel=1e-5)
    assert np.exp(solved.at) == pytest.approx([1.2867534640e-02, 2.2122699662e-02], rel=1e-5)

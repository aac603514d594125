"""Durbin and Watson's ratio and its exact chance."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.stattools import durbin_watson

from analysis.fits.neighbours import chance_negative, neighbour_ratio, neighbour_ratio_of_fit


@pytest.mark.parametrize(
    ("n", "k", "low", "high"), [(15, 1, 1.08, 1.36), (20, 2, 1.10, 1.54), (40, 5, 1.23, 1.79)]
)
def test_the_bounds_are_those_of_the_published_table(
    n: int, k: int, low: float, high: float
) -> None:
    """Source: Durbin and Watson (1951), Biometrika 38, 159-178, table 4, 5 % points [from memory].

    The bounds are ratios whose residuals lie along the k smallest or largest roots of A left out;
    5 % must lie between the chances half a unit in the last printed digit either way.
    """
    roots = 2 * (1 - np.cos(np.pi * np.arange(1, n) / n))

    for printed, own in ((low, roots[: n - 1 - k]), (high, roots[k:])):
        assert (
            chance_negative(own - (printed - 0.005))
            < 0.05
            < chance_negative(own - (printed + 0.005))
        )


def test_the_ratio_is_that_of_an_independent_library() -> None:
    """Against statsmodels; rows handed in out of order."""
    rng = np.random.default_rng(2)
    n = 18
    Q = np.linalg.qr(np.column_stack([np.ones(n), rng.standard_normal((n, 2))]))[0]
    M = np.eye(n) - Q @ Q.T
    e = M @ rng.standard_normal(n)
    order = rng.permutation(n).astype(np.float64)

    ratio, _ = neighbour_ratio(e, M, order)
    assert ratio == pytest.approx(float(durbin_watson(e[np.argsort(order)])))


@pytest.mark.parametrize("shared", [False, True])
def test_the_chance_is_that_of_simulated_errors(shared: bool) -> None:
    """4000 draws of F z: within three standard errors of a chance; F a projection, or any F."""
    rng = np.random.default_rng(7)
    n = 16
    Q = np.linalg.qr(np.column_stack([np.ones(n), np.arange(n) % 4, rng.standard_normal(n)]))[0]
    F = np.eye(n) - Q @ Q.T
    if shared:
        F = (np.eye(n) - 0.2 * (np.arange(n)[:, None] // 4 == np.arange(n) // 4)) @ F
    draws = rng.standard_normal((4000, n)) @ F.T
    ratios = (np.diff(draws, axis=1) ** 2).sum(axis=1) / (draws**2).sum(axis=1)

    for e, ratio in zip(draws[:3], ratios[:3], strict=True):
        _, p = neighbour_ratio(e, F, np.arange(n, dtype=np.float64))
        below = float((ratios < ratio).mean())
        assert p == pytest.approx(2 * min(below, 1 - below), abs=0.05)


def test_a_long_series_has_nearly_the_same_chance_by_moments() -> None:
    """Beyond 400 rows the curve by moments takes over; at 401 both agree."""
    rng = np.random.default_rng(3)
    e = rng.standard_normal(401)
    e[1:] += 0.08 * e[:-1]
    M = np.eye(401) - 1 / 401
    ratio, p = neighbour_ratio(M @ e, M, np.arange(401.0))
    steps = np.diff(M, axis=0)
    assert ratio is not None
    below = chance_negative(np.linalg.eigvalsh(steps.T @ steps - ratio * M))

    assert p == pytest.approx(2 * min(below, 1 - below), rel=0.03)


@pytest.mark.parametrize("n", [400, 401])
def test_a_fit_gives_what_its_projection_gives_without_a_table_of_n_by_n(n: int) -> None:
    """The traces of Durbin and Watson (1950) by the columns of the model alone; rows shuffled."""
    rng = np.random.default_rng(5)
    Q = np.linalg.qr(np.column_stack([np.ones(n), rng.standard_normal((n, 3)), np.arange(n)]))[0]
    M = np.eye(n) - Q @ Q.T
    e = M @ np.cumsum(rng.standard_normal(n) + 0.4)
    order = rng.permutation(n).astype(np.float64)

    for y in (e, M @ rng.standard_normal(n)):
        expected = neighbour_ratio(y, M, order)
        assert neighbour_ratio_of_fit(y, Q, order) == pytest.approx(expected, rel=1e-9)


def test_a_very_long_series_is_no_burden() -> None:
    """Twenty thousand rows; a table of n by n would not fit into memory beside others."""
    n = 20_000
    e = np.random.default_rng(6).standard_normal(n)
    ratio, p = neighbour_ratio_of_fit(e - e.mean(), np.full((n, 1), n**-0.5), np.arange(float(n)))
    assert ratio == pytest.approx(2, abs=0.05)
    assert p is not None
    assert 0.001 < p <= 1

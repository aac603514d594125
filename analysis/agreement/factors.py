"""Factors of normal tolerance and prediction intervals, by their exact formulae.

All are multiples of the standard deviation of n values about their mean.

Source:
    One-sided tolerance by the noncentral t, two-sided by the integral over the mean: Odeh and Owen
    (1980), Tables for Normal Tolerance Limits; Krishnamoorthy and Mathew (2009), Statistical
    Tolerance Regions, chapter 2. At least k of m further values: Hahn and Meeker (1991),
    Statistical Intervals, chapter 4 and appendix. All from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy import optimize, special, stats

from doe.study.settings import FloatArray

# Points of the two quadratures: the tables' last digit stands with half as many.
_NODES = 80
_STEEP_NODES = 400
# No factor is larger: two values and a thousand to come stay below.
_LARGEST = 1e5


def tolerance_factor_one_sided(n: int, coverage: float, confidence: float) -> float:
    """Give k so that mean + k s lies above a part `coverage` of all values, at `confidence`.

    Args:
        n: Values, two or more.
        coverage: 0..1, exclusive.
        confidence: 0..1, exclusive.
    """
    _refuse(n, coverage, confidence)
    shift = float(special.ndtri(coverage)) * n**0.5
    factor = float(stats.nct.ppf(confidence, n - 1, shift))
    return float(factor / n**0.5)


def tolerance_factor_two_sided(n: int, coverage: float, confidence: float) -> float:
    """Give k so that mean ± k s holds a part `coverage` of all values, at `confidence`.

    Args:
        n: Values, two or more.
        coverage: 0..1, exclusive.
        confidence: 0..1, exclusive.
    """
    _refuse(n, coverage, confidence)
    means, weights = _of_mean(n)
    # Half width in σ that holds the part where the mean lies off by so much, squared.
    needed = np.asarray(stats.ncx2.ppf(coverage, 1, means**2), dtype=np.float64)

    def lacking(k: float) -> float:
        held = stats.chi2.sf((n - 1) * needed / k**2, n - 1)
        return float(weights @ held) - confidence

    return _root(lacking)


def prediction_factor(
    n: int, m: int, confidence: float, *, k: int | None = None, two_sided: bool = True
) -> float:
    """Give r so that at least k of m further values lie within mean ± r s, at `confidence`.

    Args:
        n: Values known, two or more.
        m: Values to come.
        confidence: 0..1, exclusive.
        k: How many of them; None for all.
        two_sided: Else below mean + r s.
    """
    _refuse(n, 0.5, confidence)
    least = m if k is None else k
    if not 1 <= least <= m:
        raise ValueError(f"{least} of {m} values")
    means, weights = _of_mean(n)
    sds, sd_weights = _of_sd(n - 1)

    def lacking(r: float) -> float:
        reach = r * sds[None, :]
        inside = special.ndtr(means[:, None] + reach)
        if two_sided:
            inside = inside - special.ndtr(means[:, None] - reach)
        held = stats.binom.sf(least - 1, m, np.clip(inside, 0.0, 1.0))
        return float(weights @ held @ sd_weights) - confidence

    return _root(lacking)


def _refuse(n: int, coverage: float, confidence: float) -> None:
    if n < 2:
        raise ValueError(f"{n} values leave no scatter to tell")
    if not (0.0 < coverage < 1.0 and 0.0 < confidence < 1.0):
        raise ValueError(f"coverage {coverage}, confidence {confidence}: both lie between 0 and 1")


@lru_cache(maxsize=64)
def _of_mean(n: int) -> tuple[FloatArray, FloatArray]:
    """Give points and weights over the mean of n standard normal values."""
    points, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    return points / n**0.5, weights / weights.sum()


@lru_cache(maxsize=64)
def _of_sd(df: int) -> tuple[FloatArray, FloatArray]:
    """Give points and weights over the standard deviation of standard normal values."""
    points, weights = np.polynomial.legendre.leggauss(_STEEP_NODES)
    # Cubing both ends sets the points dense where few degrees of freedom make the tails steep.
    t = (points + 1.0) / 2.0
    u = t**3 * (10.0 - 15.0 * t + 6.0 * t**2)
    slope = 30.0 * t**2 * (1.0 - t) ** 2
    sds = np.sqrt(stats.chi2.ppf(u, df) / df)
    return sds, weights / 2.0 * slope


def _root(lacking: Callable[[float], float]) -> float:
    return float(optimize.brentq(lacking, 1e-3, _LARGEST, xtol=1e-12, rtol=1e-12))

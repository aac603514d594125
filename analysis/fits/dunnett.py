"""Dunnett's comparison of several candidates with one control, at one level for all of them.

Source:
    Dunnett (1955), Journal of the American Statistical Association 50, 1096-1121, for the critical
    values and the integral of product correlations; Genz and Bretz (2009), Computation of
    Multivariate Normal and t Probabilities, section 4.1, for directions and radius apart, which
    takes any correlation, a singular one too. Both sources from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Literal

import numpy as np
from scipy import linalg, optimize, stats
from scipy.special import ndtr
from scipy.stats import qmc

from doe.study.settings import FloatArray, frozen_array

Sides = Literal[1, 2]
# Nodes of both integrals and where they end: beyond lies less than 1e-14 of either distribution.
_NODES = 96
_END = 8.0
_BEYOND = 1e-15
# Common part of a correlation above which the integrand is too steep for these nodes.
_STEEP = 0.98
# Rounding of correlations that were computed from a covariance.
_SAME = 1e-9
# Directions on the sphere: the error of the probability is then some 1e-4.
_DIRECTIONS_LOG2 = 14
# Beside the ends of the search, for the error of the probability.
_SLACK = 0.05


def dunnett_critical(
    correlation: FloatArray, df: float, *, level: float = 0.95, sides: Sides = 2
) -> float:
    """Give how many standard errors every comparison may be off at the joint level.

    Args:
        correlation: Of the k estimated differences, shape (k, k); 1/2 off the diagonal where the
            control and each candidate have equally many runs.
        df: Degrees of freedom of the common variance; infinite where it is known.
        level: Chance that all k intervals hold, above 0.5 and below 1.
        sides: 2 for intervals, 1 for limits on one side.

    Returns:
        The critical value; NaN without degrees of freedom.

    Example:
        >>> round(dunnett_critical(np.array([[1.0, 0.5], [0.5, 1.0]]), 10.0), 2)
        2.57
    """
    if not df > 0:
        return float("nan")
    k = len(correlation)
    tail = (1.0 - level) / sides
    alone = float(stats.t.isf(tail, df))
    if k == 1:
        return alone
    chance = _joint(correlation, df, sides)
    # One comparison alone asks for less, k of them at level/k each for more.
    low, high = alone - _SLACK, float(stats.t.isf(tail / k, df)) + _SLACK
    return float(optimize.brentq(lambda c: chance(c) - level, low, high, xtol=1e-10))


def dunnett_p(t: FloatArray, correlation: FloatArray, df: float, *, sides: Sides = 2) -> FloatArray:
    """Give the chance that some of k comparisons is as far off as each is, if none differs.

    Args:
        t: Difference over its standard error, shape (k,).
        correlation: Of the differences, shape (k, k).
        df: Degrees of freedom of the common variance.
        sides: 2 counts both signs, 1 only what is above.

    Returns:
        Shape (k,), NaN where `t` is.
    """
    size = np.abs(t) if sides == 2 else np.asarray(t, dtype=np.float64)
    if not df > 0:
        return np.full(len(size), np.nan)
    if len(size) == 1:
        return np.asarray(sides * stats.t.sf(size, df), dtype=np.float64)
    chance = _joint(correlation, df, sides)
    found = [1.0 - chance(float(one)) if np.isfinite(one) else np.nan for one in size]
    # An infinite t has no scatter to be judged by other than none: nothing is as far off.
    found = [0.0 if np.isposinf(one) else p for one, p in zip(size, found, strict=True)]
    return np.clip(np.array(found, dtype=np.float64), 0.0, 1.0)


def common_part(correlation: FloatArray) -> FloatArray | None:
    """Find b with correlations b_i b_j, shape (k,); None where there is none with all b² below 1.

    Example:
        >>> common_part(np.array([[1.0, 0.5], [0.5, 1.0]])).round(4).tolist()
        [0.7071, 0.7071]
    """
    k = len(correlation)
    off = correlation - np.diag(np.diag(correlation))
    if np.abs(off).max() <= _SAME:
        return np.zeros(k)
    i, j = np.unravel_index(np.argmax(np.abs(off)), off.shape)
    others = [m for m in range(k) if m not in (i, j)]
    # b_i² = r_im r_ij / r_jm from the third that is tied to both most; two alone share alike.
    third = max(others, key=lambda m: abs(off[j, m]), default=None)
    square = abs(off[i, j])
    if third is not None and abs(off[j, third]) > _SAME:
        square = off[i, third] * off[i, j] / off[j, third]
    if not _SAME < square < _STEEP:
        return None
    b = off[i] / np.sqrt(square)
    b[i] = np.sqrt(square)
    product = np.outer(b, b)
    np.fill_diagonal(product, 0.0)
    fits = np.abs(product - off).max() <= _SAME and (b**2).max() < _STEEP
    return b if fits else None


def _joint(correlation: FloatArray, df: float, sides: Sides) -> Callable[[float], float]:
    """Give the chance that no comparison is beyond c, as a function of c."""
    b = common_part(correlation)
    if b is None:
        return _over_directions(correlation, df, sides)
    return _over_common_part(b, df, sides)


def _over_common_part(b: FloatArray, df: float, sides: Sides) -> Callable[[float], float]:
    # Dunnett (1955), equation for product correlations: t_i = (sqrt(1 − b_i²) e_i + b_i y) / s.
    y, y_weight = _legendre(-_END, _END)
    y_weight = y_weight * stats.norm.pdf(y)
    s, s_weight = np.ones(1), np.ones(1)
    if np.isfinite(df):
        chi = stats.chi(df, scale=df**-0.5)
        s, s_weight = _legendre(float(chi.ppf(_BEYOND)), float(chi.isf(_BEYOND)))
        s_weight = s_weight * chi.pdf(s)
    own = np.sqrt(1.0 - b**2)

    def chance(c: float) -> float:
        inner = np.ones((len(s), len(y)))
        for part, rest in zip(b, own, strict=True):
            upper = ndtr((c * s[:, None] - part * y) / rest)
            lower = ndtr((-c * s[:, None] - part * y) / rest) if sides == 2 else 0.0
            inner *= upper - lower
        return float(s_weight @ inner @ y_weight)

    return chance


def _over_directions(correlation: FloatArray, df: float, sides: Sides) -> Callable[[float], float]:
    # t = r A u / s with u on the unit sphere and r²/(m s²) as F(m, df), whatever u: the chance is
    # the mean over u of F's at c² / (m max(A u)²).
    values, vectors = linalg.eigh(correlation)
    kept = values > _SAME * values[-1]
    A = vectors[:, kept] * np.sqrt(values[kept])
    m = A.shape[1]
    u = _directions(m)
    # Both signs of each direction lie on the sphere alike.
    far = np.concatenate([u, -u]) @ A.T if sides == 1 else np.abs(u @ A.T)
    worst = far.max(axis=1)
    radius = stats.chi2(m) if np.isinf(df) else stats.f(m, df)
    scale = 1.0 if np.isinf(df) else float(m)

    def chance(c: float) -> float:
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = np.where(worst > 0, c / worst, np.inf)
        if c >= 0:
            return float(radius.cdf(reach**2 / scale).mean())
        # All must be below a negative limit: only from c/worst outwards, for worst below 0.
        out = np.where(worst < 0, c / np.minimum(worst, -1e-300), np.inf)
        return float(radius.sf(out**2 / scale).mean())

    return chance


@cache
def _directions(m: int) -> FloatArray:
    net = qmc.Sobol(m, scramble=False).random_base2(_DIRECTIONS_LOG2)
    # Half a cell further, as the net begins at the corner and passes the very middle.
    u = stats.norm.ppf(net + 0.5 ** (_DIRECTIONS_LOG2 + 1))
    return frozen_array(u / np.linalg.norm(u, axis=1, keepdims=True))


def _legendre(low: float, high: float) -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    half = (high - low) / 2.0
    return low + half * (nodes + 1.0), half * weights

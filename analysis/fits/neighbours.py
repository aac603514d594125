"""Whether neighbours in the order of work miss the model alike: a ratio and its exact chance.

d = Σ (e_t − e_{t−1})² / Σ e_t² with residuals e = F z of independent normal z: 2 without memory in
long series, less where neighbours are alike. d < d₀ where z'F'(A − d₀ I)F z < 0, A of second
differences, so that the chance is that of a weighted sum of χ² with one degree of freedom each.

Source:
    Durbin and Watson (1950), Biometrika 37, 409-428, for the ratio; Imhof (1961), Biometrika 48,
    419-426, equation (3.2), for the chance.
"""

from __future__ import annotations

import numpy as np
from scipy import integrate, stats

from doe.study.settings import FloatArray

# Eigenvalues of larger tables cost seconds, and the curve by two moments is then near enough.
_MOST_EXACT = 400
# Fewer free directions than this tell nothing of an order.
_LEAST_FREE = 3
_NOTHING = 1e-10


def neighbour_ratio(
    residuals: FloatArray, factor: FloatArray, order: FloatArray
) -> tuple[float | None, float | None]:
    """Give Durbin and Watson's ratio along an order and its two-sided p.

    Args:
        residuals: Shape (n,).
        factor: F, shape (n, m): the residuals are F z of independent normal z in any unit.
        order: Shape (n,), place of each in the order as done; ties stay as they stand.

    Returns:
        None for both with too few free directions or no scatter.
    """
    rank = np.argsort(order, kind="stable")
    e, F = residuals[rank], factor[rank]
    size = float(e @ e)
    free = float((F**2).sum()) / max(float(np.linalg.norm(F, 2)) ** 2, _NOTHING)
    if size <= 0 or free < _LEAST_FREE - _NOTHING:
        return None, None
    ratio = float((np.diff(e) ** 2).sum()) / size
    steps = np.diff(F, axis=0)
    if len(e) > _MOST_EXACT:
        below = _below_by_moments(ratio, _moments(steps, F))
    else:
        weights = np.linalg.eigvalsh(steps.T @ steps - ratio * F.T @ F)
        below = chance_negative(np.asarray(weights, dtype=np.float64))
    return ratio, _two_sided(below)


def neighbour_ratio_of_fit(
    residuals: FloatArray, basis: FloatArray, order: FloatArray
) -> tuple[float | None, float | None]:
    """Give the same for residuals of least squares, of any number of rows.

    Args:
        residuals: Shape (n,).
        basis: Q, shape (n, p), orthonormal columns that span the model; F is I − QQ'.
        order: Shape (n,), place of each in the order as done; ties stay as they stand.

    Returns:
        As `neighbour_ratio`; beyond a few hundred rows no table of n by n is made.
    """
    n, p = basis.shape
    if n <= _MOST_EXACT:
        return neighbour_ratio(residuals, np.eye(n) - basis @ basis.T, order)
    rank = np.argsort(order, kind="stable")
    e, Q = residuals[rank], basis[rank]
    size = float(e @ e)
    if size <= 0 or n - p < _LEAST_FREE:
        return None, None
    ratio = float((np.diff(e) ** 2).sum()) / size
    # With D of second differences: tr FD = tr D − tr Q'DQ, and
    # tr (FD)² = tr D² − 2 tr Q'D²Q + tr (Q'DQ)².
    edge = np.zeros((1, p))
    DQ = -np.diff(np.vstack([edge, np.diff(Q, axis=0), edge]), axis=0)
    inner = Q.T @ DQ
    first = 2.0 * (n - 1) - float(np.trace(inner))
    second = 6.0 * n - 8.0 - 2.0 * float((DQ**2).sum()) + float((inner * inner.T).sum())
    return ratio, _two_sided(_below_by_moments(ratio, (n - p, first, second)))


def chance_negative(weights: FloatArray) -> float:
    """Give the chance that Σ w χ²₁ lies below 0, weights of shape (m,).

    Example:
        >>> round(chance_negative(np.array([1.0, 1.0, -1.0, -1.0])), 6)
        0.5
    """
    largest = float(np.abs(weights).max(initial=0.0))
    w = weights[np.abs(weights) > _NOTHING * largest] / max(largest, _NOTHING)
    if not len(w) or not (w > 0).any():
        return 1.0
    if not (w < 0).any():
        return 0.0

    def under(u: float) -> float:
        # (3.2) at x = 0: θ = ½ Σ arctan(w u), ρ = Π (1 + w² u²)^¼.
        if u == 0.0:
            return 0.5 * float(w.sum())
        theta = 0.5 * float(np.arctan(w * u).sum())
        log_rho = 0.25 * float(np.log1p((w * u) ** 2).sum())
        return float(np.sin(theta) * np.exp(-log_rho) / u)

    area, _ = integrate.quad(under, 0.0, np.inf, limit=400, epsabs=1e-9, epsrel=1e-7)
    return float(np.clip(0.5 - area / np.pi, 0.0, 1.0))


def _two_sided(below: float | None) -> float | None:
    return None if below is None else 2 * min(below, 1 - below)


def _moments(steps: FloatArray, F: FloatArray) -> tuple[float, float, float]:
    """Give tr F'F, tr F'DF and tr (F'DF)², D of second differences."""
    A = steps.T @ steps
    return float((F**2).sum()), float(np.trace(A)), float((A * A.T).sum())


def _below_by_moments(ratio: float, moments: tuple[float, float, float]) -> float | None:
    # Mean and variance of the ratio (Durbin and Watson 1950, section 4) matched by a beta curve on
    # 0..4; exact for residuals of least squares, where F'F is a projection.
    df, first, second = moments
    mean = first / df
    variance = 2 * (second - first * mean) / (df * (df + 2))
    if not 0 < mean < 4 or variance <= 0:
        return None
    m, v = mean / 4, variance / 16
    size = m * (1 - m) / v - 1
    return float(stats.beta.cdf(ratio / 4, m * size, (1 - m) * size)) if size > 0 else None

"""Draws of the variance components of one fit, as uncertain as its runs leave them.

The estimates σ̂² hang together by their covariance W. Starting from the lowest stratum, W = L D L'
with L unit triangular gives λ = L⁻¹σ² whose estimates are uncorrelated: in a balanced plan they
are the mean squares of the strata (σ² and σ² + m σ²_batch, over m). Each is drawn as

    λ_j = λ̂_j ν_j / χ²(ν_j),    ν_j = 2 λ̂_j² / D_jj

after Satterthwaite, and σ² = L λ, never below 0. A component that was found to be 0 is drawn above
0 as often as its mean square allows; drawn on its own few degrees of freedom it could not be.

Source:
    Box and Tiao (1973), Bayesian Inference in Statistical Analysis, chapter 5, for balanced strata
    with non-informative priors; Satterthwaite (1946), Biometrics Bulletin 2, 110-114. The extension
    by L is our own. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special
from scipy.interpolate import CubicSpline

from doe.study.settings import FloatArray, frozen_array

# A mean square rests on one degree of freedom at least, whatever the approximation says.
FEWEST_DF = 1.0
# Tails of the normal that draws of double precision reach.
_REACH = 8.3
_KNOTS = 1025


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ComponentDraws:
    """The r components of a fit, drawn.

    Attributes:
        estimates: σ̂², shape (r,), the lowest stratum last.
        mixing: L, shape (r, r), σ² = L λ.
        scales: λ̂, shape (r,).
        df: ν, shape (r,); infinite where a component is certain.
    """

    estimates: FloatArray
    mixing: FloatArray
    scales: FloatArray
    df: FloatArray

    def __post_init__(self) -> None:
        for name in ("estimates", "mixing", "scales", "df"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def drawn(self, z: FloatArray) -> FloatArray:
        """Draw components by standard normal draws, shape (n, r), to variances, (n, r).

        A high draw gives a large variance.
        """
        lam = np.repeat(self.scales[None, :], len(z), axis=0)
        for j, df in enumerate(self.df):
            if np.isfinite(df):
                lam[:, j] *= df / chi_square(-z[:, j], float(df))
        variances: FloatArray = np.maximum(lam @ self.mixing.T, 0.0)
        return variances


def make_components(estimates: FloatArray, covariance: FloatArray) -> ComponentDraws:
    """Make ready to draw.

    Args:
        estimates: Shape (r,), the lowest stratum last.
        covariance: W of the estimates, shape (r, r); zeros for what is certain.
    """
    r = len(estimates)
    L, D = np.eye(r), np.diag(covariance).copy()
    W = covariance.copy()
    # From the lowest stratum up: take out of all others what goes with it.
    for j in range(r - 1, 0, -1):
        if D[j] > 0:
            L[:j, j] = W[:j, j] / D[j]
            W[:j, :j] -= np.outer(L[:j, j], L[:j, j]) * D[j]
            D[:j] = np.diag(W)[:j]
    scales: FloatArray = np.linalg.solve(L, estimates).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        df = np.maximum(2.0 * scales**2 / D, FEWEST_DF)
    df[~(D > 0) | ~(scales > 0)] = np.inf
    return ComponentDraws(estimates=estimates, mixing=L, scales=scales, df=df)


def chi_square(z: FloatArray, df: float) -> FloatArray:
    """Turn standard normal draws, any shape, into χ² of `df` degrees of freedom.

    Example:
        >>> float(chi_square(np.array([0.0]), 10.0)[0].round(4))
        9.3418
    """
    drawn: FloatArray = np.exp(_log_chi_square(df)(np.clip(z, -_REACH, _REACH)))
    return drawn


@lru_cache(maxsize=256)
def _log_chi_square(df: float) -> CubicSpline:
    """Lay a curve through ln χ² over the normal deviate: as smooth as it is, 1e-9 off at most.

    A million inversions of the incomplete gamma function take seconds, the curve a tenth of one.
    """
    z = np.linspace(-_REACH, _REACH, _KNOTS)
    # Each tail by its own small probability keeps its digits.
    low = special.gammaincinv(df / 2.0, special.ndtr(np.minimum(z, 0.0)))
    high = special.gammainccinv(df / 2.0, special.ndtr(-np.maximum(z, 0.0)))
    return CubicSpline(z, np.log(2.0 * np.where(z < 0.0, low, high)))

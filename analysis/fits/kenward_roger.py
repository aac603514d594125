"""Kenward-Roger inference: what the estimated variance components do to errors and tests.

V = Σ σ²_k G_k with G_k = Z_k Z_k', the residual's G = I. Expected information, no second-derivative
term, all in variances: as the reference implementation does.

Source:
    Kenward and Roger (1997), Biometrics 53, 983-997; Halekoh and Højsgaard (2014), Journal of
    Statistical Software 59(9), sections 3 and 4, for the same in the notation used here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, stats

from doe.study.settings import FloatArray, frozen_array

# Published guards of the reference implementation: a factor below the first is 0, and a scale is 1
# where the df are this near to 2, at which it has no value.
_NO_FACTOR = 1e-10
_NEAR_TWO = 1e-2
# Part of the variance that a component must move for the df to hang on it.
_NO_SLOPE = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KenwardRoger:
    """What tests of contrasts of the coefficients need besides their adjusted covariance.

    Attributes:
        strata: Names of the r components, coarsest first, `residual` last.
        unadjusted: Φ = (X'V⁻¹X)⁻¹, shape (p, p).
        slopes: ∂Φ/∂σ²_k = Φ X'V⁻¹G_kV⁻¹X Φ, shape (r, p, p); −Φ P_k Φ of the source.
        component_covariance: W = 2 (tr PG_kPG_l)⁻¹, of the estimated components, shape (r, r).
    """

    strata: tuple[str, ...]
    unadjusted: FloatArray
    slopes: FloatArray
    component_covariance: FloatArray

    def __post_init__(self) -> None:
        r, p = len(self.strata), len(self.unadjusted)
        if self.slopes.shape != (r, p, p) or self.component_covariance.shape != (r, r):
            raise ValueError(f"{r} strata and {p} coefficients, slopes {self.slopes.shape}")
        for name in ("unadjusted", "slopes", "component_covariance"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def take(self, first: int) -> KenwardRoger:
        """Keep the first coefficients only."""
        return KenwardRoger(
            strata=self.strata,
            unadjusted=self.unadjusted[:first, :first],
            slopes=self.slopes[:, :first, :first],
            component_covariance=self.component_covariance,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ContrastTest:
    """A test of L b = 0.

    Attributes:
        f: Scaled variance ratio.
        df: Rows of L.
        den_df: Degrees of freedom of its error; infinite where no component is uncertain.
        p: Chance of a larger ratio if L b is 0.
    """

    f: float
    df: int
    den_df: float
    p: float


def single_df(adjustment: KenwardRoger, rows: FloatArray) -> FloatArray:
    """Give the degrees of freedom of x'b for each row, shape (g,).

    2 (x'Φx)² / Σ W_kl (∂x'Φx/∂σ²_k) (∂x'Φx/∂σ²_l): for one row the source's df, with scale 1.

    Args:
        adjustment: Of the fit.
        rows: Shape (g, p).
    """
    variance = np.einsum("gp,pq,gq->g", rows, adjustment.unadjusted, rows)
    slopes = np.einsum("gp,kpq,gq->gk", rows, adjustment.slopes, rows)
    spread = np.einsum("gk,kl,gl->g", slopes, adjustment.component_covariance, slopes)
    with np.errstate(divide="ignore", invalid="ignore"):
        df = 2 * variance**2 / spread
    df[spread <= _NO_SLOPE**2 * variance**2] = np.inf
    df[~np.isfinite(variance) | ~np.isfinite(spread) | (variance <= 0)] = np.nan
    return np.asarray(df, dtype=np.float64)


def contrast_test(
    adjustment: KenwardRoger, covariance: FloatArray, b: FloatArray, L: FloatArray
) -> ContrastTest:
    """Test L b = 0.

    Args:
        adjustment: Of the fit.
        covariance: Adjusted covariance of the coefficients, shape (p, p).
        b: Coefficients, shape (p,).
        L: Independent rows, shape (q, p).

    Source:
        Kenward and Roger (1997), section 3; Halekoh and Højsgaard (2014), equations (9) to (16).
    """
    q = len(L)
    scale, den_df = _scale_and_df(adjustment, L)
    if not (den_df > 0 and scale > 0):
        # Many rows on few degrees of freedom match no F by these moments.
        scale, den_df = 1.0, pooled_df(adjustment, L)
    estimate = L @ b
    wald = float(estimate @ linalg.solve(L @ covariance @ L.T, estimate, assume_a="sym")) / q
    f = scale * wald
    if not np.isfinite(den_df):
        return ContrastTest(f=f, df=q, den_df=den_df, p=float(stats.chi2.sf(f * q, q)))
    return ContrastTest(f=f, df=q, den_df=den_df, p=float(stats.f.sf(f, q, den_df)))


def pooled_df(adjustment: KenwardRoger, L: FloatArray) -> float:
    """Give the degrees of freedom of a test of L b = 0 from those of its independent directions.

    Args:
        adjustment: Of the fit.
        L: Independent rows, shape (q, p).

    Returns:
        2 E / (E − q) with E = Σ ν / (ν − 2) over the directions; 2 where one has no more than two.

    Source:
        Fai and Cornelius (1996), Journal of Statistical Computation and Simulation 54, 363-378.
    """
    _, directions = linalg.eigh(L @ adjustment.unadjusted @ L.T)
    each = single_df(adjustment, directions.T @ L)
    if np.isinf(each).all():
        return float("inf")
    if not (each > 2).all():
        return 2.0
    expected = float(np.sum(np.where(np.isinf(each), 1.0, each / (each - 2))))
    return 2 * expected / (expected - len(L))


def _scale_and_df(adjustment: KenwardRoger, L: FloatArray) -> tuple[float, float]:
    q, W = len(L), adjustment.component_covariance
    inner = linalg.inv(L @ adjustment.unadjusted @ L.T)
    # Θ Φ P_k Φ of the source, on the q rows of L only; the sign falls out of both sums.
    parts = np.array([inner @ (L @ slope @ L.T) for slope in adjustment.slopes])
    traces = np.trace(parts, axis1=1, axis2=2)
    a1 = float(traces @ W @ traces)
    a2 = float(np.einsum("kl,kij,lji->", W, parts, parts))
    if a2 <= _NO_SLOPE**2:
        return 1.0, float("inf")
    b = (a1 + 6 * a2) / (2 * q)
    g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
    rest = 3 * q + 2 * (1 - g)
    c1, c2, c3 = g / rest, (q - g) / rest, (q + 2 - g) / rest
    v0, v1, v2 = (_factor(v) for v in (1 + c1 * b, 1 - c2 * b, 1 - c3 * b))
    ratio = 1.0 if v1 == 0 and abs(1 - a2 / q) < _NO_FACTOR else (1 - a2 / q) / v1
    # Four df exactly make the last factor 0 and ρ of the source infinite.
    den_df = 4 + (q + 2) / (ratio**2 * v0 / v2 - 1) if v2 != 0 else 4.0
    scale = 1.0 if abs(den_df - 2) < _NEAR_TWO else den_df * (1 - a2 / q) / (den_df - 2)
    return scale, den_df


def _factor(value: float) -> float:
    return 0.0 if abs(value) < _NO_FACTOR else value

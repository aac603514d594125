"""Errors, degrees of freedom and tests of contrasts of a fit, whatever its estimator."""

from __future__ import annotations

import numpy as np
from scipy import linalg, stats

from analysis.fits.fit import Fit
from analysis.fits.kenward_roger import ContrastTest, contrast_test, single_df
from doe.study.settings import FloatArray


def contrast_df(fit: Fit, L: FloatArray) -> FloatArray:
    """Give the degrees of freedom of l'b for each row of L alone.

    Args:
        fit: The fit.
        L: Rows of the model matrix, or contrasts, shape (g, p).

    Returns:
        Shape (g,); NaN where there are none.
    """
    if fit.adjustment is not None:
        return single_df(fit.adjustment, L)
    if fit.method == "ml":
        return _weighted_df(fit, L)
    df = fit.component_df["residual"]
    return np.full(len(L), df if df > 0 else np.nan)


def contrast_f(fit: Fit, L: FloatArray) -> ContrastTest:
    """Test that all rows of L give 0 together.

    Args:
        fit: The fit.
        L: Independent contrasts, shape (q, p).
    """
    if fit.adjustment is not None:
        return contrast_test(fit.adjustment, fit.covariance, fit.coefficients, L)
    estimate, q, df = L @ fit.coefficients, len(L), float(fit.component_df["residual"])
    if fit.method == "ml":
        df = float(contrast_df(fit, L).min())
    f = float(estimate @ linalg.solve(L @ fit.covariance @ L.T, estimate, assume_a="sym")) / q
    return ContrastTest(f=f, df=q, den_df=df, p=float(stats.f.sf(f, q, df)))


def run_variance_df(fit: Fit, rows: FloatArray) -> FloatArray:
    """Give Satterthwaite's degrees of freedom of the variance of a new run at each row.

    The variance is x'Φx + Σ σ²_k, so that its slope along σ²_k is that of x'Φx and one more (less
    for the reading, where a run is the mean of several).

    Args:
        fit: The fit, by REML.
        rows: Rows of the model matrix, shape (g, p).

    Returns:
        Shape (g,); NaN where a component has no estimate.

    Source:
        Satterthwaite (1946), Biometrics Bulletin 2, 110-114; DESIGN.md, section 5, "Future run".
    """
    if fit.adjustment is None:
        raise ValueError("a fit without variance components beside the residual")
    known = fit.adjustment
    weights = np.array([fit.new_run_weights[name] for name in known.strata])
    slopes = np.einsum("gp,kpq,gq->gk", rows, known.slopes, rows) + weights
    variance = np.einsum("gp,pq,gq->g", rows, known.unadjusted, rows) + fit.new_run_variance
    spread = np.einsum("gk,kl,gl->g", slopes, known.component_covariance, slopes)
    df = 2 * variance**2 / spread
    return np.where(np.isfinite(df), df, np.nan)


def _weighted_df(fit: Fit, L: FloatArray) -> FloatArray:
    # The harmonic mean of the coefficients' own, weighted by what each adds to the variance.
    parts = np.abs(L * (L @ fit.covariance))
    with np.errstate(divide="ignore", invalid="ignore"):
        combined: FloatArray = parts.sum(axis=1) / (parts / fit.coefficient_df).sum(axis=1)
    return combined

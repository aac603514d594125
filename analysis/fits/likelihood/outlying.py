"""Runs beyond the limit for outliers in a fit that holds readings off the scale."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy import stats

from analysis.fits.check_values import Outlier
from analysis.fits.diagnostics import OUTLIER_RISK
from analysis.fits.likelihood.layout import Layout
from analysis.fits.likelihood.outcome import Estimated
from doe.study.settings import BoolArray

# With fewer degrees of freedom a run takes the scatter along with it, however far it lies.
_LEAST_DF = 3.0
# Less than this part of the whole is rounding.
_NOTHING = 1e-9


def outliers_on_scale(
    layout: Layout, found: Estimated, is_read: BoolArray
) -> tuple[tuple[Outlier, ...], float | None]:
    """Find runs that were read, beyond the limit that all of them pass with 5 % risk.

    A reading misses the surface by V − X C X', the scatter of a run less what the coefficients
    took of it; the rest is as for least squares, to which it comes down where all was read.

    Args:
        layout: The runs.
        found: What was estimated.
        is_read: Shape (n,), runs whose reading is a number.

    Returns:
        The outliers, and the limit; None with too few degrees of freedom.

    Source:
        Bonferroni limit on deleted residuals, Cook and Weisberg (1982), section 2.2.2.
    """
    X = layout.table.matrix
    total = sum(found.components.values())
    df = _freedom(found.components, found.component_df)
    n = int(is_read.sum())
    if df < _LEAST_DF or n == 0:
        return (), None
    left = total - np.einsum("ij,jk,ik->i", X, found.covariance[: X.shape[1], : X.shape[1]], X)
    limit = float(stats.t.isf(OUTLIER_RISK / (2 * n), df - 1.0))
    outliers = []
    for i in np.flatnonzero(is_read & (left > _NOTHING * total)):
        t = _deleted(float(found.residual[i] / left[i] ** 0.5), df)
        if abs(t) > limit:
            p = min(1.0, n * 2.0 * float(stats.t.sf(abs(t), df - 1.0)))
            outliers.append(Outlier(run=layout.table.run[i], studentised=t, limit=limit, p=p))
    return tuple(outliers), limit


def _deleted(internal: float, df: float) -> float:
    """Give a residual as the other runs alone would scale it."""
    rest = max(df - internal**2, _NOTHING * df)
    return float(internal * ((df - 1.0) / rest) ** 0.5)


def _freedom(components: Mapping[str, float], df: Mapping[str, float]) -> float:
    """Give the degrees of freedom of the whole scatter of a run, after Satterthwaite (1946)."""
    total = sum(components.values())
    told = [value**2 / df[name] for name, value in components.items() if np.isfinite(df[name])]
    return total**2 / sum(told) if sum(told) > 0 else float("inf")

"""Checks run by run: leverage, deleted residuals, influence, outliers, drift with order.

Source:
    Cook and Weisberg (1982), Residuals and Influence in Regression, chapters 2 and 3; Shapiro and
    Wilk (1965).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from analysis.fits.assessment import RunRow
from analysis.fits.check_values import Normality, OrderDrift, Outlier
from analysis.fits.fit_table import FitTable
from analysis.fits.least_squares import LeastSquares
from analysis.fits.neighbours import neighbour_ratio_of_fit
from doe.study.settings import FloatArray

# A run this close to leverage 1 sits on its own coefficient: its residual is rounding.
ALONE = 1e-9
# Chance that a fit without any outlier shows one.
OUTLIER_RISK = 0.05
# Below these counts the checks say nothing that a formulator could act on.
_LEAST_DF_FOR_OUTLIERS = 2
_LEAST_RUNS_FOR_ORDER = 8
_LEAST_DF_FOR_NORMALITY = 8
# The published approximation of W ends here (Royston 1995, Applied Statistics 44, 547-551).
_MOST_RUNS_FOR_NORMALITY = 5000


def run_rows(table: FitTable, solved: LeastSquares, repeats: Sequence[int]) -> tuple[RunRow, ...]:
    """Give one row a run: residuals, leverage, influence."""
    internal, external = studentised_residuals(solved)
    distance = cook_distances(solved)
    return tuple(
        RunRow(
            run=run,
            observed=float(table.y[i]),
            fitted=float(table.y[i] - solved.residuals[i]),
            residual=float(solved.residuals[i]),
            studentised=_number(external[i]),
            studentised_internal=_number(internal[i]),
            leverage=float(solved.leverage[i]),
            cook=_number(distance[i]),
            control=table.control[i],
            repeats=repeats[i],
        )
        for i, run in enumerate(table.run)
    )


def studentised_residuals(solved: LeastSquares) -> tuple[FloatArray, FloatArray]:
    """Give internal and external studentised residuals, shape (n,) each, NaN where undefined."""
    e, df = solved.residuals, solved.df
    free = _free(solved)
    nothing = np.full_like(e, np.nan)
    if df <= 0 or solved.rss <= 0:
        return nothing, nothing
    internal = e / np.sqrt(solved.residual_variance * free)
    if df <= 1:
        return internal, nothing
    # t = r sqrt((df - 1) / (df - r^2)), Cook and Weisberg (2.2.8)
    room = df - internal**2
    external = internal * np.sqrt((df - 1) / np.where(room > ALONE, room, np.nan))
    return internal, external


def cook_distances(solved: LeastSquares) -> FloatArray:
    """Give Cook's distance of each run, shape (n,), NaN where undefined."""
    internal, _ = studentised_residuals(solved)
    distance: FloatArray = internal**2 * solved.leverage / _free(solved) / len(solved.coefficients)
    return distance


def deleted_residuals(solved: LeastSquares) -> FloatArray:
    """Give what each run misses when it is left out of the fit, shape (n,), NaN where undefined."""
    deleted: FloatArray = solved.residuals / _free(solved)
    return deleted


def outliers_of(table: FitTable, solved: LeastSquares) -> tuple[tuple[Outlier, ...], float | None]:
    """Find runs beyond the limit that all runs together pass with 5 % risk, and that limit.

    Source:
        Bonferroni limit on deleted residuals, Cook and Weisberg (1982), section 2.2.2.
    """
    n = len(table.run)
    if solved.df <= _LEAST_DF_FOR_OUTLIERS:
        return (), None
    limit = float(stats.t.isf(OUTLIER_RISK / (2 * n), solved.df - 1))
    _, external = studentised_residuals(solved)
    found = [
        Outlier(
            run=table.run[i],
            studentised=float(t),
            limit=limit,
            p=min(1.0, n * 2 * float(stats.t.sf(abs(t), solved.df - 1))),
        )
        for i, t in enumerate(external)
        if abs(t) > limit
    ]
    return tuple(found), limit


def order_drift(solved: LeastSquares, order: FloatArray) -> OrderDrift | None:
    """Test whether the residuals follow the order of work.

    Args:
        solved: The fit.
        order: Shape (n,), place of each run in the order as done.

    Returns:
        None with too few runs or no degrees of freedom to spare.
    """
    df = solved.df - 1
    if len(order) < _LEAST_RUNS_FOR_ORDER or df < 1 or solved.rss <= 0:
        return None
    Q, e = solved.basis, solved.residuals
    # Added variable: order, less what the model's own columns hold of it.
    free = order - order.mean()
    free = free - Q @ (Q.T @ free)
    weight = float(free @ free)
    neighbours, neighbours_p = _neighbours(solved, order)
    if weight < ALONE * float(order.var()) * len(order):
        return OrderDrift(
            slope=None, t=None, df=df, p=None, neighbours=neighbours, neighbours_p=neighbours_p
        )
    slope = float(free @ e) / weight
    rest = max(solved.rss - slope**2 * weight, 0.0) / df
    t = slope / (rest / weight) ** 0.5 if rest > 0 else None
    return OrderDrift(
        slope=slope,
        t=t,
        df=df,
        p=2 * float(stats.t.sf(abs(t), df)) if t is not None else None,
        neighbours=neighbours,
        neighbours_p=neighbours_p,
    )


def normality_of(solved: LeastSquares) -> Normality | None:
    """Compare the residuals with a normal curve; None with few degrees of freedom.

    Residuals of a fit are more normal than the errors behind them, so that only a gross departure
    can show.
    """
    internal, _ = studentised_residuals(solved)
    judged = internal[np.isfinite(internal)]
    enough = min(solved.df, len(judged)) >= _LEAST_DF_FOR_NORMALITY
    if not enough or len(judged) > _MOST_RUNS_FOR_NORMALITY:
        return None
    w, p = stats.shapiro(judged)
    return Normality(w=float(w), p=float(p))


def _neighbours(solved: LeastSquares, order: FloatArray) -> tuple[float | None, float | None]:
    if solved.df < _LEAST_DF_FOR_OUTLIERS + 1:
        return None, None
    return neighbour_ratio_of_fit(solved.residuals, solved.basis, order)


def _free(solved: LeastSquares) -> FloatArray:
    free = 1.0 - solved.leverage
    return np.where(free > ALONE, free, np.nan)


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None

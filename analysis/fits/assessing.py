"""From a solved table to the whole assessment of a fit."""

from __future__ import annotations

import numpy as np
from scipy import stats

from analysis.fits.anova import anova_rows, lack_of_fit_rows, rows_by_order, sum_about_means
from analysis.fits.assessment import Assessment, BoxCox, CoefficientRow
from analysis.fits.curvature import curvature_of
from analysis.fits.diagnostics import (
    deleted_residuals,
    normality_of,
    order_drift,
    outliers_of,
    run_rows,
)
from analysis.fits.envelope import normal_envelope
from analysis.fits.fit_table import FitTable
from analysis.fits.lack_of_fit import pure_error, replicate_groups
from analysis.fits.least_squares import LeastSquares
from analysis.fits.no_scatter import has_no_scatter
from analysis.fits.scatter import levels_of, unequal_scatter
from analysis.fits.sources import sources_of, tested_apart
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.model.matrix import Column
from doe.model.terms import term_label
from doe.study.settings import FloatArray


def assess(
    table: FitTable,
    solved: LeastSquares,
    data: ResponseData,
    coding: Coding,
    *,
    level: float,
    log_jacobian: float,
    box_cox: BoxCox | None,
    blocks: str,
    vif: FloatArray,
    condition: float,
) -> Assessment:
    """Gather everything that is known of a fit besides its coefficients."""
    terms = [term_label(column.term) for column in table.columns]
    sources = sources_of(table.columns, terms, coding)
    groups = replicate_groups(data.planned.values, coding, table.control)
    pure = pure_error(solved.residuals, groups, table.passing)
    lack_rows, lack = lack_of_fit_rows(solved, *pure)
    outliers, limit = outliers_of(table, solved)
    total, total_df = sum_about_means(table)
    likelihood, aicc = information(solved, log_jacobian)
    press, r2_predicted = _predicted(table, solved)
    planned = np.array(table.is_planned)
    return Assessment(
        level=level,
        coefficients=_coefficient_rows(table, solved, coding, level),
        r2=_share_left(solved.rss, total),
        r2_adjusted=_adjusted(solved, total, total_df),
        r2_predicted=r2_predicted,
        press=press,
        aicc=aicc,
        log_likelihood=likelihood,
        anova=anova_rows(
            table, solved, sources, lack_rows, tested_apart(sources, table.columns, coding)
        ),
        anova_by_order=rows_by_order(table, solved, sources),
        lack_of_fit=lack,
        vif={
            label: float(value) if np.isfinite(value) else None
            for label, value in zip(table.labels, vif, strict=True)
        },
        condition=condition,
        digits_left=solved.digits_left,
        box_cox=box_cox,
        outliers=outliers,
        outlier_limit=limit,
        order=order_drift(solved, np.array(data.order)),
        normality=normality_of(solved),
        curvature=curvature_of(table, solved, data.planned.values, coding),
        runs=run_rows(table, solved, [len(run) for run in data.repeats]),
        n=len(table.run),
        p=len(solved.coefficients),
        residual_df=solved.df,
        residual_sd=solved.residual_variance**0.5 if solved.df > 0 else None,
        mean=float(table.y[planned].mean()),
        blocks=blocks,
        block_effects=block_effects(table, solved),
        scatter=unequal_scatter(
            table.y - solved.residuals,
            solved,
            groups,
            levels_of(data.planned.values, table.control, coding),
        ),
        envelope=normal_envelope(solved),
    )


def block_effects(table: FitTable, solved: LeastSquares) -> dict[str, float]:
    """Give the estimate of each block, summing to zero; empty without blocks."""
    names = table.block_names
    if not names:
        return {}
    free = solved.coefficients[len(solved.coefficients) - len(names) + 1 :]
    return dict(zip(names, [*map(float, free), -float(free.sum())], strict=True))


def information(solved: LeastSquares, log_jacobian: float) -> tuple[float | None, float | None]:
    """Give log-likelihood and AICc of the readings before any transformation.

    Args:
        solved: A fit.
        log_jacobian: Σ ln |dz/dy| of its scale over the runs.

    Returns:
        None for either where it has no value: a perfect fit, or too few runs for the correction.

    Source:
        Hurvich and Tsai (1989), Biometrika 76, 297-307; the variance counts as a parameter.
    """
    # ln L at its highest, −n/2 (ln 2π + ln(RSS/n) + 1), brought to the readings by the Jacobian.
    n, k = len(solved.residuals), len(solved.coefficients) + 1
    if solved.rss <= 0 or not np.isfinite(log_jacobian):
        return None, None
    likelihood = -n / 2 * (np.log(2 * np.pi) + np.log(solved.rss / n) + 1) + log_jacobian
    if n - k - 1 <= 0:
        return float(likelihood), None
    return float(likelihood), float(-2 * likelihood + 2 * k + 2 * k * (k + 1) / (n - k - 1))


def is_linear_blending(column: Column, coding: Coding) -> bool:
    """Tell the terms whose single p has no meaning: the shares on their own."""
    shares = {axis.name for axis in coding.shares}
    powers = column.term.powers
    return len(shares) > 1 and len(powers) == 1 and powers[0][0] in shares


def _coefficient_rows(
    table: FitTable, solved: LeastSquares, coding: Coding, level: float
) -> tuple[CoefficientRow, ...]:
    s = len(table.columns)
    errors = np.sqrt(np.diag(solved.covariance)[:s])
    rows = []
    for j, (column, label) in enumerate(zip(table.columns, table.labels, strict=True)):
        estimate = float(solved.coefficients[j])
        # Readings without scatter tell no error either.
        error = float(errors[j]) if solved.df > 0 and not has_no_scatter(solved) else None
        t = estimate / error if error else None
        p = 2 * float(stats.t.sf(abs(t), solved.df)) if t is not None else None
        rows.append(
            CoefficientRow(
                term=term_label(column.term),
                label=label,
                powers=dict(column.term.powers),
                antisymmetric=column.term.delta,
                levels=dict(column.levels),
                estimate=estimate,
                std_error=error,
                df=float(solved.df),
                t=t,
                p=None if is_linear_blending(column, coding) else p,
                interval=_interval(estimate, error, solved.df, level),
            )
        )
    return tuple(rows)


def _interval(
    estimate: float, error: float | None, df: int, level: float
) -> tuple[float, float] | None:
    if error is None:
        return None
    reach = float(stats.t.isf((1 - level) / 2, df)) * error
    return estimate - reach, estimate + reach


def _share_left(unexplained: float, total: float) -> float | None:
    return 1 - unexplained / total if total > 0 else None


def _adjusted(solved: LeastSquares, total: float, total_df: int) -> float | None:
    if solved.df <= 0 or total_df <= 0:
        return None
    return _share_left(solved.residual_variance, total / total_df)


def _predicted(table: FitTable, solved: LeastSquares) -> tuple[float | None, float | None]:
    # Runs of the plan only: a control is predicted by its own mean, never by the surface.
    planned = np.array(table.is_planned)
    deleted: FloatArray = deleted_residuals(solved)[planned]
    if solved.df <= 0 or not np.isfinite(deleted).all():
        return None, None
    press = float(deleted @ deleted)
    about = table.y[planned] - table.y[planned].mean()
    return press, _share_left(press, float(about @ about))

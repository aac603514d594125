"""From rows in strata and their solution to the whole assessment of a fit."""

from __future__ import annotations

import numpy as np
from scipy import stats

from analysis.fits.anova import sum_about_means
from analysis.fits.assessing import block_effects, is_linear_blending
from analysis.fits.assessment import (
    AnovaRow,
    Assessment,
    BoxCox,
    CoefficientRow,
    ComponentRow,
    LackOfFit,
    Misleading,
)
from analysis.fits.check_values import Curvature
from analysis.fits.curvature import centre_runs
from analysis.fits.in_strata import InStrata
from analysis.fits.kenward_roger import single_df
from analysis.fits.lack_of_fit import replicate_groups
from analysis.fits.likelihood_of_mixed import maximum_likelihood
from analysis.fits.mixed_anova import anova_rows, rows_by_order
from analysis.fits.mixed_diagnostics import (
    added_column,
    normal_envelope,
    normality_of,
    order_drift,
    outliers_of,
    press_of,
    run_rows,
)
from analysis.fits.mixed_lack_of_fit import lack_of_fit
from analysis.fits.scatter import levels_of, unequal_scatter_in_strata
from analysis.fits.sources import sources_of, tested_apart
from analysis.fits.unit_effects import unit_effects
from analysis.fits.variance_interval import component_intervals
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.model.matrix import column_label
from doe.model.strata import RESIDUAL, residual_df
from doe.model.terms import term_label
from doe.study.settings import FloatArray

# A standard error that least squares gets wrong by a quarter changes what a reader concludes.
_MISLEADING = 0.25


def assess_mixed(
    fitted: InStrata,
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
    """Gather everything that is known of a mixed fit besides its coefficients."""
    table, solution, rows = fitted.table, fitted.solution, fitted.strata.rows
    terms = [term_label(column.term) for column in table.columns]
    sources = sources_of(table.columns, terms, coding)
    lack = lack_of_fit(fitted, data.planned.values[rows], coding)
    runs = run_rows(fitted, [len(run) for run in data.repeats])
    outliers, limit = outliers_of(runs, solution.solved.df)
    likelihood = maximum_likelihood(table.matrix, table.y, fitted.strata.strata)
    planned = np.array(table.is_planned)
    total, total_df = sum_about_means(table)
    own_total = float(((table.y[planned] - table.y[planned].mean()) ** 2).sum())
    press = press_of(fitted, fitted.groups_of_runs())
    unit = fitted.strata.names[0]
    press_by_unit = press_of(fitted, _units(fitted, unit))
    df = residual_df(fitted.strata.strata, table.matrix)[RESIDUAL]
    residuals = fitted.residuals
    return Assessment(
        level=level,
        coefficients=coefficient_rows(fitted, coding, level),
        r2=_share_left(float(residuals @ residuals), total),
        r2_adjusted=_adjusted(solution.components, total, total_df),
        r2_predicted=_share_left(press, own_total),
        press=press,
        aicc=likelihood.aicc(log_jacobian),
        log_likelihood=likelihood.log_likelihood + log_jacobian,
        anova=anova_rows(
            fitted, sources, tested_apart(sources, table.columns, coding), _lack_rows(lack)
        ),
        anova_by_order=rows_by_order(fitted, sources),
        lack_of_fit=lack,
        vif={
            label: float(value) if np.isfinite(value) else None
            for label, value in zip(table.labels, vif, strict=True)
        },
        condition=condition,
        digits_left=solution.solved.digits_left,
        box_cox=box_cox,
        outliers=outliers,
        outlier_limit=limit,
        order=order_drift(fitted, np.array(data.order)[rows]),
        normality=normality_of(runs, solution.solved.df),
        curvature=_curvature(fitted, data.planned.values[rows], coding),
        runs=runs,
        n=len(data),
        p=table.matrix.shape[1],
        residual_df=df,
        residual_sd=_root(solution.components[-1]),
        mean=float(table.y[planned].mean()),
        strata=solution.names,
        blocks=blocks,
        block_effects=block_effects(table, solution.solved),
        components=component_rows(fitted, level),
        terms_vary=dict(zip(table.labels, fitted.told_in(table.surface), strict=True)),
        misleading=_misleading(fitted, coding),
        press_by_unit=press_by_unit,
        r2_predicted_by_unit=_share_left(press_by_unit, own_total),
        unit_left_out=unit,
        envelope=normal_envelope(fitted),
        units=unit_effects(fitted, data),
        scatter=unequal_scatter_in_strata(
            fitted,
            replicate_groups(data.planned.values, coding, data.control),
            levels_of(data.planned.values, data.control, coding),
        ),
    )


def component_rows(fitted: InStrata, level: float) -> tuple[ComponentRow, ...]:
    """Give one row a stratum, coarsest first, the residual last."""
    solution = fitted.solution
    told = solution.adjustment.strata
    variances = np.array([solution.components[solution.names.index(name)] for name in told])
    intervals: dict[str, tuple[float, float]] = {}
    if np.isfinite(variances).all() and variances[-1] > 0 and not solution.optimum.at_end:
        found = component_intervals(solution.model, variances, level=level)
        intervals = dict(zip(told, found, strict=True))
    return tuple(
        ComponentRow(
            stratum=name,
            variance=float(variance),
            sd=float(np.sqrt(variance)),
            interval=intervals.get(name),
            df=float(df),
            is_zero=bool(variance == 0),
            units=len(fitted.table.run) if name == RESIDUAL else len(np.unique(fitted.units(name))),
        )
        for name, variance, df in zip(
            solution.names, solution.components, solution.component_df, strict=True
        )
    )


def coefficient_rows(fitted: InStrata, coding: Coding, level: float) -> tuple[CoefficientRow, ...]:
    """Give one row a coefficient, with Kenward and Roger's error and df."""
    table, solution = fitted.table, fitted.solution
    errors = np.sqrt(np.diag(solution.covariance))
    every_df = single_df(solution.adjustment, np.eye(len(errors)))
    rows = []
    for j, column in enumerate(table.columns):
        estimate = float(solution.solved.coefficients[j])
        known = bool(np.isfinite(errors[j]))
        error, df = (float(errors[j]), float(every_df[j])) if known else (None, float("nan"))
        t = estimate / error if error else None
        reach = float(stats.t.isf((1 - level) / 2, df)) * error if error else None
        shown = t is not None and not is_linear_blending(column, coding)
        rows.append(
            CoefficientRow(
                term=term_label(column.term),
                label=column_label(column),
                powers=dict(column.term.powers),
                antisymmetric=column.term.delta,
                levels=dict(column.levels),
                estimate=estimate,
                std_error=error,
                df=df,
                t=t,
                p=2 * float(stats.t.sf(abs(t or 0.0), df)) if shown else None,
                interval=(estimate - reach, estimate + reach) if reach is not None else None,
            )
        )
    return tuple(rows)


def _units(fitted: InStrata, name: str) -> list[np.ndarray]:
    unit = fitted.units(name)
    return [np.flatnonzero(unit == number) for number in np.unique(unit)]


def _misleading(fitted: InStrata, coding: Coding) -> tuple[Misleading, ...]:
    solution, table = fitted.solution, fitted.table
    errors = np.sqrt(np.diag(solution.covariance))
    plain_errors = np.sqrt(np.diag(solution.plain.covariance))
    found = []
    for j, row in enumerate(coefficient_rows(fitted, coding, 0.95)):
        if not np.isfinite(errors[j]) or abs(plain_errors[j] / errors[j] - 1) <= _MISLEADING:
            continue
        t = float(solution.plain.coefficients[j] / plain_errors[j])
        plain_p = 2 * float(stats.t.sf(abs(t), solution.plain.df))
        found.append(
            Misleading(
                label=table.labels[j],
                plain_error=float(plain_errors[j]),
                std_error=float(errors[j]),
                plain_p=plain_p if row.p is not None else None,
                p=row.p,
            )
        )
    return tuple(found)


def _lack_rows(lack: tuple[LackOfFit, ...]) -> list[AnovaRow]:
    return [
        AnovaRow(
            source="lack of fit", kind="sequential", stratum=one.stratum, df=one.df,
            den_df=one.den_df, ss=float("nan"), ms=None, f=one.f, p=one.p,
        )
        for one in lack
    ]  # fmt: skip


def _curvature(fitted: InStrata, planned: FloatArray, coding: Coding) -> Curvature | None:
    here = centre_runs(fitted.table, planned, coding)
    if here is None:
        return None
    found = added_column(fitted, here.astype(np.float64))
    if found is None:
        return None
    runs = dict.fromkeys(run for run, at in zip(fitted.table.run, here, strict=True) if at)
    return Curvature(
        gap=found.estimate, std_error=found.std_error, df=found.df, p=found.p, runs=tuple(runs)
    )


def _share_left(unexplained: float | None, total: float) -> float | None:
    return 1 - unexplained / total if unexplained is not None and total > 0 else None


def _adjusted(components: FloatArray, total: float, total_df: int) -> float | None:
    whole = float(components.sum())
    if total_df <= 0 or not np.isfinite(whole):
        return None
    return _share_left(whole, total / total_df)


def _root(variance: float) -> float | None:
    return float(variance**0.5) if np.isfinite(variance) else None

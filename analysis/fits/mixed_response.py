"""Fit one response whose runs share batches, days or other random strata."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.fits.assessing import block_effects
from analysis.fits.assessment import Assessment, BoxCox
from analysis.fits.box_cox import box_cox
from analysis.fits.fit import Fit, Scale
from analysis.fits.fit_table import FitTable
from analysis.fits.in_strata import InStrata
from analysis.fits.kenward_roger import KenwardRoger, single_df
from analysis.fits.least_squares import LeastSquares, solve_least_squares
from analysis.fits.likelihood_of_mixed import profile_of
from analysis.fits.mixed_assessing import assess_mixed
from analysis.fits.mixed_findings import mixed_findings
from analysis.fits.no_scatter import has_no_scatter
from analysis.fits.order_slope import slope_in
from analysis.fits.readings_on_scale import (
    averaged,
    every_reading,
    log_jacobian,
    log_jacobian_of_readings,
)
from analysis.fits.reml import MixedSolution, solve_mixed
from analysis.fits.strata_of_data import DataStrata
from analysis.fits.with_controls import WithControls
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.model.information import condition_of, vif
from doe.model.strata import units_word
from doe.model.terms import Model
from doe.study.finding import Finding
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixedJob:
    """What is to be fitted: the rows of a response in their strata, on a scale."""

    data: ResponseData
    coding: Coding
    model: Model
    scale: Scale
    strata: DataStrata
    table: FitTable
    blocks: str
    level: float


def rows_in_strata(table: FitTable, solved: LeastSquares, strata: DataStrata) -> FitTable | None:
    """Give the rows to fit with their strata; None where none are shared or nothing is left.

    Args:
        table: The runs.
        solved: Their least squares.
        strata: What rows share.
    """
    if not strata.names or solved.df < 1:
        return None
    return table.of_rows(strata.rows)


def box_cox_in_strata(
    data: ResponseData, table: FitTable, strata: DataStrata, df: int, level: float
) -> BoxCox | None:
    """Find λ by the plain likelihood, variance ratios at their best for each λ.

    Returns:
        None where no scale can be asked for, as where rows follow the model to the last digit.
    """
    if solve_least_squares(table.matrix, table.y).rss <= 0.0:
        return None
    readings: Sequence[Sequence[float]] = data.repeats
    if strata.by_reading:
        readings = [(value,) for run in data.repeats for value in run]
    likelihood = profile_of(table.matrix, strata.strata)
    return box_cox(readings, np.zeros((0, 0)), df, level=level, likelihood=likelihood)


def fit_in_strata(
    job: MixedJob, power: BoxCox | None
) -> tuple[Fit, Assessment, tuple[Finding, ...]] | None:
    """Fit by REML with Kenward-Roger inference.

    Returns:
        The fit, its assessment and what to make of them; None where rows do not scatter about the
        model, so that there is no variance to share out.
    """
    data, strata = job.data, job.strata
    y = every_reading(data, job.scale) if strata.by_reading else averaged(data, job.scale)
    table = replace(job.table, y=y)
    if table.is_constant or solve_least_squares(table.matrix, table.y).rss <= 0.0:
        return None
    solution = solve_mixed(table.matrix, table.y, strata.strata)
    fitted = InStrata(table=table, strata=strata, solution=solution)
    jacobian = log_jacobian_of_readings if strata.by_reading else log_jacobian
    planned = data.actual.values[[name is None for name in data.control]]
    condition = condition_of(planned, job.coding, job.model)[1]
    assessment = assess_mixed(
        fitted,
        data,
        job.coding,
        level=job.level,
        log_jacobian=jacobian(data, job.scale),
        box_cox=power,
        blocks=job.blocks,
        vif=vif(planned, job.coding, job.model),
        condition=condition if np.isfinite(condition) else solution.solved.condition,
    )
    fit = _fit(job, fitted)
    return fit, assessment, mixed_findings(fit, assessment, data, fitted)


def not_in_strata(strata: DataStrata, solved: LeastSquares) -> tuple[Finding, ...]:
    """Say of a fit by least squares that its runs share strata all the same.

    Where readings do not scatter at all, that is said instead, and more batches would mend nothing.
    """
    if not strata.names or has_no_scatter(solved):
        return ()
    words = " and ".join(units_word(name) for name in strata.names)
    return (
        Finding(
            level="caution",
            what=f"Runs share {words}, but nothing is left beside the model to tell how these "
            "differ: the coefficients are those of least squares and carry no error of theirs.",
            evidence={"rows": len(strata.rows)},
            advice="Fit a smaller model, or add batches.",
        ),
    )


def _fit(job: MixedJob, fitted: InStrata) -> Fit:
    table, solution, data = fitted.table, fitted.solution, job.data
    s = len(table.columns)
    coefficients = solution.solved.coefficients
    df = single_df(solution.adjustment, np.eye(len(solution.covariance)))
    df = np.where(np.isfinite(np.diag(solution.covariance)), df, np.nan)
    controls = {
        name: (float(coefficients[s + i]), float(solution.covariance[s + i, s + i] ** 0.5))
        for i, name in enumerate(table.control_names)
    }
    known = _adjustment(solution, s)
    return Fit(
        response=data.response.name,
        unit=data.response.unit,
        per=data.response.per,
        scale=job.scale,
        coding=job.coding,
        model=job.model,
        columns=table.columns,
        coefficients=coefficients[:s],
        covariance=solution.covariance[:s, :s],
        coefficient_df=df[:s],
        components=dict(zip(solution.names, map(float, solution.components), strict=True)),
        component_df=dict(zip(solution.names, map(float, solution.component_df), strict=True)),
        block_effects=block_effects(table, solution.solved),
        control_means=controls,
        with_controls=_with_controls(table, solution, df),
        n=len(data),
        runs=data.run,
        repeats=int(np.floor(np.median([len(run) for run in data.repeats]) + 0.5)),
        method="reml",
        adjustment=known,
        drift=slope_in(table, coefficients, solution.covariance, df, data.drift_middle),
        by_reading=job.strata.by_reading,
    )


def _with_controls(table: FitTable, solution: MixedSolution, df: FloatArray) -> WithControls | None:
    names = table.control_names
    size = len(table.columns) + len(names)
    if not names:
        return None
    return WithControls(
        names=names,
        estimates=solution.solved.coefficients[:size],
        covariance=solution.covariance[:size, :size],
        estimate_df=df[:size],
        adjustment=_adjustment(solution, size),
    )


def _adjustment(solution: MixedSolution, size: int) -> KenwardRoger:
    """Take the adjustment of the first coefficients; NaN where it hangs on an untold component."""
    known = solution.adjustment.take(size)
    lost = np.isnan(solution.covariance[:size, :size])
    return replace(known, unadjusted=np.where(lost, np.nan, known.unadjusted))

"""Fit one response: from its data to a fit, its assessment and what to make of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.fits.assessing import assess, block_effects
from analysis.fits.assessment import Assessment, BoxCox
from analysis.fits.blocks import blocks_to_fit
from analysis.fits.box_cox import automatic_scale, box_cox
from analysis.fits.drift_values import DriftCorrection
from analysis.fits.estimable import labels_of, refuse_too_large, surface_columns
from analysis.fits.findings import findings_of
from analysis.fits.fit import Fit, Scale
from analysis.fits.fit_table import FitTable
from analysis.fits.forms.values import FormComparison
from analysis.fits.least_squares import (
    DependentColumnsError,
    LeastSquares,
    of_constant,
    solve_least_squares,
)
from analysis.fits.mixed_response import (
    MixedJob,
    box_cox_in_strata,
    fit_in_strata,
    not_in_strata,
    rows_in_strata,
)
from analysis.fits.no_scatter import has_no_scatter, without_rounding
from analysis.fits.order_slope import less_middle, slope_in
from analysis.fits.readings_on_scale import averaged, log_jacobian, repeat_findings
from analysis.fits.reduction import Reduction
from analysis.fits.scales import scale_of
from analysis.fits.strata_of_data import strata_of_data
from analysis.fits.with_controls import WithControls
from analysis.lab.response_data import ResponseData, in_words
from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.information import condition_of, vif
from doe.model.matrix import model_columns
from doe.model.terms import Model, drop_terms, make_model
from doe.study.finding import Finding
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedResponse:
    """A response with its model and all that is known of it.

    Attributes:
        fit: The model in use.
        assessment: Its checks.
        findings: What the reader should know of it.
        reduction: The full model beside it, where terms were left out or tried to leave out.
        form: Forms of one factor beside the polynomial, where one is in use or was looked for.
        drift: The fit without correction beside it, where a drift is corrected for.
    """

    fit: Fit
    assessment: Assessment
    findings: tuple[Finding, ...]
    reduction: Reduction | None = None
    form: FormComparison | None = None
    drift: DriftCorrection | None = None

    @property
    def varies(self) -> bool:
        """Whether the readings differ at all."""
        return not any(r.source == "total" and r.df > 0 >= r.ss for r in self.assessment.anova)


def fit_response(
    data: ResponseData,
    coding: Coding,
    *,
    model: str | Model,
    drop: Sequence[str] = (),
    scale: Scale | None = None,
    level: float = 0.95,
) -> FittedResponse:
    """Fit a response: by REML where runs share a random stratum, else by least squares.

    Args:
        data: The response over its runs.
        coding: Coding of the settings.
        model: Name of the model, or its terms.
        drop: Terms to leave out, as a user writes them.
        scale: The scale to fit on; None takes the brief's, and for `auto` lets the data choose
            among as read, logarithm, square root and, where none of these suits, a power.
        level: Confidence of intervals, 0..1.

    Returns:
        The fit and its assessment. With as many coefficients as runs there are coefficients but no
        standard errors.

    Raises:
        FitError: Nothing to fit, a scale that cannot take the readings, or a model that the runs
            cannot carry.
    """
    _refuse_unfit(data)
    wanted = make_model(model, coding) if isinstance(model, str) else model
    wanted, drop_findings = drop_terms(wanted, drop, coding)
    table, blocks, block_findings = table_of(data, coding, wanted)
    solved = _solve(table, data, coding, wanted)
    strata = strata_of_data(data)
    rows = rows_in_strata(table, solved, strata)
    if rows is not None:
        power = box_cox_in_strata(data, rows, strata, solved.df, level)
        chosen, scale_findings = _scale(data, scale, power)
        job = MixedJob(
            data=data, coding=coding, model=wanted, scale=chosen, strata=strata, table=rows,
            blocks=blocks, level=level,
        )  # fmt: skip
        said = (*data.findings, *drop_findings, *scale_findings, *block_findings)
        said += strata.findings
        mixed = fit_in_strata(job, power)
        if mixed is not None:
            fit, assessment, more = mixed
            return FittedResponse(fit=fit, assessment=assessment, findings=said + more)
    power = None
    if not has_no_scatter(solved):
        power = box_cox(data.repeats, solved.basis, solved.df, level=level)
    chosen, scale_findings = _scale(data, scale, power)
    table = _on_scale(table, averaged(data, chosen))
    solved = solve_least_squares(table.matrix, table.y)
    if table.is_constant:
        solved = of_constant(solved, table.matrix, np.array(table.is_planned))
    elif solved.rss == 0.0:
        # No scatter, or as many coefficients as runs.
        solved = without_rounding(solved, table.matrix, table.y)
    planned = data.actual.values[np.array(table.is_planned)]
    assessment = assess(
        table,
        solved,
        data,
        coding,
        level=level,
        log_jacobian=log_jacobian(data, chosen),
        box_cox=power,
        blocks=blocks,
        vif=vif(planned, coding, wanted),
        condition=_condition(condition_of(planned, coding, wanted)[1], solved),
    )
    fit = _fit(data, coding, wanted, chosen, table, solved)
    said = (*data.findings, *drop_findings, *scale_findings, *block_findings)
    said += (*strata.findings, *not_in_strata(strata, solved), *repeat_findings(data.repeats))
    return FittedResponse(
        fit=fit, assessment=assessment, findings=said + findings_of(fit, assessment, data)
    )


def _refuse_unfit(data: ResponseData) -> None:
    where = f"response '{data.response.name}'"
    if all(name is not None for name in data.control):
        waiting = in_words("run", data.pending) + " still waiting" if data.pending else ""
        raise FitError(
            "there is no run of the plan with a reading that can be fitted",
            where=where,
            allowed="readings of at least as many runs as the model has coefficients",
            do=f"Enter readings first{'; ' + waiting if waiting else ''}.",
        )


def table_of(
    data: ResponseData, coding: Coding, model: Model
) -> tuple[FitTable, str, tuple[Finding, ...]]:
    """Lay out the runs for a model: columns, blocks, what the blocks are, findings on them.

    The values are plain means of the repeats, to be replaced by those of the fitted scale.
    """
    surface = surface_columns(data.actual.values, data.control, coding, model)
    labels = labels_of(model, coding)
    n_controls = len({name for name in data.control if name is not None})
    drift = less_middle(data.order, data.drift_middle)
    n_beside = n_controls + (drift is not None)
    blocks = blocks_to_fit(data, surface, labels, n_beside)
    table = FitTable(
        run=data.run,
        y=np.array([np.mean(run) for run in data.repeats]),
        surface=surface,
        columns=model_columns(model, coding),
        labels=labels,
        control=data.control,
        block=blocks.of,
        drift=drift,
    )
    return table, blocks.name, blocks.findings


def _on_scale(table: FitTable, y: FloatArray) -> FitTable:
    return replace(table, y=y)


def _solve(table: FitTable, data: ResponseData, coding: Coding, model: Model) -> LeastSquares:
    try:
        return solve_least_squares(table.matrix, table.y)
    except DependentColumnsError as error:
        raise refuse_too_large(
            error, table, data.actual.values, coding, model, data.response.name
        ) from error


def _scale(
    data: ResponseData, scale: Scale | None, power: BoxCox | None
) -> tuple[Scale, tuple[Finding, ...]]:
    if scale is not None:
        return scale, ()
    if data.response.scale != "auto":
        return scale_of(data.response), ()
    chosen = automatic_scale(power)
    evidence: dict[str, float | int | str] = {}
    if power is not None:
        evidence = {
            "best power": round(power.power, 3),
            "from": round(power.interval[0], 3),
            "to": round(power.interval[1], 3),
        }
    name = "as read" if chosen.name == "identity" else f"on the {_scale_name(chosen)} scale"
    why = (
        "the data chose the scale by the likelihood of its power"
        if power is not None
        else "values at or below zero, too few runs, or readings without scatter leave no choice"
    )
    return chosen, (
        Finding(
            level="note",
            what=f"'{data.response.name}' is fitted {name}: {why}.",
            evidence=evidence,
            advice="Write the scale into the brief, so that later readings do not change it.",
            source="Box and Cox (1964), J. R. Stat. Soc. B 26, 211-252",
        ),
    )


def _scale_name(scale: Scale) -> str:
    return f"power {scale.power:g}" if scale.name == "power" else scale.name


def _condition(of_model: float, solved: LeastSquares) -> float:
    # Where planning calls terms tied, the fit found digits enough to tell them apart.
    return of_model if np.isfinite(of_model) else solved.condition


def _with_controls(
    table: FitTable, solved: LeastSquares, covariance: FloatArray
) -> WithControls | None:
    names = table.control_names
    size = len(table.columns) + len(names)
    if not names:
        return None
    return WithControls(
        names=names,
        estimates=solved.coefficients[:size],
        covariance=covariance[:size, :size],
        estimate_df=np.full(size, float(solved.df)),
    )


def _fit(
    data: ResponseData,
    coding: Coding,
    model: Model,
    scale: Scale,
    table: FitTable,
    solved: LeastSquares,
) -> Fit:
    s = len(table.columns)
    covariance = solved.covariance
    if has_no_scatter(solved):
        covariance = np.full_like(covariance, np.nan)
    controls = {
        name: (float(solved.coefficients[s + i]), float(covariance[s + i, s + i] ** 0.5))
        for i, name in enumerate(table.control_names)
    }
    df = np.full(len(solved.coefficients), float(solved.df))
    return Fit(
        response=data.response.name,
        unit=data.response.unit,
        per=data.response.per,
        scale=scale,
        coding=coding,
        model=model,
        columns=table.columns,
        coefficients=solved.coefficients[:s],
        covariance=covariance[:s, :s],
        coefficient_df=df[:s],
        components={"residual": solved.residual_variance},
        component_df={"residual": float(solved.df)},
        block_effects=block_effects(table, solved),
        control_means=controls,
        with_controls=_with_controls(table, solved, covariance),
        drift=slope_in(table, solved.coefficients, covariance, df, data.drift_middle),
        n=len(table.run),
        runs=table.run,
        repeats=int(np.floor(np.median([len(run) for run in data.repeats]) + 0.5)),
    )

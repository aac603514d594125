"""A response with readings off the scale, fitted with all that is known of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.fits.findings_on_runs import outlier_findings
from analysis.fits.fit import Fit, Scale
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.least_squares import DependentColumnsError
from analysis.fits.likelihood.all_off_scale import all_off_scale
from analysis.fits.likelihood.censored import (
    CensoredFit,
    CensoredRows,
    PerfectFitError,
    fit_censored,
)
from analysis.fits.likelihood.findings import common_findings, freedom_words, off_scale_words
from analysis.fits.likelihood.layout import Freedom, Layout, as_told, freedom_of, lay_out
from analysis.fits.likelihood.outcome import (
    Estimated,
    LikelihoodFacts,
    LikelihoodResponse,
    assess_likelihood,
    inflated,
    make_fit,
)
from analysis.fits.likelihood.outlying import outliers_on_scale
from analysis.fits.likelihood.row_forms import log_normal_between
from analysis.fits.readings_on_scale import averaged
from analysis.fits.scales import allowed_values, forward, log_slope, scale_of, scale_words
from analysis.lab.response_data import ResponseData
from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.terms import Model
from doe.study.finding import Finding
from doe.study.settings import BoolArray, FloatArray

# A coefficient whose part in an endless direction is less takes no part in it.
_TAKES_PART = 1e-6


def fit_off_scale(
    data: ResponseData,
    coding: Coding,
    *,
    model: str | Model,
    drop: Sequence[str] = (),
    scale: Scale | None = None,
    level: float = 0.95,
) -> LikelihoodResponse:
    """Fit a response by maximum likelihood, readings off the scale by their ends.

    Args:
        data: The response, with `whole`.
        coding: The settings.
        model: Name or terms.
        drop: Terms to leave out.
        scale: See `fit_response`; `auto` lets the readings on the scale choose.
        level: Confidence of intervals.

    Raises:
        FitError: The readings tell nothing, or cannot carry the model.
    """
    if data.whole is None:
        raise ValueError("no reading is off the scale")
    whole = replace(data.whole, response=data.response)
    beside = _left_out(data, coding, model, drop, scale, level)
    chosen = scale or (beside.fit.scale if beside else _scale(data))
    layout = lay_out(whole, coding, model, drop)
    rows, of_run = _rows(layout, data, chosen)
    _refuse_one_sided(layout, rows)
    try:
        found = fit_censored(rows)
    except (PerfectFitError, DependentColumnsError) as error:
        raise _too_large(layout, rows) from error
    counted = freedom_of(layout.table.matrix, layout.batch)
    freedom = _freedom(counted, rows, found, layout.table.matrix.shape[1])
    estimated = _estimated(layout, rows, of_run, found, freedom, chosen)
    fit = make_fit(layout, estimated)
    facts = _facts(layout, found, estimated, beside.fit if beside else None)
    is_read = np.ones(len(layout.table.run), dtype=np.bool_)
    is_read[[of_run[i] for i in np.flatnonzero(~rows.is_exact)]] = False
    outliers, limit = outliers_on_scale(layout, estimated, is_read)
    assessment = replace(
        assess_likelihood(layout, estimated, level), outliers=outliers, outlier_limit=limit
    )
    findings = (
        *_without_left_out(data.findings, whole),
        *layout.findings,
        *common_findings(layout, fit, facts, freedom),
        *off_scale_words(layout, fit, facts),
        *freedom_words(fit, freedom, counted, _bounded(rows)),
        *outlier_findings(assessment),
    )
    return LikelihoodResponse(fit=fit, assessment=assessment, findings=findings, facts=facts)


def _left_out(
    data: ResponseData,
    coding: Coding,
    model: str | Model,
    drop: Sequence[str],
    scale: Scale | None,
    level: float,
) -> FittedResponse | None:
    """Fit the runs on the scale alone, as what would mislead; None where they cannot be fitted."""
    try:
        return fit_response(data, coding, model=model, drop=drop, scale=scale, level=level)
    except FitError:
        return None


def _scale(data: ResponseData) -> Scale:
    return Scale() if data.response.scale == "auto" else scale_of(data.response)


def _without_left_out(findings: tuple[Finding, ...], whole: ResponseData) -> tuple[Finding, ...]:
    """Take out what only holds for a fit that leaves runs off the scale out."""
    start = f"Readings of '{whole.response.name}' off the scale are left out"
    return tuple(one for one in findings if not one.what.startswith(start))


def _rows(layout: Layout, data: ResponseData, scale: Scale) -> tuple[CensoredRows, tuple[int, ...]]:
    averaged(data, scale)
    whole = layout.data
    low, high, weight, of_run = [], [], [], []
    for i, run in enumerate(whole.run):
        if run not in whole.ends:
            z = float(forward(scale, np.array(whole.repeats[i])).mean())
            pairs: list[tuple[float, float]] = [(z, z)]
        else:
            pairs = [_ends(pair, scale, whole, run) for pair in whole.ends[run]]
        for pair in pairs:
            low.append(pair[0])
            high.append(pair[1])
            # A run counts once: its readings share it.
            weight.append(1.0 / len(pairs))
            of_run.append(i)
    batch = None if layout.batch is None else tuple(layout.batch[i] for i in of_run)
    rows = CensoredRows(
        design=layout.table.matrix[of_run],
        low=np.array(low),
        high=np.array(high),
        weight=np.array(weight),
        batch=batch,
    )
    return rows, tuple(of_run)


def _ends(
    pair: tuple[float, float], scale: Scale, data: ResponseData, run: int
) -> tuple[float, float]:
    """Take the ends of one reading to the fitted scale; below its lower end nothing is known."""
    taken = []
    for end, open_end in zip(pair, (-np.inf, np.inf), strict=True):
        if np.isinf(end):
            taken.append(float(end))
        elif allowed_values(scale, np.array([end]))[0]:
            taken.append(float(forward(scale, np.array([end]))[0]))
        else:
            taken.append(float(open_end))
    if np.isneginf(taken[0]) and np.isposinf(taken[1]):
        raise FitError(
            f"the scale '{scale_words(scale)}' cannot take the reading of run {run} "
            f"({pair[0]:g} to {pair[1]:g})",
            where=f"response '{data.response.name}'",
            allowed="ends that the scale can take",
            do="Correct or exclude the reading, or fit the response as read (scale 'identity').",
        )
    return taken[0], taken[1]


def _refuse_one_sided(layout: Layout, rows: CensoredRows) -> None:
    above, below = np.isposinf(rows.high), np.isneginf(rows.low)
    if above.all() or below.all():
        raise FitError(
            all_off_scale(layout.data, above=bool(above.all())),
            where=f"response '{layout.data.response.name}'",
            allowed="some readings on the scale",
            do="Dilute the samples or change the geometry, or move the ranges to where it reads.",
        )


def _too_large(layout: Layout, rows: CensoredRows) -> FitError:
    read, p = int(rows.is_exact.sum()), layout.table.matrix.shape[1]
    return FitError(
        f"the {layout.model.name} model has {p} coefficients; the {read} readings on the scale "
        f"with the {len(rows.low) - read} off it leave nothing to tell the scatter by",
        where=f"response '{layout.data.response.name}'",
        allowed="more readings on the scale than coefficients",
        do="Fit a smaller model, or measure the runs off the scale another way.",
    )


def _bounded(rows: CensoredRows) -> BoolArray:
    """Tell the rows that lie on the scale: read, or between two ends."""
    on_scale: BoolArray = np.isfinite(rows.low) & np.isfinite(rows.high)
    return on_scale


def _freedom(counted: Freedom, rows: CensoredRows, found: CensoredFit, p: int) -> Freedom:
    """Lower the degrees of freedom to what the readings tell."""
    on_scale = _bounded(rows)
    batches = () if rows.batch is None else rows.batch
    telling = {name for name, told in zip(batches, on_scale, strict=False) if told}
    # 2σ⁴/var(σ²) with var(σ²) = 4σ⁴ var(ln σ).
    told = 0.5 / max(float(found.covariance[p, p]), 1e-300)
    return as_told(counted, told, len(telling), whole=bool(rows.is_exact.all()))


def _estimated(
    layout: Layout,
    rows: CensoredRows,
    of_run: Sequence[int],
    found: CensoredFit,
    freedom: Freedom,
    scale: Scale,
) -> Estimated:
    p = len(found.coefficients)
    covariance = inflated(found.covariance[:p, :p], freedom)
    sd = found.sd * freedom.within[1] ** 0.5
    components = {"residual": sd**2}
    component_df = {"residual": freedom.within[0]}
    if found.batch_sd is not None and freedom.of_batches is not None:
        df, by = freedom.of_batches
        components = {"batch": by * found.batch_sd**2, **components}
        component_df = {"batch": _batch_df(found, df), **component_df}
    expected = _expected(rows, found)
    n = len(layout.table.run)
    share = np.zeros((n, len(of_run)))
    share[list(of_run), range(len(of_run))] = rows.weight
    return Estimated(
        family="censored",
        scale=scale,
        coefficients=found.coefficients,
        covariance=covariance,
        robust=None if found.robust is None else found.robust[:p, :p],
        df=freedom.df,
        components=components,
        component_df=component_df,
        log_likelihood=found.log_likelihood + _jacobian(layout, scale),
        parameters=p + 1 + int(found.batch_sd is not None),
        observed=share @ rows.stand_in,
        residual=share @ (expected - rows.design @ found.coefficients),
    )


def _batch_df(found: CensoredFit, df: float) -> float:
    if not found.batch_sd or not found.maximum.has_spread:
        return df
    told = found.batch_sd**2 / (2.0 * float(found.covariance[-1, -1]))
    return float(np.nanmin([max(told, 1.0), df]))


def _expected(rows: CensoredRows, found: CensoredFit) -> FloatArray:
    """Give each row as read, or the mean of what it may be between its ends.

    Source:
        Generalised residuals: Gourieroux, Monfort, Renault and Trognon (1987), J. Econometrics 34,
        5-32. The whole scatter about the surface counts, that of batches with it.
    """
    mean = rows.design @ found.coefficients
    sd = float(np.hypot(found.sd, found.batch_sd or 0.0))
    a, b = (rows.low - mean) / sd, (rows.high - mean) / sd
    with np.errstate(invalid="ignore"):
        log_p = log_normal_between(a, b)
        slope = np.exp(-(a**2) / 2 - log_p) - np.exp(-(b**2) / 2 - log_p)
    between = mean + sd * slope / np.sqrt(2.0 * np.pi)
    expected: FloatArray = np.where(rows.is_exact, rows.low, between)
    return expected


def _jacobian(layout: Layout, scale: Scale) -> float:
    whole = layout.data
    read = [r for run, r in zip(whole.run, whole.repeats, strict=True) if run not in whole.ends]
    return float(sum(log_slope(scale, np.array(run)).mean() for run in read))


def _facts(
    layout: Layout, found: CensoredFit, estimated: Estimated, left_out: Fit | None
) -> LikelihoodFacts:
    whole, s = layout.data, layout.n_surface
    robust = () if estimated.robust is None else np.sqrt(np.diag(estimated.robust)[:s])
    direction = found.runs_off
    labels = layout.table.all_labels
    held: tuple[str, ...] = ()
    if direction is not None:
        most = np.abs(direction).max()
        held = tuple(
            label
            for label, part in zip(labels, direction, strict=True)
            if abs(part) > _TAKES_PART * most and label != "intercept"
        )
    return LikelihoodFacts(
        log_likelihood=estimated.log_likelihood,
        nodes=found.maximum.nodes,
        robust_errors=tuple(map(float, robust)),
        clusters=len(found.maximum.evaluation.scores),
        off_scale=whole.ends,
        flags={run: str(flag) for run, flag in whole.off_scale.items() if run in whole.ends},
        held=held,
        left_out=left_out,
    )

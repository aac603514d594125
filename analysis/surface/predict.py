"""Predictions from a fit: the value, where the true value lies, where one new run lies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import stats

from analysis.fits.contrasts import contrast_df, run_variance_df
from analysis.fits.fit import Fit
from analysis.fits.scales import forward, inverse, log_slope
from analysis.surface.exact import COMPUTED, ExactResponse, Surface
from analysis.surface.noise import Production
from analysis.surface.prediction import Prediction
from doe.model.coding import Coding, NumericAxis, ShareAxis
from doe.model.matrix import model_matrix
from doe.model.region import Region
from doe.study.settings import BoolArray, FloatArray

# Settings are typed with few digits, shares re-scaled: an edge met to one part in 10^9 is met.
EDGE_TOLERANCE = 1e-9
# Strata that "a new batch", "a new day" and the mean of some readings speak of already.
_COVERED = ("day", "batch", "sample", "panel", "run", "residual")


def predict_response(
    fit: Surface, values: FloatArray, *, region: Region | None = None, level: float = 0.95
) -> Prediction:
    """Predict one response at many settings.

    Args:
        fit: The fitted model, or the response that the recipe gives.
        values: Shape (n, k), lab units, columns as in `fit.coding`; a choice as its level index.
        region: Settings the brief allows, to tell interpolation from extrapolation; without it
            the ranges of the coding are used.
        level: Confidence of both intervals, 0..1.

    Returns:
        Value on the response's own scale, mean on the identity scale and median otherwise.
        Intervals are NaN where the fit has no covariance (as many terms as runs), and of no width
        where the response is computed.

    Source:
        Variance of a future run x'Φx + Σ σ² and its degrees of freedom after Satterthwaite
        (1946), Biometrics Bulletin 2, 110-114.
    """
    if isinstance(fit, ExactResponse):
        return _exact(fit, fit.values(values), _inside(fit.coding, values, region), level)
    rows = model_matrix(values, fit.coding, fit.model)
    return _prediction(
        fit, rows, rows @ fit.coefficients, _inside(fit.coding, values, region), level
    )


def predict_rows(fit: Fit, rows: FloatArray, *, level: float = 0.95) -> Prediction:
    """Predict from rows of the model matrix, shape (n, p), such as means over levels.

    Nothing is known of the region there: `inside` is NaN.
    """
    prediction = _prediction(
        fit, rows, rows @ fit.coefficients, np.ones(len(rows), dtype=np.bool_), level
    )
    return replace(prediction, inside=np.full(len(rows), np.nan))


def predict_values(
    fit: Surface, values: FloatArray, production: Production | None = None
) -> FloatArray:
    """Predict values alone, averaged over production: (n, k) to (n,), response unit.

    Fast enough for grids and searches; the same numbers as `predict_averaged`.
    """
    if isinstance(fit, ExactResponse):
        return _averaged_exact(fit, values, production)
    if production is None or not production.columns:
        rows = model_matrix(values, fit.coding, fit.model)
        return inverse(fit.scale, rows @ fit.coefficients)
    rows = model_matrix(production.spread(values), fit.coding, fit.model)
    return production.averaged(inverse(fit.scale, rows @ fit.coefficients))


def predict_averaged(
    fit: Surface,
    values: FloatArray,
    production: Production,
    *,
    region: Region | None = None,
    level: float = 0.95,
) -> Prediction:
    """Predict one response at many settings, averaged over the production of noise factors.

    Args:
        fit: The fitted model.
        values: Shape (n, k), lab units; entries of noise factors are not looked at.
        production: Where the noise factors lie.
        region: See `predict_response`; noise factors are held at their mean.
        level: Confidence of both intervals, 0..1.

    Returns:
        The mean over production of the value. Intervals on a transformed scale carry the
        uncertainty of that mean to first order. The run interval is for one run at the settings:
        it does not hold the drift of the noise factors themselves.
    """
    if not production.columns:
        return predict_response(fit, values, region=region, level=level)
    held = _held(values, production)
    if isinstance(fit, ExactResponse):
        inside = _inside(fit.coding, held, region)
        return _exact(fit, _averaged_exact(fit, values, production), inside, level)
    mean_rows, centre = averaged_rows(fit, values, production)
    prediction = _prediction(fit, mean_rows, centre, _inside(fit.coding, held, region), level)
    drifting = ", ".join(fit.coding.names[j] for j in production.columns)
    words = f"{prediction.predict_for}, averaged over production of {drifting}"
    return replace(prediction, predict_for=words)


def averaged_rows(
    fit: Fit, values: FloatArray, production: Production
) -> tuple[FloatArray, FloatArray]:
    """Give what a value hangs on, averaged over production: its slopes and where it lies.

    Args:
        fit: The fitted model.
        values: Shape (n, k), lab units.
        production: Where the noise factors lie; without any, rows of the model matrix are given.

    Returns:
        Slopes along the coefficients, shape (n, p), to first order on a transformed scale, and the
        value on the fitted scale, shape (n,).
    """
    rows = model_matrix(production.spread(values), fit.coding, fit.model)
    if not production.columns:
        return rows, rows @ fit.coefficients
    spread = inverse(fit.scale, rows @ fit.coefficients)
    value = production.averaged(spread)
    # Slope of the mean on the fitted scale: weights dy/dz at the points over dy/dz at the mean.
    steep = np.exp(np.repeat(log_slope(fit.scale, value), len(production.weights)))
    pull = np.exp(-log_slope(fit.scale, spread)) * steep
    return production.averaged(rows * pull[:, None]), forward(fit.scale, value)


def _held(values: FloatArray, production: Production) -> FloatArray:
    """Put noise factors at their production mean; a choice, and what is lacking, stay."""
    held = values.copy()
    for column, mean in zip(production.columns, production.means, strict=True):
        if not np.isnan(mean):
            held[:, column] = np.where(np.isnan(held[:, column]), np.nan, mean)
    return held


def _averaged_exact(
    fit: ExactResponse, values: FloatArray, production: Production | None
) -> FloatArray:
    if production is None or not production.columns:
        return fit.values(values)
    return production.averaged(fit.values(production.spread(values)))


def _exact(fit: ExactResponse, value: FloatArray, inside: BoolArray, level: float) -> Prediction:
    """Predict what is computed: intervals of no width."""
    interval = np.stack([value, value], axis=1)
    return Prediction(
        response=fit.response,
        unit=fit.unit,
        value=value,
        value_is=fit.scale.value_is,
        mean_interval=interval,
        run_interval=interval,
        predict_for=COMPUTED,
        level=level,
        inside=inside.astype(np.float64),
    )


def _prediction(
    fit: Fit, rows: FloatArray, centre: FloatArray, inside: BoolArray, level: float
) -> Prediction:
    """Predict from rows (n, p) of the model matrix and values (n,) on the fitted scale."""
    mean_variance = np.einsum("np,pq,nq->n", rows, fit.covariance, rows)
    run_variance = mean_variance + fit.new_run_variance
    df_of_mean = mean_df(fit, rows)
    run_df = _run_df(fit, rows, mean_variance, df_of_mean)
    one_run = _interval(fit, centre, run_variance, run_df, level)
    if fit.counts is not None:
        one_run = fit.counts.interval(centre, run_variance, level)
    return Prediction(
        response=fit.response,
        unit=fit.unit,
        value=inverse(fit.scale, centre),
        value_is=fit.value_is,
        mean_interval=_interval(fit, centre, mean_variance, df_of_mean, level),
        run_interval=one_run,
        predict_for=future_run(fit),
        level=level,
        inside=inside.astype(np.float64),
    )


def future_run(fit: Fit) -> str:
    """Say what the run interval is for: one new run, and which strata are new with it."""
    words = "one new run in a new batch"
    if fit.classes is not None:
        words = "the probability in a new batch"
    if "day" in fit.components:
        words += ", on a new day"
    others = [name for name in fit.components if name not in _COVERED]
    words += "".join(f", with a new {name}" for name in others)
    if fit.repeats > 1:
        words += f", the mean of {fit.repeats} readings"
    if fit.block_effects:
        words += ", for the blocks of this study"
    return words


def _interval(
    fit: Fit, centre: FloatArray, variance: FloatArray, df: FloatArray, level: float
) -> FloatArray:
    half_width = stats.t.ppf(0.5 + level / 2.0, df) * np.sqrt(variance)
    ends = np.stack([centre - half_width, centre + half_width], axis=1)
    if fit.scale.name == "square root":
        # Below zero a root stands for no value at all, so an interval wholly there says nothing.
        ends[ends[:, 1] <= 0.0] = np.nan
    return inverse(fit.scale, ends)


def mean_df(fit: Fit, rows: FloatArray) -> FloatArray:
    """Give the degrees of freedom of x'b, shape (n,); NaN where there are none.

    By Kenward and Roger where there are strata. Where the coefficients differ in theirs for another
    reason, their harmonic mean, weighted by what each coefficient adds to the variance.
    """
    shared = fit.coefficient_df[0]
    if fit.adjustment is not None or fit.method == "ml" or np.all(fit.coefficient_df == shared):
        return contrast_df(fit, rows)
    parts = np.abs(rows * (rows @ fit.covariance))
    combined: FloatArray = parts.sum(axis=1) / (parts / fit.coefficient_df).sum(axis=1)
    return combined


def _run_df(
    fit: Fit, rows: FloatArray, mean_variance: FloatArray, df_of_mean: FloatArray
) -> FloatArray:
    """Degrees of freedom of the total variance of one new run."""
    if fit.adjustment is not None:
        return run_variance_df(fit, rows)
    if len(fit.components) == 1:
        # One stratum: x'Φx is a multiple of σ², so the total is known as well as σ² is.
        df = fit.component_df["residual"]
        return np.full(len(mean_variance), df if df > 0 else np.nan)
    total = mean_variance + fit.new_run_variance
    spread = mean_variance**2 / df_of_mean
    for stage, variance in fit.components.items():
        if variance > 0.0:
            spread = spread + variance**2 / fit.component_df[stage]
    with np.errstate(divide="ignore"):
        # Without end where no variance was estimated, as for ratings and counts.
        run_df: FloatArray = total**2 / spread
    return run_df


def _inside(coding: Coding, values: FloatArray, region: Region | None) -> BoolArray:
    if region is not None:
        return region.contains(values, EDGE_TOLERANCE)
    inside = np.ones(len(values), dtype=np.bool_)
    for column, axis in zip(values.T, coding.axes, strict=True):
        if isinstance(axis, NumericAxis | ShareAxis):
            slack = EDGE_TOLERANCE * (axis.high - axis.low)
            inside &= ~((column < axis.low - slack) | (column > axis.high + slack))
    return inside

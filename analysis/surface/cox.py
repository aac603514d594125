"""What each additive does along Cox's direction: the trace and the effect, with its error.

Source:
    Cox (1971), Biometrika 58, 155-159 [memory]; effects over each share's own range: Piepel
    (1982), Technometrics 24, 29-39 [memory]. For a linear blend model the slope of share i at a
    reference s is (βᵢ − Σ sⱼβⱼ) / (1 − sᵢ).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.fits.fit import Fit
from analysis.fits.scales import inverse, log_slope
from analysis.surface.lines import inside_region, moved, reach_along
from analysis.surface.noise import NO_NOISE, Production
from analysis.surface.predict import mean_df, predict_rows
from doe.model.coding import ShareAxis
from doe.model.matrix import model_matrix
from doe.model.region import Region
from doe.study.settings import BoolArray, FloatArray, frozen_array

POINTS = 41
# Half the width of the difference that gives a slope, as a part of a share; quadratics are exact.
NEAR = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoxTrace:
    """One response along the direction of one additive, the others keeping their ratios.

    Attributes:
        response: Name of the response.
        unit: Its unit.
        additive: What moves.
        reference: Its share in the reference blend.
        share: Shape (g,), its share, over what the region allows.
        value: Shape (g,), response unit.
        low: Shape (g,), lower end of the mean interval.
        high: Shape (g,), upper end.
        inside: Shape (g,), whether the settings lie in the region.
        change: Value at the high end of its range minus that at the low end, response unit.
        change_error: Standard error of it; on a transformed scale to first order.
        change_interval: Where it lies, at `level`.
        slope: Slope at the reference, fitted scale per unit of share.
        slope_error: Standard error of it.
        p: Two-sided p of no slope at the reference; NaN where there is no error.
        level: Confidence, 0..1.
    """

    response: str
    unit: str
    additive: str
    reference: float
    share: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    inside: BoolArray
    change: float
    change_error: float
    change_interval: tuple[float, float]
    slope: float
    slope_error: float
    p: float
    level: float

    def __post_init__(self) -> None:
        for name in ("share", "value", "low", "high"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def cox_traces(
    fit: Fit,
    region: Region,
    reference: FloatArray,
    *,
    production: Production = NO_NOISE,
    points: int = POINTS,
    level: float = 0.95,
) -> tuple[CoxTrace, ...]:
    """Trace a response along every additive from a reference blend.

    Args:
        fit: The model.
        region: The region; each share runs as far as it allows.
        reference: Shape (k,), lab units, inside the region: the blend, and all else held.
        production: Noise factors, held at their production mean.
        points: Places along each range.
        level: Confidence of bands and intervals, 0..1.

    Returns:
        One trace an additive that can move, in the study's order; none without a package.
    """
    traces = []
    base = at_production_mean(reference, production)
    for j, axis in enumerate(fit.coding.axes):
        reach = reach_along(region, base, j) if isinstance(axis, ShareAxis) else None
        if reach is not None and reach.high > reach.low:
            share = np.linspace(reach.low, reach.high, points)
            traces.append(_trace(fit, region, base, j, share, production.columns, level))
    return tuple(traces)


def at_production_mean(row: FloatArray, production: Production) -> FloatArray:
    """Put the noise factors of a recipe, shape (k,), at their production mean; choices stay."""
    held = row.copy()
    for column, mean in zip(production.columns, production.means, strict=True):
        if not np.isnan(mean) and not np.isnan(held[column]):
            held[column] = mean
    return held


def _trace(
    fit: Fit,
    region: Region,
    base: FloatArray,
    j: int,
    share: FloatArray,
    noise: tuple[int, ...],
    level: float,
) -> CoxTrace:
    settings = moved(fit.coding, base, j, share)
    rows = model_matrix(settings, fit.coding, fit.model)
    prediction = predict_rows(fit, rows, level=level)
    # Δy = y₁ − y₀ with slopes dy/dz at both ends: on the fitted scale itself they are 1.
    steep = np.exp(-log_slope(fit.scale, inverse(fit.scale, rows[[0, -1]] @ fit.coefficients)))
    contrast = steep[1] * rows[-1] - steep[0] * rows[0]
    change = float(prediction.value[-1] - prediction.value[0])
    error, half = _error_and_half(fit, contrast, level)
    slope_row = _slope_row(fit, base, j)
    slope = float(slope_row @ fit.coefficients)
    slope_error, _ = _error_and_half(fit, slope_row, level)
    t = abs(slope) / slope_error if slope_error > 0.0 else np.nan
    df = float(mean_df(fit, slope_row[None, :])[0]) if slope_error > 0.0 else np.nan
    return CoxTrace(
        response=fit.response, unit=fit.unit, additive=fit.coding.names[j],
        reference=float(base[j]), share=share, value=prediction.value,
        low=prediction.mean_interval[:, 0], high=prediction.mean_interval[:, 1],
        inside=inside_region(region, settings, noise), change=change, change_error=error,
        change_interval=(change - half, change + half), slope=slope, slope_error=slope_error,
        p=2.0 * float(stats.t.sf(t, df)), level=level,
    )  # fmt: skip


def _slope_row(fit: Fit, base: FloatArray, j: int) -> FloatArray:
    """Give the model row of the slope at the reference, per unit of share, shape (p,)."""
    ends = moved(fit.coding, base, j, base[j] + np.array([-NEAR, NEAR]))
    rows = model_matrix(ends, fit.coding, fit.model)
    slope: FloatArray = (rows[1] - rows[0]) / (2.0 * NEAR)
    return slope


def _error_and_half(fit: Fit, row: FloatArray, level: float) -> tuple[float, float]:
    """Give the standard error of row'β and half the width of its interval."""
    error = max(float(row @ fit.covariance @ row), 0.0) ** 0.5
    if not error > 0.0:
        return error, error
    df = float(mean_df(fit, row[None, :])[0])
    return error, float(stats.t.ppf(0.5 + level / 2.0, df)) * error

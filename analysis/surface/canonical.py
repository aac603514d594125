"""The canonical form of a second-order surface, with the errors of its bends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import stats

from analysis.surface.predict import mean_df
from analysis.surface.second_order import SecondOrder
from doe.study.settings import FloatArray, frozen_array

# Without errors (as many terms as runs) a bend below this part of the largest is called flat.
FLAT_PART = 1e-8

Bend = Literal["up", "down", "flat"]
Nature = Literal["maximum", "minimum", "saddle", "ridge", "flat", "plane"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CanonicalAxis:
    """One principal direction of a surface; fitted scale, coded units.

    Attributes:
        direction: Shape (m,), of length 1, coded.
        change: Shape (m,), what one coded unit along it changes: lab units, or for a log-spaced
            factor the ratio.
        curvature: Eigenvalue, per squared coded unit.
        std_error: Its standard error; NaN where there is none.
        df: Degrees of freedom of it.
        interval: Where it lies, at the level asked for.
        bend: up, down, or flat where the interval holds 0.
        slope: Slope along it in the middle of the ranges, per coded unit.
        slope_error: Standard error of that slope.
    """

    direction: FloatArray
    change: FloatArray
    curvature: float
    std_error: float
    df: float
    interval: tuple[float, float]
    bend: Bend
    slope: float
    slope_error: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "direction", frozen_array(self.direction))
        object.__setattr__(self, "change", frozen_array(self.change))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Canonical:
    """How a surface bends, told as surely as the runs allow.

    Attributes:
        names: The m factors.
        axes: Principal directions, curvature largest first.
        nature: What the directions together make, flat ones counted as flat: a ridge bends one
            way and is flat along the rest; flat is told to bend nowhere; plane has no bends.
        nearest: Shape (m,), coded: the place nearest to the middle with no slope along the
            directions that are told to bend; NaN where there are none.
        level: Confidence of the intervals, 0..1.
    """

    names: tuple[str, ...]
    axes: tuple[CanonicalAxis, ...]
    nature: Nature
    nearest: FloatArray
    level: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "nearest", frozen_array(self.nearest))


def canonical_form(form: SecondOrder, *, level: float = 0.95) -> Canonical:
    """Turn a surface to its principal directions and say how surely it bends along each.

    Args:
        form: The surface over the factors that move.
        level: Confidence of the intervals, 0..1.

    Returns:
        Errors to first order; directions of two bends that lie within their errors of each other
        may be turned into one another, and their errors are then too small.

    Source:
        Standard errors: the delta method, λ = v'Bv with v held, which is what a second regression
        on the turned axes gives: Bisgaard and Ankenman (1996), Technometrics 38, 238-246 [memory].
        Nearest place: the flat directions left out, Lenth (2009), Journal of Statistical Software
        32(7), section 6 (function `canonical`).
    """
    curvatures, vectors = np.linalg.eigh(form.curvature)
    order = np.argsort(-curvatures, kind="stable")
    largest = float(np.abs(curvatures).max(initial=0.0))
    axes = tuple(
        _axis(form, float(curvatures[i]), _signed(vectors[:, i]), largest, level) for i in order
    )
    told = [axis for axis in axes if axis.bend != "flat"]
    nearest = np.zeros(len(form.columns)) if told else np.full(len(form.columns), np.nan)
    for axis in told:
        nearest -= axis.direction * (axis.slope / (2.0 * axis.curvature))
    return Canonical(
        names=form.names, axes=axes, nature=_nature(form, axes), nearest=nearest, level=level
    )


def _axis(
    form: SecondOrder, curvature: float, v: FloatArray, largest: float, level: float
) -> CanonicalAxis:
    fit = form.fit
    # λ = v'Bv = a'β with a = Σ vᵢ vⱼ Hᵢⱼ; the slope in the middle is g'β with g = Σ vᵢ gᵢ.
    a, g = np.einsum("i,j,ijp->p", v, v, form.bends), v @ form.slopes
    error, slope_error = (float(np.sqrt(max(r @ fit.covariance @ r, 0.0))) for r in (a, g))
    df = float(mean_df(fit, a[None, :])[0]) if error > 0.0 else float("nan")
    half = float(stats.t.ppf(0.5 + level / 2.0, df)) * error if df > 0.0 else float("nan")
    within = abs(curvature) <= half if np.isfinite(half) else abs(curvature) <= FLAT_PART * largest
    return CanonicalAxis(
        direction=v,
        change=_lab_change(form, v),
        curvature=curvature,
        std_error=error if np.isfinite(half) else float("nan"),
        df=df,
        interval=(curvature - half, curvature + half),
        bend="flat" if within else "up" if curvature > 0.0 else "down",
        slope=float(g @ fit.coefficients),
        slope_error=slope_error,
    )


def _nature(form: SecondOrder, axes: tuple[CanonicalAxis, ...]) -> Nature:
    if form.is_plane or not axes:
        return "plane"
    bends = {axis.bend for axis in axes}
    if bends == {"flat"}:
        return "flat"
    if {"up", "down"} <= bends:
        return "saddle"
    if "flat" in bends:
        return "ridge"
    return "minimum" if "up" in bends else "maximum"


def _lab_change(form: SecondOrder, v: FloatArray) -> FloatArray:
    """Give what one coded unit along v does to each factor: a difference, or a ratio of logs."""
    places = form.settings(np.stack([np.zeros_like(v), v]))[:, list(form.columns)]
    logs = np.array([axis.spacing == "log" for axis in form.axes])
    with np.errstate(divide="ignore", invalid="ignore"):
        change: FloatArray = np.where(logs, places[1] / places[0], places[1] - places[0])
    return change


def _signed(v: FloatArray) -> FloatArray:
    """Turn a direction so that its largest part points up: a sign of its own it has not."""
    signed: FloatArray = v if v[int(np.argmax(np.abs(v).round(9)))] >= 0.0 else -v
    return signed

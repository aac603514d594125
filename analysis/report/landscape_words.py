"""The landscape of a surface in words: its nature, where it has no slope, where it is flat."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from analysis.report.rounding import error_text, interval_error, percent, plain, with_error
from analysis.surface.canonical import CanonicalAxis
from analysis.surface.directions import direction_words, levels_words
from analysis.surface.flat_ways import FlatWay
from analysis.surface.second_order import SecondOrder
from analysis.surface.survey import SurfaceLandscape, SurfaceShape
from doe.model.coding import Coding, NumericAxis, ShareAxis
from doe.study.sentence import listed

# A stretch at no loss shorter than this part of what the region allows is not worth a sentence.
WORTH_SAYING = 0.2
SHARE_PLACES = 3
# Standard errors that a slope must stand out by, near 95 % for all but few degrees of freedom.
SLOPE_ERRORS = 2.0
# Slopes and bends below this part of the largest coefficient are rounding.
ROUNDING = 1e-9
_NATURES = {
    "maximum": "a maximum",
    "minimum": "a minimum",
    "saddle": "a saddle: up one way, down another",
    "ridge": "a ridge",
    "flat": "no bend that stands out of the scatter",
    "plane": "a plane: no bend in the model",
}

LEVEL = "nothing to tell: the model gives the same value whatever the factors are set to."


def shape_sentences(shape: SurfaceShape) -> list[str]:
    """Say the nature of a surface, where it has no slope, and along what it is flat."""
    form, canonical = shape.form, shape.canonical
    where = levels_words(form)
    if _is_level(form):
        return [f"{f'{where}: ' if where else ''}{LEVEL}"]
    sentences = [
        f"{f'{where}: ' if where else ''}{_NATURES[canonical.nature]}.{_place_words(shape)}"
    ]
    if canonical.nature in ("ridge", "saddle"):
        flat = [axis for axis in canonical.axes if axis.bend == "flat"]
        sentences += [_flat_axis_words(form, axis) for axis in flat]
    if canonical.nature == "plane":
        sentences += _steepest_words(shape)
    return sentences


def _is_level(form: SecondOrder) -> bool:
    """Tell whether the factors do nothing at all, as where all values are equal."""
    largest = float(np.abs(form.fit.coefficients).max(initial=0.0))
    moved = max(float(np.abs(x).max(initial=0.0)) for x in (form.curvature, form.middle_slopes))
    return moved <= ROUNDING * largest


def flat_sentence(way: FlatWay, coding: Coding, *, responses: Sequence[str] = ()) -> str:
    """Say over what stretch a setting may lie without a difference that the models see.

    Returns:
        A sentence that begins with the name as it is written.
    """
    seen = listed(list(responses) or [way.response])
    doubt = f"{error_text(way.unseen)} {way.unit}".rstrip()
    tail = f"the model sees no difference in {seen}" if len(responses) < 2 else (
        f"no model sees a difference ({seen})"
    )  # fmt: skip
    limit = (
        ""
        if len(responses) > 1 or not way.unseen > 0.0
        else f", though one of up to {doubt} cannot be excluded"
    )
    if way.joint:
        begin, end = (
            ", ".join(
                f"{name} {number_of(coding, name, float(x))}"
                for name, x in zip(way.joint, place, strict=True)
            )
            for place in (way.low_settings, way.high_settings)
        )
        return f"Together the factors may move from ({begin}) to ({end}): {tail}{limit}."
    low, high = rounded_inward(coding, way)
    unit = f" {way.setting_unit}" if way.setting_unit else ""
    is_share = isinstance(coding.axes[coding.index(way.setting)], ShareAxis)
    head = f"{'the share of ' if is_share else ''}{way.setting} may lie anywhere from"
    return (
        f"{head} {number_of(coding, way.setting, low)} to "
        f"{number_of(coding, way.setting, high)}{unit}: {tail}{limit}."
    )


def common_flat_sentences(landscapes: Mapping[str, SurfaceLandscape]) -> list[str]:
    """Say where every response at once is flat from the recipe: one sentence a setting."""
    if not landscapes:
        return []
    sentences, coding = [], next(iter(landscapes.values())).fit.coding
    for name in coding.names:
        ways = [
            way for one in landscapes.values() for way in one.flat
            if way.setting == name and not way.joint
        ]  # fmt: skip
        if not ways or len(ways) < len(landscapes):
            continue
        tightest = narrowed(ways)
        if tightest is not None and tightest.part >= WORTH_SAYING:
            sentences.append(
                flat_sentence(tightest, coding, responses=[way.response for way in ways])
            )
    return sentences


def narrowed(ways: Sequence[FlatWay]) -> FlatWay | None:
    """Give the stretch that is at no loss for every response; None where nothing is left."""
    low, high = max(way.low for way in ways), min(way.high for way in ways)
    return replace(ways[0], low=low, high=high) if high > low else None


def rounded_inward(coding: Coding, way: FlatWay) -> tuple[float, float]:
    """Put both ends on the bench's steps, inside the stretch, the recipe's own place kept."""
    axis = coding.axes[coding.index(way.setting)]
    step = getattr(axis, "step", None)
    if not step or (isinstance(axis, NumericAxis) and axis.ranges):
        return way.low, way.high
    origin = axis.low if isinstance(axis, NumericAxis) else 0.0
    # A hair of slack: an end that lies on a step but for rounding stays there.
    low = origin + step * math.ceil((way.low - origin) / step - 1e-6)
    high = origin + step * math.floor((way.high - origin) / step + 1e-6)
    return min(low, way.at), max(high, way.at)


def number_of(coding: Coding, name: str, value: float) -> str:
    """Print a setting as far as its range needs: a four-hundredth of it, a share to 0.001."""
    axis = coding.axes[coding.index(name)]
    if isinstance(axis, ShareAxis):
        return with_error(value, 10.0 ** (1 - SHARE_PLACES))
    if isinstance(axis, NumericAxis):
        return with_error(value, getattr(axis, "step", None) or (axis.high - axis.low) / 40.0)
    return plain(value)


def _flat_axis_words(form: SecondOrder, axis: CanonicalAxis) -> str:
    """Say whether a direction without a bend is level or slopes in the middle."""
    words = f"a step of {direction_words(form, axis)}"
    if abs(axis.slope) <= SLOPE_ERRORS * axis.slope_error:
        return f"Flat along {words}: neither bend nor slope is told from scatter."
    way = "rises" if axis.slope > 0 else "falls"
    return f"It {way} without a bend, by {_per_step(form, axis)} for {words}."


def _per_step(form: SecondOrder, axis: CanonicalAxis) -> str:
    """Say what one step along a direction changes in the middle of the ranges."""
    scale, size = form.fit.scale.name, abs(axis.slope)
    if scale == "identity":
        return f"{with_error(size, axis.slope_error)} {form.fit.unit}".rstrip()
    if scale == "log":
        return f"a factor of {plain(math.exp(size), 3)}"
    return f"{plain(size, 3)} on the fitted scale"


def _place_words(shape: SurfaceShape) -> str:
    point, region = shape.stationary, shape.region
    if shape.canonical.nature == "plane" or not np.all(np.isfinite(point.at)):
        return ""
    told = []
    for i, axis in enumerate(shape.form.axes):
        low, high, value = float("nan"), float("nan"), float(point.at[i])
        if region is not None and not region.is_empty and not region.goes_on[i].any():
            low, high = float(region.low[i]), float(region.high[i])
        error = interval_error(low, high) or (axis.high - axis.low) / 40.0
        text = f"{axis.name} {with_error(value, error)} {axis.unit}".rstrip()
        if math.isfinite(low):
            text += f" ({with_error(low, error)} to {with_error(high, error)})"
        told.append(text)
    where = "inside the ranges" if point.inside else "outside the ranges tried"
    if not point.inside and np.abs(point.at_coded).max() > 3.0:
        return f" No slope only far outside the ranges tried.{_region_words(shape)}"
    return f" No slope at {', '.join(told)}, {where}.{_region_words(shape)}"


def _region_words(shape: SurfaceShape) -> str:
    region = shape.region
    if region is None:
        return ""
    if region.is_empty:
        return " No place within twice the ranges is without slope for sure."
    if region.goes_on.any():
        return (
            f" Where it lies is open: its {percent(region.level)} region goes on beyond twice the "
            f"ranges and takes up {percent(region.part)} of those tried."
        )
    leaves = "reaches beyond the ranges tried" if region.leaves else "lies inside the ranges"
    return f" Its {percent(region.level)} region {leaves}."


def _steepest_words(shape: SurfaceShape) -> list[str]:
    line = next((one for one in shape.lines if one.towards == "highest"), None)
    if line is None or not np.any(line.coded):
        return []
    ends = ", ".join(
        f"{axis.name} {number_of(shape.form.fit.coding, axis.name, float(x))} {axis.unit}".rstrip()
        for axis, x in zip(shape.form.axes, line.settings[2], strict=True)
    )
    return [f"Steepest up from the middle towards {ends}."]

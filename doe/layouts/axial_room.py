"""Room for axial runs beyond the ranges: the brief with its ranges opened, its limits kept."""

from __future__ import annotations

import math

from doe.model.region import Region, region_of
from doe.study.brief import Factor, Study

# Half ranges that an axial run may lie from the middle: above the rotatable distance of 8 factors
# with a half fraction (2.83) and the distances of its orthogonal blocks.
_FARTHEST = 3.0


def opened_region(study: Study) -> Region:
    """Work out the region with every range opened for axial runs.

    Limits, forbids, levels and share limits stay. A setting that the brief keeps at or above 0
    stays there, a dose above it.
    """
    factors = tuple(_opened(factor) for factor in study.factors)
    return region_of(study.model_copy(update={"factors": factors}))


def _opened(factor: Factor) -> Factor:
    """Widen a range about its middle, by whole steps where the bench has steps."""
    if factor.kind != "range" or factor.ranges or factor.low is None or factor.high is None:
        return factor
    low, high = factor.low, factor.high
    if factor.spacing == "log":
        ratio = math.sqrt(high / low) ** (_FARTHEST - 1.0)
        down, up = low - low / ratio, high * ratio - high
    else:
        down = up = (high - low) / 2.0 * (_FARTHEST - 1.0)
    if factor.step:
        down, up = (math.floor(by / factor.step) * factor.step for by in (down, up))
    least = low - down
    if low >= 0:
        least = max(least, _above_zero(factor, low))
    return factor.model_copy(update={"low": least, "high": high + up})


def _above_zero(factor: Factor, low: float) -> float:
    """Give the lowest setting of a range that may not fall below 0."""
    if factor.role != "dose":
        return math.fmod(low, factor.step) if factor.step else 0.0
    # A dose of nothing is no dose: one step, or a hundredth of the low end.
    return factor.step or low / 100.0

"""Lines through one recipe: how one setting moves, and how far the region lets it.

A factor moves alone. A share moves along Cox's direction: the others make room, keeping their
ratios to one another.

Source:
    Cox (1971), A note on polynomial response functions for mixtures, Biometrika 58, 155-159.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis, level_range
from doe.model.region import Piece, Region, inside_piece
from doe.study.settings import BoolArray, FloatArray

# Slack of the region along a line, as a part of each range: shares are sums of rounded numbers.
TOUCH = 1e-9
RANGE_END = "the end of its range"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How far a setting may move inside the region, from one recipe.

    Attributes:
        low: Lowest value, lab units.
        high: Highest value.
        low_words: What ends it below.
        high_words: What ends it above.
    """

    low: float
    high: float
    low_words: str
    high_words: str


def direction_of(coding: Coding, at: FloatArray, j: int) -> FloatArray:
    """Give how all settings move when one moves by 1, shape (k,), lab units.

    Args:
        coding: The axes.
        at: The recipe, shape (k,).
        j: Column of the setting; not a named choice.

    Returns:
        1 for the setting itself; for a share, what the other shares give up. Where the share is
        already 1, they take up what it leaves in equal parts.
    """
    direction = np.zeros(len(coding.axes))
    direction[j] = 1.0
    if isinstance(coding.axes[j], ShareAxis):
        others = [i for i, a in enumerate(coding.axes) if isinstance(a, ShareAxis) and i != j]
        rest = at[others].sum()
        if rest > TOUCH:
            direction[others] = -at[others] / rest
        elif others:
            direction[others] = -1.0 / len(others)
    return direction


def moved(coding: Coding, at: FloatArray, j: int, to: FloatArray) -> FloatArray:
    """Put one setting to values (n,), the others held or giving way: shape (n, k), lab units."""
    line: FloatArray = at + np.outer(to - at[j], direction_of(coding, at, j))
    line[:, j] = to
    return line


def own_range(coding: Coding, at: FloatArray, j: int) -> tuple[float, float] | None:
    """Give the range of a setting at a recipe, lab units; None for a choice or what it lacks."""
    axis = coding.axes[j]
    if isinstance(axis, ChoiceAxis) or np.isnan(at[j]):
        return None
    if isinstance(axis, NumericAxis) and axis.ranges:
        column = coding.index(axis.ranges[0].choice)
        choice = coding.axes[column]
        assert isinstance(choice, ChoiceAxis)
        return level_range(axis, choice.levels[int(at[column])])
    return axis.low, axis.high


def reach_along(region: Region, at: FloatArray, j: int) -> Reach | None:
    """Find how far a setting may move from a recipe before it leaves the region.

    Args:
        region: The region.
        at: The recipe, shape (k,), lab units.
        j: Column of a setting with a range, not of a named choice or of numeric levels.

    Returns:
        The stretch that holds the recipe, over pieces that join; None where the recipe itself
        lies outside.
    """
    direction = direction_of(region.coding, at, j)
    stretches = [
        _stretch(piece, at, direction, at[j])
        for piece in region.pieces
        if _agrees(region, piece, at, j)
    ]
    found = [one for one in stretches if one is not None]
    width = region.spans[j]
    here = next(
        (s for s in found if s.low - TOUCH * width <= at[j] <= s.high + TOUCH * width), None
    )
    if here is None:
        return None
    growing = True
    while growing:
        growing = False
        for other in found:
            joined = _joined(here, other, TOUCH * width)
            if joined is not None and (joined.low, joined.high) != (here.low, here.high):
                here, growing = joined, True
    return here


def inside_region(
    region: Region, values: FloatArray, production_columns: tuple[int, ...]
) -> BoolArray:
    """Tell which settings, shape (n, k), lie in the region, whatever noise factors are set to."""
    if not production_columns:
        return region.contains(values, TOUCH)
    held = values.copy()
    inside = np.zeros(len(values), dtype=np.bool_)
    for piece in region.pieces:
        for j in production_columns:
            axis = region.coding.axes[j]
            if j in piece.fixed:
                held[:, j] = piece.fixed[j]
            elif isinstance(axis, NumericAxis):
                held[:, j] = np.clip(values[:, j], piece.low[j], piece.high[j])
        inside |= inside_piece(piece, held, region.spans, region.coding, TOUCH)
    return inside


def _agrees(region: Region, piece: Piece, at: FloatArray, j: int) -> bool:
    """Tell whether a piece holds the levels of a recipe; levels of noise factors are not asked."""
    return j not in piece.fixed and all(
        np.isnan(at[i]) if np.isnan(value) else abs(at[i] - value) <= TOUCH * max(1.0, abs(value))
        for i, value in piece.fixed.items()
        if not getattr(region.coding.axes[i], "noise", False)
    )


def _stretch(piece: Piece, at: FloatArray, direction: FloatArray, here: float) -> Reach | None:
    """Cut the line by the bounds of one convex piece; None where nothing is left."""
    along = piece.A @ direction
    slack = piece.b - piece.A @ np.nan_to_num(at)
    size = np.abs(piece.A) @ np.nan_to_num(np.maximum(piece.high - piece.low, 0.0))
    still = np.abs(along) <= TOUCH * np.maximum(size, TOUCH)
    if np.any(slack[still] < -TOUCH * np.maximum(size[still], 1.0)):
        return None
    low, low_words, high, high_words = -np.inf, RANGE_END, np.inf, RANGE_END
    for i in np.flatnonzero(~still):
        rate, words = along[i], piece.words[i]
        step = slack[i] / rate
        if rate > 0 and step < high:
            high, high_words = step, words
        elif rate < 0 and step > low:
            low, low_words = step, words
    if low > high + TOUCH:
        return None
    return Reach(
        low=here + float(low), high=here + float(high), low_words=low_words, high_words=high_words
    )


def _joined(one: Reach, other: Reach, touch: float) -> Reach | None:
    """Join two stretches that meet; None where they do not."""
    if other.low > one.high + touch or one.low > other.high + touch:
        return None
    below = one if one.low <= other.low else other
    above = one if one.high >= other.high else other
    return Reach(
        low=below.low, high=above.high, low_words=below.low_words, high_words=above.high_words
    )

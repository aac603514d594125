"""Settings that the bench can make: on the `step` of each setting, shares adding to 1, inside.

A factor's steps count from its low end, and both ends can be set. A share's are whole multiples of
its step, since shares add to 1; an additive without a step takes what is left over, and where every
additive has one and they cannot add to 1, the one with the finest step does.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from doe.model.coding import Axis, ChoiceAxis, Coding, NumericAxis, ShareAxis, level_range
from doe.model.polytope import SAME
from doe.model.region import Region
from doe.study.settings import BoolArray, FloatArray, IntArray

# How many steps away a setting is looked for, at most, before it stays as it is.
FARTHEST = 3
# More neighbours of one row than this are not listed.
MOST_NEIGHBOURS = 200_000
# Shares on steps are recorded to this many decimals, which clears rounding noise.
DECIMALS = 12


def round_to_steps(values: FloatArray, region: Region) -> FloatArray:
    """Move each row to the nearest setting that the bench can make, inside the region.

    Args:
        values: Shape (n, k), lab units.
        region: The region.

    Returns:
        Shape (n, k); distance is measured in parts of each range. A row stays as it is where no
        setting within three steps lies inside: `on_steps` tells.
    """
    rounded = np.array(values, dtype=np.float64)
    width = _widths(region)
    for i, row in enumerate(values):
        for reach in range(1, FARTHEST + 1):
            near = neighbours_on_steps(row, region, reach=reach)
            if len(near):
                distance = np.nan_to_num(np.abs(near - row) / width) ** 2
                rounded[i] = near[int(distance.sum(axis=1).argmin())]
                break
    return rounded


def neighbours_on_steps(
    row: FloatArray, region: Region, *, reach: int = 1, columns: IntArray | None = None
) -> FloatArray:
    """List the settings round a row that the bench can make and the region holds.

    Args:
        row: Shape (k,), lab units.
        region: The region.
        reach: Steps to go to either side.
        columns: Settings that may move, all shares or none of them; None for all settings.

    Returns:
        Shape (m, k): every combination of the next settings below and above; the row's own levels.
    """
    coding = region.coding
    moving = set(range(len(row)) if columns is None else columns.tolist())
    shares = [j for j, axis in enumerate(coding.axes) if isinstance(axis, ShareAxis)]
    blend_moves = bool(moving & set(shares))
    blends = _blends(row[shares], coding.shares, reach) if blend_moves else row[None, shares]
    others = [j for j in range(len(coding.axes)) if j not in shares]
    marks = [
        _marks(float(row[j]), coding.axes[j], row, coding, reach)
        if j in moving
        else [float(row[j])]
        for j in others
    ]
    if len(blends) * int(np.prod([len(m) for m in marks])) > MOST_NEIGHBOURS:
        return np.empty((0, len(row)))
    combinations = list(product(*marks))
    factors = np.array(combinations).reshape(len(combinations), len(others))
    near = np.empty((len(blends) * len(factors), len(row)))
    near[:, shares] = np.repeat(blends, len(factors), axis=0)
    near[:, others] = np.tile(factors, (len(blends), 1))
    return near[region.contains(near)]


def on_steps(values: FloatArray, region: Region) -> BoolArray:
    """Tell which rows the bench can make as they are, shape (n,)."""
    width = _widths(region)
    made = np.zeros(len(values), dtype=np.bool_)
    for i, row in enumerate(values):
        apart = np.abs(neighbours_on_steps(row, region) - row) / width
        made[i] = bool(np.any(np.all(np.isnan(apart) | (apart <= SAME), axis=1)))
    return made


def _widths(region: Region) -> FloatArray:
    """Give the width of each range, shape (k,), lab units; 1 for a choice."""
    return np.array(
        [
            1.0 if isinstance(axis, ChoiceAxis) or axis.high == axis.low else axis.high - axis.low
            for axis in region.coding.axes
        ]
    )


def _marks(x: float, axis: Axis, row: FloatArray, coding: Coding, reach: int) -> list[float]:
    """List the next settings of one factor, below and above."""
    if np.isnan(x):
        return [x]
    if isinstance(axis, ChoiceAxis):
        return [float(round(x))]
    assert isinstance(axis, NumericAxis)
    if axis.levels:
        return [min(axis.levels, key=lambda level: abs(level - x))]
    if axis.step is None:
        return [x]
    low, high = axis.low, axis.high
    if axis.ranges:
        choice = coding.axes[coding.index(axis.ranges[0].choice)]
        assert isinstance(choice, ChoiceAxis)
        level = choice.levels[int(row[coding.index(choice.name)])]
        low, high = level_range(axis, level) or (low, high)
    return _next_marks(x, low, high, axis.step, reach)


def _next_marks(x: float, low: float, high: float, step: float, reach: int) -> list[float]:
    at = (min(max(x, low), high) - low) / step
    nearest = round(at)
    if abs(at - nearest) <= SAME * max(1.0, abs(at)) and reach == 1:
        numbers = [nearest]
    else:
        numbers = list(range(int(np.floor(at)) - reach + 1, int(np.floor(at)) + reach + 1))
    marks = [round(low + i * step, DECIMALS) for i in numbers]
    inside = [mark for mark in marks if low <= mark <= high + SAME * step]
    # The high end can be set although the steps may miss it.
    beyond = any(mark > high + SAME * step for mark in marks)
    at_end = abs(min(x, high) - high) <= SAME * max(abs(high), 1.0)
    if at_end and reach == 1:
        return [high]
    return inside + ([high] if beyond and high not in inside else [])


def _blends(shares: FloatArray, axes: tuple[ShareAxis, ...], reach: int) -> FloatArray:
    """List the blends round one that keep to the steps and add to 1, shape (m, q)."""
    q = len(axes)
    if q == 0:
        return np.empty((1, 0))
    grid = _blend_grid(shares, axes, reach)
    rest = [i for i, axis in enumerate(axes) if axis.step is None]
    if not rest:
        # Steps of unlike size may need a wider look before they add to 1.
        for wider in (reach, reach + 1):
            tried = _blend_grid(shares, axes, wider)
            exact = np.abs(tried.sum(axis=1) - 1) <= SAME
            if exact.any():
                return _closed(tried[exact], int(np.argmax([axis.high for axis in axes])))
        rest = [int(np.argmin([axis.step or 1.0 for axis in axes]))]
    # What the stepped shares leave over goes to those without a step, in equal parts.
    grid[:, rest] += ((1 - grid.sum(axis=1)) / len(rest))[:, None]
    return _closed(np.unique(np.round(grid, DECIMALS), axis=0), rest[0])


def _blend_grid(shares: FloatArray, axes: tuple[ShareAxis, ...], reach: int) -> FloatArray:
    sets = [_share_marks(float(x), a, reach) for x, a in zip(shares, axes, strict=True)]
    if int(np.prod([len(marks) for marks in sets])) > MOST_NEIGHBOURS:
        sets = [_share_marks(float(x), a, 1) for x, a in zip(shares, axes, strict=True)]
    return np.array(list(product(*sets)))


def _share_marks(x: float, axis: ShareAxis, reach: int) -> list[float]:
    if axis.step is None:
        return [x]
    at = x / axis.step
    if abs(at - round(at)) <= SAME * max(1.0, at) and reach == 1:
        return [round(round(at) * axis.step, DECIMALS)]
    below = int(np.floor(at))
    numbers = range(below - reach + 1, below + reach + 1)
    return [round(i * axis.step, DECIMALS) for i in numbers if i >= 0]


def _closed(blends: FloatArray, j: int) -> FloatArray:
    """Let one share take the last rounding error, so that the sum is 1 to the last digit."""
    others = np.delete(blends, j, axis=1).sum(axis=1)
    blends[:, j] = np.round(1 - others, DECIMALS)
    return blends

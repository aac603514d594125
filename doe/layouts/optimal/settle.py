"""Settle a plan on what the bench can set, by choosing among the steps round each setting anew.

A setting without a `step` is put on a fine mesh of its range, so that a card shows numbers that can
be read; where no mark of the mesh lies inside the region (a corner that limits cut), it stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from doe.layouts.optimal.climb import know, scores
from doe.layouts.optimal.crowd import Problem
from doe.model.bench_steps import neighbours_on_steps
from doe.model.coding import Axis, Coding, NumericAxis, ShareAxis, code, decode
from doe.model.region import Region
from doe.study.settings import FloatArray, IntArray

# Marks that the mesh of a range has at least; half a mark off costs less than one in ten thousand.
LEAST_MARKS = 200
# A share's mesh, in parts of the package: what a balance can weigh of it.
SHARE_MESH = 0.001
_MOST_SWEEPS = 20
_LEAST_GAIN = 1e-9
_FARTHEST = 3
# Settings that differ by less than this, in lab units of any size, are one.
_DIGITS = 9


def settled(problem: Problem, x: FloatArray, region: Region, distinct: int = 0) -> FloatArray:
    """Bring a plan onto the steps and exchange steps there until nothing gains.

    Args:
        problem: What was searched for.
        x: Coded settings, shape (n, k), held runs first.
        region: The region.
        distinct: Least number of different settings, where the plan has so many.

    Returns:
        Shape (n, k), lab units; held runs as they were given.
    """
    meshed = with_mesh(region)
    values = decode(x, region.coding)
    values[: len(problem.held)] = problem.held
    for rows, columns in problem.units:
        options = _first_steps(values, meshed, rows, columns, distinct)
        if len(options):
            values = _best(problem, values, rows, options)
    for _ in range(_MOST_SWEEPS):
        before = values
        for rows, columns in problem.units:
            for part in _parts(columns, region.coding):
                options = _with(values, rows, part, meshed, reach=2)
                options = _apart(values, rows, options, distinct)
                values = _best(problem, values, rows, options)
        if np.array_equal(before, values, equal_nan=True):
            break
    return values


def with_mesh(region: Region) -> Region:
    """Give every setting without a step one that is fine enough to cost nothing."""
    axes = tuple(_meshed(axis) for axis in region.coding.axes)
    return replace(region, coding=Coding(axes=axes))


def mesh_of(width: float) -> float:
    """Give the coarsest power of ten that divides a width into enough marks.

    Example:
        >>> mesh_of(1.5)
        0.001
    """
    return float(10.0 ** np.floor(np.log10(width / LEAST_MARKS)))


def _meshed(axis: Axis) -> Axis:
    if isinstance(axis, ShareAxis):
        return axis if axis.step is not None else replace(axis, step=SHARE_MESH)
    if isinstance(axis, NumericAxis) and axis.step is None and not axis.levels:
        spans = [e.high - e.low for e in axis.ranges if e.low is not None and e.high is not None]
        width = min(spans, default=axis.high - axis.low)
        return replace(axis, step=mesh_of(width)) if width > 0 else axis
    return axis


def _first_steps(
    values: FloatArray, region: Region, rows: IntArray, columns: IntArray, distinct: int
) -> FloatArray:
    """List the steps round a unit, looking farther where none lies inside and apart from others."""
    nearest = np.empty((0, len(rows), values.shape[1]))
    for reach in range(1, _FARTHEST + 1):
        options = _with(values, rows, columns, region, reach=reach)
        nearest = nearest if len(nearest) else options
        options = _apart(values, rows, options, distinct)
        if len(options):
            return options
    return nearest


def _apart(values: FloatArray, rows: IntArray, options: FloatArray, distinct: int) -> FloatArray:
    """Keep the options of a unit that leave enough different settings in the plan."""
    if distinct == 0 or len(options) == 0:
        return options
    others = np.delete(values, rows, axis=0)
    enough = [_n_different(np.vstack([others, option])) >= distinct for option in options]
    kept: FloatArray = options[np.array(enough)]
    return kept


def _n_different(values: FloatArray) -> int:
    return len({row.tobytes() for row in np.round(np.nan_to_num(values, nan=-1e9), _DIGITS) + 0.0})


def _with(
    values: FloatArray, rows: IntArray, columns: IntArray, region: Region, *, reach: int
) -> FloatArray:
    """List what a unit may become with other steps in some columns, shape (o, u, k)."""
    near = neighbours_on_steps(values[rows[0]], region, reach=reach, columns=columns)
    options = np.repeat(values[rows][None], len(near), axis=0)
    options[:, :, columns] = near[:, None, columns]
    if len(rows) > 1 and len(options):
        flat = options.reshape(-1, values.shape[1])
        inside = region.contains(flat).reshape(len(options), len(rows)).all(axis=1)
        options = options[inside]
    return options


def _best(problem: Problem, values: FloatArray, rows: IntArray, options: FloatArray) -> FloatArray:
    """Take the option with the best score; the plan as it is where none gains.

    Where the plan is not on the steps yet, the best option is taken in any case.
    """
    if len(options) == 0:
        return values
    plans = np.repeat(values[None], len(options), axis=0)
    plans[:, rows] = options
    F = problem.working.matrix(_coded(plans, problem))
    found = scores(know(F, problem.goal), problem.goal)
    same = np.flatnonzero(np.all((options == values[rows]) | np.isnan(options), axis=(1, 2)))
    best = int(found.argmin())
    if len(same) and found[best] > found[same[0]] - _LEAST_GAIN:
        return values
    return np.asarray(plans[best])


def _coded(plans: FloatArray, problem: Problem) -> FloatArray:
    """Code the settings of several plans, shape (o, n, k)."""
    o, n, k = plans.shape
    return code(plans.reshape(o * n, k), problem.region.coding).reshape(o, n, k)


def _parts(columns: IntArray, coding: Coding) -> Iterator[IntArray]:
    """Give the settings one by one, the shares together."""
    shares = [j for j in columns if isinstance(coding.axes[j], ShareAxis)]
    if shares:
        yield np.array(shares)
    for j in columns:
        if j not in shares:
            yield np.array([j])

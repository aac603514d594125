"""From a coded table to settings that the bench can make."""

from __future__ import annotations

import numpy as np

from doe.model.coding import Coding, NumericAxis, ShareAxis, decode
from doe.model.region import Region
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# Slack when runs are held against the region, in lab units: rounding errors of coding only.
REGION_TOLERANCE = 1e-7


def placed(
    coded: FloatArray, coding: Coding, region: Region
) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Decode runs and move them onto numeric levels and bench steps.

    Args:
        coded: Shape (n, k): numeric factors coded, shares as proportions, choices as indices.
        coding: The axes.
        region: Runs stay inside it: a step that would leave it is not taken.

    Returns:
        Lab units, shape (n, k), and what was moved.
    """
    exact = np.asarray(decode(coded, coding), dtype=np.float64)
    values = exact.copy()
    moved: dict[str, float] = {}
    for i, axis in enumerate(coding.axes):
        if isinstance(axis, NumericAxis):
            values[:, i] = _on_bench(values[:, i], axis)
            moved[axis.name] = _largest(values[:, i] - exact[:, i])
    values = _shares_on_step(values, coding)
    outside = ~np.asarray(region.contains(values, REGION_TOLERANCE)) & np.asarray(
        region.contains(exact, REGION_TOLERANCE)
    )
    levels = [isinstance(axis, NumericAxis) and bool(axis.levels) for axis in coding.axes]
    values[np.ix_(outside, ~np.array(levels))] = exact[np.ix_(outside, ~np.array(levels))]
    return values, _said(moved, coding)


def _on_bench(column: FloatArray, axis: NumericAxis) -> FloatArray:
    if axis.levels:
        levels = np.array(axis.levels)
        nearest = np.argmin(np.abs(column[:, None] - levels[None, :]), axis=1)
        return np.where(np.isnan(column), np.nan, levels[nearest])
    if axis.step is None:
        return _clean(column)
    ends = np.isclose(column, axis.low, rtol=1e-9) | np.isclose(column, axis.high, rtol=1e-9)
    stepped = np.where(ends, column, np.round(column / axis.step) * axis.step)
    return _clean(stepped)


def _clean(column: FloatArray) -> FloatArray:
    """Take the rounding errors of coding away: 12 significant digits."""
    scale = np.nanmax(np.abs(column), initial=0.0)
    digits = 12 - int(np.ceil(np.log10(scale))) if scale > 0 else 12
    return np.asarray(np.round(column, min(digits, 15)), dtype=np.float64)


def _shares_on_step(values: FloatArray, coding: Coding) -> FloatArray:
    """Round shares to their step; the remainder goes to the shares nearest to the next step."""
    columns = [i for i, axis in enumerate(coding.axes) if isinstance(axis, ShareAxis)]
    steps = [axis.step for axis in coding.shares]
    if not columns or any(step is None for step in steps) or len(set(steps)) != 1:
        return values
    step = float(steps[0] or 1.0)
    total = 1.0 / step
    if abs(total - round(total)) > 1e-9:
        return values
    stepped = values.copy()
    for row in stepped:
        row[columns] = _largest_remainder(row[columns] / step, round(total)) * step
        row[columns] = np.round(row[columns], 12)
    return stepped


def _largest_remainder(counts: FloatArray, total: int) -> FloatArray:
    whole = np.floor(counts + 1e-9)
    left = int(total - whole.sum())
    order = np.argsort(-(counts - whole), kind="stable")
    whole[order[:left]] += 1
    return whole


def _largest(differences: FloatArray) -> float:
    return float(np.nanmax(np.abs(differences), initial=0.0))


def _said(moved: dict[str, float], coding: Coding) -> tuple[Finding, ...]:
    units = {axis.name: axis.unit for axis in coding.axes if isinstance(axis, NumericAxis)}
    told = {name: f"{by:.3g} {units[name]}".strip() for name, by in moved.items() if by > 1e-9}
    if not told:
        return ()
    return (
        Finding(
            level="note",
            what="Some runs were moved onto the levels or steps that the bench can set: "
            + ", ".join(f"{name} by up to {by}" for name, by in told.items())
            + ".",
            evidence=told,
        ),
    )

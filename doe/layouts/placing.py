"""From a coded table to settings that the bench can make."""

from __future__ import annotations

import numpy as np

from doe.model.bench_steps import round_to_steps
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, decode
from doe.model.region import Region
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# Slack when runs are held against the region, as a part of each range: rounding of coding only.
REGION_TOLERANCE = 1e-7
# Smaller moves than this part of a range are rounding errors, not worth telling.
_TOLD = 1e-6
# Digits kept of a decoded setting: clears the rounding errors of coding.
_DIGITS = 12


def placed(
    coded: FloatArray, coding: Coding, region: Region
) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Decode runs and move them onto numeric levels and bench steps.

    Args:
        coded: Shape (n, k): numeric factors coded, shares as proportions, choices as indices.
        coding: The axes.
        region: Runs stay inside it; a run outside keeps its exact place.

    Returns:
        Lab units, shape (n, k), and what was moved.
    """
    exact = np.asarray(decode(coded, coding), dtype=np.float64)
    values = exact.copy()
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, NumericAxis):
            values[:, j] = _on_levels(values[:, j], axis)
    if any(not isinstance(axis, ChoiceAxis) and axis.step for axis in coding.axes):
        inside = np.asarray(region.contains(values, REGION_TOLERANCE))
        values[inside] = round_to_steps(values[inside], region)
    return values, _said(values - exact, coding)


def _on_levels(column: FloatArray, axis: NumericAxis) -> FloatArray:
    """Move settings to the nearest level of the bench; clear rounding errors elsewhere."""
    if axis.levels:
        levels = np.array(axis.levels)
        nearest = np.argmin(np.abs(column[:, None] - levels[None, :]), axis=1)
        return np.where(np.isnan(column), np.nan, levels[nearest])
    scale = float(np.nanmax(np.abs(column), initial=0.0))
    whole = int(np.ceil(np.log10(scale))) if scale > 0 else 0
    return np.asarray(np.round(column, _DIGITS - whole), dtype=np.float64)


def _said(moves: FloatArray, coding: Coding) -> tuple[Finding, ...]:
    told: dict[str, str] = {}
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ChoiceAxis):
            continue
        largest = float(np.nanmax(np.abs(moves[:, j]), initial=0.0))
        if largest > _TOLD * (axis.high - axis.low):
            unit = axis.unit if isinstance(axis, NumericAxis) else ""
            told[axis.name] = f"{largest:.2g} {unit}".strip()
    if not told:
        return ()
    listed = ", ".join(f"{name} by up to {by}" for name, by in told.items())
    return (
        Finding(
            level="note",
            what=f"Some runs were moved onto the levels or steps that the bench can set: {listed}.",
            evidence=told,
        ),
    )

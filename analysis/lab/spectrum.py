"""One grid for all reflectance curves: 400 to 700 nm by 10 nm, whatever the instrument gave."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.interpolate import CubicSpline

from analysis.lab.kubelka_munk import FloatArray
from doe.study.curves import Curve

FIRST_NM, LAST_NM, STEP_NM = 400.0, 700.0, 10.0
# Where every instrument measures. Below, rutile takes all light for itself, and the maximum of
# K/S would be that of the white; above, the eye sees next to nothing.
GRID: FloatArray = np.arange(FIRST_NM, LAST_NM + STEP_NM / 2, STEP_NM)
GRID.setflags(write=False)


def covers_grid(curve: Curve) -> bool:
    """Tell whether a curve holds all of 400 to 700 nm."""
    return curve.x[0] <= FIRST_NM and curve.x[-1] >= LAST_NM


def on_grid(curves: Sequence[Curve]) -> FloatArray:
    """Bring curves onto the grid.

    Args:
        curves: Each must cover the grid; steps may differ from curve to curve.

    Returns:
        Reflectance factor, shape (curves, 31), 0..1. Where a curve has the grid's wavelengths,
        its readings stand as they are; between them a cubic spline goes through its readings.

    Raises:
        ValueError: A curve does not cover the grid.

    Source:
        CIE 15:2004, section 7.2.2.1 [from memory]: a cubic spline is one of the ways allowed.
    """
    if not all(covers_grid(curve) for curve in curves):
        raise ValueError("a curve does not cover 400 to 700 nm")
    result = np.empty((len(curves), len(GRID)))
    # Curves on the same wavelengths go through together: 5,000 of them in one product.
    alike: dict[tuple[float, ...], list[int]] = {}
    for i, curve in enumerate(curves):
        alike.setdefault(curve.x, []).append(i)
    for x, rows in alike.items():
        result[rows] = _at_grid(np.array(x), np.array([curves[i].y for i in rows]))
    return result


def _at_grid(x: FloatArray, y: FloatArray) -> FloatArray:
    places = np.searchsorted(x, GRID)
    if np.array_equal(x[np.minimum(places, len(x) - 1)], GRID):
        return y[:, places]
    return np.asarray(CubicSpline(x, y, axis=1)(GRID), dtype=np.float64)

"""Fineness of grind and particle size: gauge scales, mean of gauge readings, span."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from doe.study.settings import FloatArray

Geometry = Literal["exact", "rounded"]

# Depth of the groove (µm) at Hegman 0; at Hegman 8 it is nothing. Exact: 4 mil = 101.6 µm, by the
# gauge's geometry. Rounded: as many charts print it, common practice without a source.
DEEPEST_UM: Mapping[Geometry, float] = MappingProxyType({"exact": 101.6, "rounded": 100.0})
FINEST_HEGMAN = 8.0


def micrometres_of_hegman(hegman: FloatArray, geometry: Geometry = "exact") -> FloatArray:
    """Turn Hegman readings into the depth of the groove.

    Args:
        hegman: Readings, 0 (coarse) to 8 (fine), shape (n,).
        geometry: `exact` for 101.6 − 12.7 H, `rounded` for 100 − 12.5 H.

    Returns:
        Depth, µm, shape (n,).

    Source:
        Geometry of the gauge, ASTM D1210-05(2022): 4 mil at 0, straight down to 8.

    Example:
        >>> import numpy as np
        >>> micrometres_of_hegman(np.array([5.0, 7.0]))
        array([38.1, 12.7])
    """
    depth: FloatArray = DEEPEST_UM[geometry] * (1.0 - hegman / FINEST_HEGMAN)
    return depth


def hegman_of_micrometres(depth_um: FloatArray, geometry: Geometry = "exact") -> FloatArray:
    """Turn the depth of the groove into Hegman: `micrometres_of_hegman` backwards.

    Args:
        depth_um: Depth, µm, shape (n,).
        geometry: As there.

    Returns:
        Hegman, shape (n,); below 0 beyond the deepest end of a Hegman gauge.
    """
    hegman: FloatArray = FINEST_HEGMAN * (1.0 - depth_um / DEEPEST_UM[geometry])
    return hegman


def span_of_sizes(d10: float, d50: float, d90: float) -> float:
    """Give the relative width of a size distribution, (D90 − D10) / D50.

    Args:
        d10: Size below which a tenth of the volume lies, µm.
        d50: Median size, µm, above 0.
        d90: Size below which nine tenths lie, µm.

    Example:
        >>> span_of_sizes(0.1, 0.25, 0.6)
        2.0
    """
    return (d90 - d10) / d50

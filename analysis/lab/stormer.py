"""Stormer consistency: from the load that holds 200 turns a minute to Krebs units."""

from __future__ import annotations

import numpy as np

from doe.study.settings import FloatArray

# Load (g) to Krebs units, ASTM D562-10(2018), from memory; 340, 440, 460 and 480 g are the least
# sure. Every place that shows a result says so.
LOADS_G: tuple[float, ...] = (
    70, 75, 80, 85, 90, 95, 100, 110, 120, 130, 140, 150, 160, 170, 180, 190, 200,
    220, 240, 250, 260, 280, 300, 320, 340, 350, 360, 380, 400, 420, 440, 460, 480, 500,
)  # fmt: skip
KREBS_UNITS: tuple[float, ...] = (
    53, 54, 55, 57, 58, 60, 61, 63, 65, 68, 70, 72, 74, 76, 78, 80, 82,
    85, 88, 89, 90, 93, 95, 97, 99, 100, 101, 102, 104, 106, 107, 109, 110, 112,
)  # fmt: skip


def krebs_units(load_g: FloatArray) -> FloatArray:
    """Turn loads into Krebs units, linear between the lines of the table.

    Args:
        load_g: Load, g, shape (n,).

    Returns:
        Consistency, KU, shape (n,); NaN outside 70 to 500 g, where the table says nothing.

    Source:
        ASTM D562-10(2018), table of load and Krebs units, from memory.

    Example:
        >>> krebs_units(np.array([100.0, 210.0, 501.0]))
        array([61. , 83.5,  nan])
    """
    units: FloatArray = np.interp(load_g, LOADS_G, KREBS_UNITS, left=np.nan, right=np.nan)
    return units


def calibration_load(viscosity_p: float, density_g_per_ml: float) -> float:
    """Give the load that a calibration oil should need: for checking the instrument alone.

    It never turns a paint's load into a viscosity: paints are not Newtonian, and the relation does
    not agree with the standard's own note at 4 P.

    Args:
        viscosity_p: Viscosity of the oil, poise.
        density_g_per_ml: Density of the oil, g/mL.

    Returns:
        Load at 200 turns a minute, g.

    Source:
        ASTM D562, calibration, L = (610 η + 906.6 D) / 30, from memory.

    Example:
        >>> round(calibration_load(10.0, 0.97), 2)
        232.65
    """
    return (610.0 * viscosity_p + 906.6 * density_g_per_ml) / 30.0

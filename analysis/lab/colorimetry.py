"""Colour as numbers: XYZ and L*a*b* of reflectance curves, whiteness, yellowness, hiding.

Calculated in the manner of ISO/CIE 11664-4, ASTM E308 and ASTM E313; their own texts are needed
for conformity. Curves lie on the grid of `spectrum`, reflectance factors 0..1.
"""

from __future__ import annotations

import numpy as np

from analysis.lab.colour_library import (
    Illuminant,
    Observer,
    Viewing,
    chromaticity_of_white,
    eye_weights,
)
from analysis.lab.kubelka_munk import FloatArray

# ASTM E313, coefficients of X and Z [read: source of the open library colour-science].
_YELLOWNESS: dict[tuple[Illuminant, Observer], tuple[float, float]] = {
    ("C", "2"): (1.2769, 1.0592),
    ("D65", "2"): (1.2985, 1.1335),
    ("C", "10"): (1.2871, 1.0781),
    ("D65", "10"): (1.3013, 1.1498),
}
# The whiteness is no measure outside of them: above 40 and below 5 Y - 280, tint within ±3
# [from memory: CIE 15:2004, section 9].
LEAST_WHITENESS, LARGEST_TINT = 40.0, 3.0
_JOINT = 6.0 / 29.0


def white_point(viewing: Viewing) -> FloatArray:
    """Give X, Y, Z of the perfect white, Y = 100, shape (3,)."""
    x, y = chromaticity_of_white(viewing)
    return np.array([100.0 * x / y, 100.0, 100.0 * (1.0 - x - y) / y])


def raw_white_point(viewing: Viewing) -> FloatArray:
    """Give X, Y, Z of the perfect white as the sum over the grid alone makes it, shape (3,)."""
    sums = eye_weights(viewing).sum(axis=0)
    return np.asarray(100.0 * sums / sums[1], dtype=np.float64)


def tristimulus(reflectance: FloatArray, viewing: Viewing) -> FloatArray:
    """Compute X, Y, Z of curves.

    Args:
        reflectance: On the grid, shape (..., 31), 0..1.
        viewing: Light and eye.

    Returns:
        X, Y, Z, shape (..., 3), perfect white Y = 100. Each is scaled so that the perfect white
        has its tabulated values: what the grid leaves out beyond 400 and 700 nm counts like the
        rest.
    """
    weights = eye_weights(viewing)
    scaled = weights * (white_point(viewing) / weights.sum(axis=0))
    return np.asarray(reflectance @ scaled, dtype=np.float64)


def lab_of(xyz: FloatArray, white: FloatArray) -> FloatArray:
    """Compute L*, a*, b*.

    Args:
        xyz: X, Y, Z, shape (..., 3).
        white: Those of the perfect white on the same scale, shape (3,).

    Returns:
        L*, a*, b*, shape (..., 3).

    Source:
        ISO/CIE 11664-4 [from memory].
    """
    t = xyz / white
    # f(t) = t^(1/3) above (6/29)³, else the tangent t / (3 (6/29)²) + 4/29
    f = np.where(t > _JOINT**3, np.cbrt(t), t / (3.0 * _JOINT**2) + 4.0 / 29.0)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def lab_of_curves(reflectance: FloatArray, viewing: Viewing) -> FloatArray:
    """Compute L*, a*, b* of curves on the grid, shape (..., 31) to (..., 3)."""
    return lab_of(tristimulus(reflectance, viewing), white_point(viewing))


def has_yellowness(viewing: Viewing) -> bool:
    """Tell whether ASTM E313 has coefficients for this light and eye."""
    return (viewing.illuminant, viewing.observer) in _YELLOWNESS


def yellowness(xyz: FloatArray, viewing: Viewing) -> FloatArray:
    """Compute the yellowness index YI E313 = 100 (Cx X - Cz Z) / Y.

    Args:
        xyz: X, Y, Z, shape (..., 3), perfect white Y = 100.
        viewing: D65 or C; there are no coefficients for A.

    Raises:
        KeyError: The light has no coefficients.
    """
    c_x, c_z = _YELLOWNESS[viewing.illuminant, viewing.observer]
    index = 100.0 * (c_x * xyz[..., 0] - c_z * xyz[..., 2]) / xyz[..., 1]
    return np.asarray(index, dtype=np.float64)


def whiteness(xyz: FloatArray, white: tuple[float, float]) -> FloatArray:
    """Compute the whiteness index WI = Y + 800 (xn - x) + 1700 (yn - y).

    Args:
        xyz: X, Y, Z, shape (..., 3), perfect white Y = 100.
        white: x and y of the perfect white.

    Source:
        ASTM E313 [read: source of the open library colour-science].
    """
    x, y = _chromaticity(xyz)
    index = xyz[..., 1] + 800.0 * (white[0] - x) + 1700.0 * (white[1] - y)
    return np.asarray(index, dtype=np.float64)


def tint(xyz: FloatArray, white: tuple[float, float], observer: Observer) -> FloatArray:
    """Compute the tint of a white: above 0 greenish, below 0 reddish.

    Source:
        CIE 15:2004, section 9 [from memory]: 900 (xn - x) - 650 (yn - y) for 10°, 1000 for 2°.
    """
    x, y = _chromaticity(xyz)
    factor = 900.0 if observer == "10" else 1000.0
    return np.asarray(factor * (white[0] - x) - 650.0 * (white[1] - y), dtype=np.float64)


def contrast_ratio(y_black: FloatArray, y_white: FloatArray) -> FloatArray:
    """Compute the contrast ratio, %, of Y over black and Y over white of one scale."""
    return np.asarray(100.0 * y_black / y_white, dtype=np.float64)


def _chromaticity(xyz: FloatArray) -> tuple[FloatArray, FloatArray]:
    total = xyz.sum(axis=-1)
    return xyz[..., 0] / total, xyz[..., 1] / total

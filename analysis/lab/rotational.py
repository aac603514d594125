"""Rotational viscosity: two speeds, and duplicates at high shear."""

from __future__ import annotations

import numpy as np

from doe.study.settings import FloatArray

# Duplicates at high shear that differ by less are averaged: "less than 7 %", ASTM D4287-00(2005),
# read. It follows from the coefficient of variation, 2.2 % × 2.8 = 6.2 %.
DUPLICATE_LIMIT = 0.07


def shear_thinning_index(low: FloatArray, high: FloatArray) -> FloatArray:
    """Divide the viscosity at the low speed by that at the high one.

    Args:
        low: Viscosity at the low speed, mPa·s, shape (n,), above 0.
        high: Viscosity at the high speed, same unit and shape, above 0.

    Returns:
        Ratio, shape (n,); 1 for a Newtonian liquid, below 1 where it thickens under shear.

    Source:
        ASTM D2196-20, method B.

    Example:
        >>> shear_thinning_index(np.array([4200.0]), np.array([1150.0])).round(4)
        array([3.6522])
    """
    ratio: FloatArray = low / high
    return ratio


def index_from_speeds(low: FloatArray, high: FloatArray, speed_ratio: float) -> FloatArray:
    """Give the power-law index that two speeds imply.

    Args:
        low: Viscosity at the low speed, mPa·s, shape (n,), above 0.
        high: Viscosity at the high speed, same unit and shape, above 0.
        speed_ratio: High speed over low speed, above 1; 10 for a decade.

    Returns:
        Index n, shape (n,); 1 for a Newtonian liquid.

    Raises:
        ValueError: The speed ratio is not above 1.

    Source:
        η = K γ̇^(n − 1), so n = 1 − log(η_low / η_high) / log(ratio).

    Example:
        >>> index_from_speeds(np.array([4200.0]), np.array([1150.0]), 10.0).round(5)
        array([0.43745])
    """
    if speed_ratio <= 1.0:
        raise ValueError(f"a high speed of {speed_ratio:g} times the low one")
    index: FloatArray = 1.0 - np.log(low / high) / np.log(speed_ratio)
    return index


def relative_difference(first: float, second: float) -> float:
    """Give how far duplicates lie apart, as a fraction of their mean.

    Example:
        >>> round(relative_difference(98.0, 102.0), 3)
        0.04
    """
    return abs(first - second) / ((first + second) / 2.0)

"""Sums of products that are rounded once only, from error-free transformations.

Source:
    Dekker (1971), Numerische Mathematik 18, 224-242, for exact products; Shewchuk (1997), Discrete
    and Computational Geometry 18, 305-363, for the exact sums of `math.fsum`.
"""

from __future__ import annotations

import math

import numpy as np

from doe.study.settings import FloatArray

# 2^27 + 1: splits the 53 bits of a double in two halves whose products are exact.
_SPLITTER = 134217729.0


def two_product(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Multiply and keep what rounding drops: `a · b == product + error`, exactly."""
    product = a * b
    a_high, a_low = _split(a)
    b_high, b_low = _split(b)
    error = a_low * b_low - (((product - a_high * b_high) - a_low * b_high) - a_high * b_low)
    return product, error


def subtract_products(start: FloatArray, X: FloatArray, v: FloatArray) -> FloatArray:
    """Compute `start − X v`, rounded once at the end.

    Args:
        start: Shape (n,).
        X: Shape (n, p).
        v: Shape (p,).

    Returns:
        Shape (n,).

    Example:
        >>> subtract_products(np.array([1e16 + 2.0]), np.array([[1.0, 1.0]]), np.array([1e16, 1.0]))
        array([1.])
    """
    parts = np.hstack([start[:, None], *two_product(X, -v)])
    return np.array(list(map(math.fsum, parts.tolist())))


def _split(a: FloatArray) -> tuple[FloatArray, FloatArray]:
    scaled = _SPLITTER * a
    high = scaled - (scaled - a)
    return high, a - high

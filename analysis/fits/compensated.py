"""Sums of products in twice the working precision, from error-free transformations.

Source:
    Ogita, Rump and Oishi (2005), SIAM J. Sci. Comput. 26, 1955-1988, algorithms 3.1 to 3.3 and 5.3
    (TwoSum after Knuth, Split and TwoProduct after Dekker and Veltkamp, Dot2).
"""

from __future__ import annotations

import numpy as np

from doe.study.settings import FloatArray

# 2^27 + 1: splits the 53 bits of a double in two halves whose products are exact.
_SPLITTER = 134217729.0


def two_sum(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Add two arrays and keep what rounding drops: `a + b == total + error`, exactly."""
    total = a + b
    seen = total - a
    error = (a - (total - seen)) + (b - seen)
    return total, error


def two_product(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Multiply two arrays and keep what rounding drops: `a * b == product + error`, exactly."""
    product = a * b
    a_high, a_low = _split(a)
    b_high, b_low = _split(b)
    error = a_low * b_low - (((product - a_high * b_high) - a_low * b_high) - a_high * b_low)
    return product, error


def subtract_products(start: FloatArray, X: FloatArray, *vectors: FloatArray) -> FloatArray:
    """Compute `start − X v₁ − X v₂ − …` as if in twice the working precision.

    Args:
        start: Shape (n,).
        X: Shape (n, p).
        *vectors: Shape (p,) each; a coefficient kept as a sum of several doubles comes as several.

    Returns:
        Shape (n,), rounded once at the end.

    Example:
        >>> subtract_products(np.array([1e16 + 2.0]), np.array([[1.0, 1.0]]), np.array([1e16, 1.0]))
        array([1.])
    """
    total = np.array(start, dtype=np.float64)
    lost = np.zeros_like(total)
    for v in vectors:
        for j in range(X.shape[1]):
            product, product_error = two_product(X[:, j], np.full(X.shape[0], -v[j]))
            total, sum_error = two_sum(total, product)
            lost += product_error + sum_error
    return total + lost


def _split(a: FloatArray) -> tuple[FloatArray, FloatArray]:
    scaled = _SPLITTER * a
    high = scaled - (scaled - a)
    return high, a - high

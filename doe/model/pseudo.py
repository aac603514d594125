"""Pseudo-components: shares stretched so that a small region fills the whole simplex.

Models are fitted in real proportions; pseudo-components serve the numbers that suffer from a small
region: variance inflation and condition.

Source:
    Cornell (2002), Experiments with Mixtures, 3rd ed., section 3.2, L-pseudocomponents;
    Piepel (1983), Journal of Quality Technology 15, 97-102, consistency of limits.
"""

from __future__ import annotations

import numpy as np

from doe.model.coding import Coding
from doe.study.settings import FloatArray

# Below this room (1 − ΣL) the package is one point, and nothing is left to stretch.
SMALLEST_ROOM = 1e-9


def implied_share_limits(low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Tighten share limits to those that can be reached when shares add to 1.

    Args:
        low: Lowest shares of the brief, shape (q,), proportion.
        high: Highest shares of the brief, shape (q,), proportion.

    Returns:
        Implied lowest and highest shares, shape (q,) each; crossed where no blend exists.

    Source:
        Piepel (1983): L* = max(L, 1 − Σ other U), U* = min(U, 1 − Σ other L).

    Example:
        >>> implied_share_limits(np.array([0.1, 0.4, 0.0]), np.array([0.4, 0.8, 0.3]))[1]
        array([0.4, 0.8, 0.3])
    """
    others_high = high.sum() - high
    others_low = low.sum() - low
    return np.maximum(low, 1 - others_high), np.minimum(high, 1 - others_low)


def lowest_shares(coding: Coding) -> FloatArray:
    """Give the implied lower limits of the shares, shape (q,); the L of the pseudo-components."""
    low = np.array([axis.low for axis in coding.shares], dtype=np.float64)
    high = np.array([axis.high for axis in coding.shares], dtype=np.float64)
    return implied_share_limits(low, high)[0] if len(low) else low


def to_pseudo(shares: FloatArray, low: FloatArray) -> FloatArray:
    """Turn real shares into L-pseudo-components, x' = (x − L) / (1 − ΣL).

    Args:
        shares: Shape (n, q), proportion.
        low: Lowest shares, shape (q,).

    Returns:
        Shape (n, q); adds to 1 where the shares do. The shares themselves where ΣL leaves no room.

    Example:
        >>> to_pseudo(np.array([[0.3, 0.7]]), np.array([0.2, 0.3])).round(9)
        array([[0.2, 0.8]])
    """
    room = 1 - low.sum()
    return (shares - low) / room if room > SMALLEST_ROOM else shares.copy()


def from_pseudo(pseudo: FloatArray, low: FloatArray) -> FloatArray:
    """Turn L-pseudo-components back into real shares, x = L + (1 − ΣL) x'."""
    room = 1 - low.sum()
    return low + room * pseudo if room > SMALLEST_ROOM else pseudo.copy()

"""What a drop of water does to the colour of a film, as signed components and one distance."""

from __future__ import annotations

import numpy as np

from doe.study.settings import FloatArray


def colour_components(before: FloatArray, after: FloatArray) -> FloatArray:
    """Give ΔL*, Δa* and Δb*, after less before; a spot that whitens has ΔL* above zero.

    Args:
        before: L*, a*, b* of the film beside or before the spot, shape (…, 3).
        after: L*, a*, b* of the spot, same shape, same illuminant and observer.
    """
    return after - before


def colour_distance(components: FloatArray) -> FloatArray:
    """Give ΔE*ab from ΔL*, Δa* and Δb*, shape (…, 3).

    Source:
        ISO/CIE 11664-4: the root of the sum of squares.

    Example:
        >>> float(colour_distance(np.array([3.0, 4.0, 0.0])))
        5.0
    """
    distance: FloatArray = np.sqrt(np.sum(np.square(components), axis=-1))
    return distance

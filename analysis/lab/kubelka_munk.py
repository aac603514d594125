"""From reflectance to absorption over scattering and back, with the film's own surface set aside.

All of it works on arrays of any shape, reflectance factors as fractions 0..1, and gives NaN where
nothing can be computed, so that thousands of curves go through at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """What the surface of a film does to the light.

    Attributes:
        k1: Part of the light that the surface reflects from outside, 0..1. 0.04 for a refractive
            index of 1.5 [calculated].
        k2: Part that it throws back from inside, 0..1. Theory gives 0.596 for diffuse light [from
            memory]; usually chosen between 0.4 and 0.6 [read: documentation of an open
            Kubelka-Munk toolbox that cites Allen 1980 and Saunderson 1942].
        includes_specular: Whether the instrument catches the gloss of the surface (sphere, gloss
            trap closed).
    """

    k1: float = 0.04
    k2: float = 0.6
    includes_specular: bool = True

    @property
    def floor(self) -> float:
        """Reflectance that an ideal black film would show, 0..1."""
        return self.k1 if self.includes_specular else 0.0


def surface_reflection(refractive_index: float) -> float:
    """Give the part of perpendicular light that a surface in air reflects, k1.

    Source:
        Fresnel's equation at right angles, ((n - 1) / (n + 1))².

    Example:
        >>> round(surface_reflection(1.5), 4)
        0.04
    """
    return ((refractive_index - 1.0) / (refractive_index + 1.0)) ** 2


def internal_reflectance(measured: FloatArray, surface: Surface) -> FloatArray:
    """Take the surface off a measured reflectance factor.

    Args:
        measured: Reflectance factor, any shape, 0..1.
        surface: What the surface does.

    Returns:
        Reflectance inside the film, same shape. NaN where the measured one is not above
        `surface.floor`: no film can be that dark.

    Source:
        Saunderson (1942), J. Opt. Soc. Am. 32, 727 [from memory], as used in the manner of
        ISO 18314-2:2023.
    """
    k1, k2 = surface.k1, surface.k2
    possible = np.where(measured > surface.floor, measured, np.nan)
    if surface.includes_specular:
        # With k1 in front: R_i = (R_m - k1) / (1 - k1 - k2 (1 - R_m))
        return np.asarray((possible - k1) / (1.0 - k1 - k2 * (1.0 - possible)), dtype=np.float64)
    # R_m = (1 - k1)(1 - k2) R_i / (1 - k2 R_i), solved for R_i
    through = (1.0 - k1) * (1.0 - k2)
    return np.asarray(possible / (through + k2 * possible), dtype=np.float64)


def measured_reflectance(internal: FloatArray, surface: Surface) -> FloatArray:
    """Put the surface back on: the inverse of `internal_reflectance`.

    Args:
        internal: Reflectance inside the film, any shape, 0..1.
        surface: What the surface does.

    Returns:
        Reflectance factor as the instrument would measure it, same shape.
    """
    k1, k2 = surface.k1, surface.k2
    # R_m = k1 + (1 - k1)(1 - k2) R_i / (1 - k2 R_i); without k1 in front if specular is excluded
    inside = (1.0 - k1) * (1.0 - k2) * internal / (1.0 - k2 * internal)
    return np.asarray(surface.floor + inside, dtype=np.float64)


def absorption_over_scattering(reflectance: FloatArray) -> FloatArray:
    """Compute K/S of an opaque layer.

    Args:
        reflectance: Of the layer without its surface, any shape, 0..1. Above 1, as a fluorescing
            film can show, it counts as 1: no absorption.

    Returns:
        K/S, same shape, no unit. NaN where the reflectance is not above 0.

    Source:
        Kubelka & Munk (1931), Z. Tech. Phys. 12, 593 [from memory]: K/S = (1 - R)² / (2 R).

    Example:
        >>> absorption_over_scattering(np.array([0.05, 0.5])).round(3).tolist()
        [9.025, 0.25]
    """
    R = np.where(reflectance > 0.0, np.minimum(reflectance, 1.0), np.nan)
    return np.asarray((1.0 - R) ** 2 / (2.0 * R), dtype=np.float64)


def opaque_reflectance(ratio: FloatArray) -> FloatArray:
    """Compute the reflectance of an opaque layer from its K/S.

    Args:
        ratio: K/S, any shape; below 0 it counts as 0, for nothing absorbs less than nothing.

    Returns:
        Reflectance without the surface, same shape, 0..1.
    """
    q = np.maximum(ratio, 0.0)
    # R = 1 + q - sqrt(q² + 2 q), written as 1 / (1 + q + sqrt(q² + 2 q)): no digits cancel.
    return np.asarray(1.0 / (1.0 + q + np.sqrt(q * q + 2.0 * q)), dtype=np.float64)

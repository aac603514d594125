"""Differences between two colours, each with its sign, and the distances made of them.

Calculated in the manner of ISO/CIE 11664-4, ISO/CIE 11664-6 and ASTM D2244.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.lab.colour_library import ciede2000
from analysis.lab.kubelka_munk import FloatArray

DistanceFormula = Literal["CIELAB", "CIEDE2000"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Differences:
    """Sample minus standard, part by part; arrays of one shape.

    Attributes:
        lightness: ΔL*, above 0 lighter.
        a: Δa*, above 0 redder or less green.
        b: Δb*, above 0 yellower or less blue.
        chroma: ΔC*, above 0 more colourful.
        hue: ΔH*, above 0 where the hue angle grew (counter-clockwise).
        hue_angle: Δh, degrees, above -180 up to 180.
    """

    lightness: FloatArray
    a: FloatArray
    b: FloatArray
    chroma: FloatArray
    hue: FloatArray
    hue_angle: FloatArray


def chroma(lab: FloatArray) -> FloatArray:
    """Compute C*, shape (..., 3) to (...)."""
    return np.asarray(np.hypot(lab[..., 1], lab[..., 2]), dtype=np.float64)


def hue_angle(lab: FloatArray) -> FloatArray:
    """Compute the hue angle h, degrees, 0 up to but not 360, shape (..., 3) to (...)."""
    angle = np.degrees(np.arctan2(lab[..., 2], lab[..., 1]))
    # Taken twice: an angle a hair below 0 becomes 360 by the first.
    return np.asarray(np.mod(np.mod(angle, 360.0), 360.0), dtype=np.float64)


def differences(sample: FloatArray, standard: FloatArray) -> Differences:
    """Compare L*, a*, b* of samples and standards, shape (..., 3)."""
    delta = sample - standard
    turned = hue_angle(sample) - hue_angle(standard)
    turned = 180.0 - np.mod(180.0 - turned, 360.0)
    # ΔH* = 2 sqrt(C1 C2) sin(Δh / 2): the part of ΔE*ab that lightness and chroma leave, signed.
    spread = 2.0 * np.sqrt(chroma(sample) * chroma(standard))
    return Differences(
        lightness=delta[..., 0],
        a=delta[..., 1],
        b=delta[..., 2],
        chroma=chroma(sample) - chroma(standard),
        hue=spread * np.sin(np.radians(turned) / 2.0),
        hue_angle=turned,
    )


def cielab_distance(sample: FloatArray, standard: FloatArray) -> FloatArray:
    """Compute ΔE*ab of L*, a*, b*, shape (..., 3) to (...)."""
    return np.asarray(np.linalg.norm(sample - standard, axis=-1), dtype=np.float64)


def colour_distance(
    sample: FloatArray, standard: FloatArray, formula: DistanceFormula
) -> FloatArray:
    """Compute ΔE by the formula wanted, of L*, a*, b*, shape (..., 3) to (...)."""
    if formula == "CIEDE2000":
        return ciede2000(sample, standard)
    return cielab_distance(sample, standard)

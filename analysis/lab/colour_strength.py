"""Relative colour strength of tints from their absorption over scattering.

Calculated in the manner of ISO 787-24:1985 and ISO 18314-2:2023; their own texts are needed for
conformity. Curves are rows of arrays of shape (n, w): n curves over w wavelengths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.lab.kubelka_munk import (
    FloatArray,
    Surface,
    absorption_over_scattering,
    internal_reflectance,
    measured_reflectance,
    opaque_reflectance,
)

# Beyond it the definitions tell different things: the hue has shifted, and strength is no single
# number. Common practice, no source.
GAP_PERCENT = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strengths:
    """Strength of n samples by three definitions, % of the standard, each of shape (n,).

    Attributes:
        maximum: At the wavelength where the standard absorbs most.
        weighted: Over the spectrum, weighted by what the eye takes from each wavelength.
        plain: Over the spectrum, every wavelength alike.
        place: Where the standard absorbs most, as a position in the spectrum.
    """

    maximum: FloatArray
    weighted: FloatArray
    plain: FloatArray
    place: int

    @property
    def gap(self) -> FloatArray:
        """Distance between the largest and the smallest, % of the weighted one, shape (n,)."""
        every = np.stack([self.maximum, self.weighted, self.plain])
        spread = every.max(axis=0) - every.min(axis=0)
        return np.asarray(100.0 * spread / np.abs(self.weighted), dtype=np.float64)


def absorption(reflectance: FloatArray, surface: Surface | None) -> FloatArray:
    """Compute K/S of measured curves.

    Args:
        reflectance: As measured, any shape, 0..1.
        surface: Of the film; None leaves it uncorrected.

    Returns:
        K/S, same shape. NaN where the film is darker than its surface alone can be.
    """
    inside = reflectance if surface is None else internal_reflectance(reflectance, surface)
    return absorption_over_scattering(inside)


def reflectance_from_absorption(ratio: FloatArray, surface: Surface | None) -> FloatArray:
    """Compute the curve that would be measured for a K/S: the inverse of `absorption`."""
    inside = opaque_reflectance(ratio)
    return inside if surface is None else measured_reflectance(inside, surface)


def strengths(
    samples: FloatArray,
    standard: FloatArray,
    weights: FloatArray,
    *,
    mass_ratio: float | FloatArray = 1.0,
) -> Strengths:
    """Compare the absorption of samples with that of their standard.

    Args:
        samples: K/S of the pigment, shape (n, w); that of the white taken off if wanted.
        standard: K/S of the standard, shape (w,), made in the same way.
        weights: What the eye takes from each wavelength, shape (w,); any scale.
        mass_ratio: Pigment in the standard's tint over pigment in the sample's; shape (n,) or one
            number for all.

    Returns:
        Strengths, % of the standard. NaN where the standard absorbs nothing.

    Source:
        Definitions by ISO 787-24:1985 [read: pigment of equal mass in the same white, ratio of
        K/S] and ISO 18314-2:2023 [read: scope only; weighting from memory].
    """
    place = int(np.argmax(standard))
    return Strengths(
        maximum=_ratio(samples[:, place], standard[place], mass_ratio),
        weighted=_ratio(samples @ weights, standard @ weights, mass_ratio),
        plain=_ratio(samples.sum(axis=1), standard.sum(), mass_ratio),
        place=place,
    )


def adjusted_to_standard(samples: FloatArray, strength: FloatArray) -> FloatArray:
    """Scale the K/S of samples to the strength of their standard.

    Args:
        samples: K/S of the pigment, shape (n, w).
        strength: % of the standard, shape (n,), before any correction for mass: it is the tint as
            drawn that is scaled.

    Returns:
        K/S at equal strength, shape (n, w).
    """
    return np.asarray(samples * (100.0 / strength)[:, None], dtype=np.float64)


def _ratio(
    sample: FloatArray, standard: FloatArray | float, mass_ratio: float | FloatArray
) -> FloatArray:
    if not standard > 0.0:
        return np.full(sample.shape, np.nan)
    return np.asarray(100.0 * sample / standard * mass_ratio, dtype=np.float64)

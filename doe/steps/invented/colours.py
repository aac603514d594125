"""Invented reflectance curves: tints of a red that never existed, beside the day's standard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analysis.lab.kubelka_munk import (
    Surface,
    absorption_over_scattering,
    internal_reflectance,
    measured_reflectance,
    opaque_reflectance,
)
from doe.study.settings import FloatArray

_NM = np.arange(400.0, 701.0, 10.0)
# How far a tint absorbs more at one end of the spectrum than at the other, as a part.
_TILT_SD = 0.004


def colour_file(
    strengths: Mapping[int, float], days: Sequence[int], rng: np.random.Generator
) -> bytes:
    """Write the curves of a study as an instrument exports them: one line a curve, in per cent.

    Args:
        strengths: Strength of each run's tint against the standard of its day, %.
        days: Days on which the standard was drawn.
        rng: Source of the scatter.

    Source:
        Invented for the demo of millbase; no measurement stands behind it.
    """
    lines = ["name," + ",".join(f"{nm:.0f} nm" for nm in _NM)]
    lines += [_line(f"standard day {day}", _standard()) for day in days]
    tilt = (_NM - 550.0) / 150.0
    for run, strength in strengths.items():
        part = strength / 100.0 * (1.0 + _TILT_SD * float(rng.normal()) * tilt)
        lines.append(_line(f"run {run}", _tint(part)))
    return ("\n".join(lines) + "\n").encode()


def _standard() -> FloatArray:
    """Reflectance of the standard's tint, 0..1: a step from dark to light in the orange."""
    reflectance: FloatArray = 0.08 + 0.55 / (1.0 + np.exp(-(_NM - 590.0) / 18.0))
    return reflectance


def _tint(part: FloatArray) -> FloatArray:
    """Reflectance of a tint that absorbs a part of what the standard does."""
    surface = Surface()
    absorbed = part * absorption_over_scattering(internal_reflectance(_standard(), surface))
    return measured_reflectance(opaque_reflectance(absorbed), surface)


def _line(name: str, reflectance: FloatArray) -> str:
    return f"{name}," + ",".join(f"{100 * value:.2f}" for value in reflectance)

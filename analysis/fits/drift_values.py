"""What a correction for drift changed, as values and in the units that people read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.fits.fit import Fit


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedCoefficient:
    """A coefficient that the correction moved by more than its standard error.

    Attributes:
        label: Its column.
        before: Without the correction, fitted scale.
        after: With it.
        std_error: Of the first.
    """

    label: str
    before: float
    after: float
    std_error: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DriftCorrection:
    """The same model without the correction, and what moved."""

    plain: Fit
    moved: tuple[MovedCoefficient, ...]


def slope_in_words(fit: Fit, values: Sequence[float]) -> tuple[tuple[float, ...], str]:
    """Bring slopes on the fitted scale to what people read, with the unit.

    A slope of logarithms is per cent a run; on other scales it is of the scale.
    """
    if fit.scale.name == "identity":
        return tuple(values), f"{fit.unit} a run".strip()
    if fit.scale.name == "log":
        return tuple(100 * math.expm1(value) for value in values), "% a run"
    return tuple(values), f"on the {fit.scale.name} scale, a run"

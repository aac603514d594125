"""What the fitted scale of a response is called on an axis."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.fits.fit import Scale


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleName:
    """Name and unit of a fitted scale.

    Attributes:
        short: What is on the axis, such as `ln viscosity`.
        unit: Its unit, such as `ln mPa·s`.
    """

    short: str
    unit: str


def name_scale(response: str, unit: str, scale: Scale) -> ScaleName:
    """Name the scale a response is fitted on.

    Example:
        >>> name_scale("viscosity", "mPa·s", Scale(name="log"))
        ScaleName(short='ln viscosity', unit='ln mPa·s')
    """
    match scale.name:
        case "identity":
            return ScaleName(short=response, unit=unit)
        case "log":
            return ScaleName(short=f"ln {response}", unit=f"ln {unit}" if unit else "")
        case "square root":
            return ScaleName(short=f"√ {response}", unit=f"√ {unit}" if unit else "")
        case "logit":
            return ScaleName(short=f"logit {response}", unit="")
        case "power":
            return ScaleName(short=f"({response}^λ − 1)/λ, λ = {scale.power or 0:g}", unit="")

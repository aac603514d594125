"""Readings on the scale that their response is fitted on, for doubts that are measured there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.study.brief import Response, ScaleName
from doe.study.choices import Choices
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedScale:
    """The scale of a response, as the brief or a kept choice says.

    Attributes:
        name: `auto` where only the data decide.
        power: λ of the power scale.
        bounds: Ends of the logit scale.
    """

    name: ScaleName
    power: float | None = None
    bounds: tuple[float, float] | None = None


def fitted_scale(response: Response, choices: Choices) -> FittedScale:
    """Find the scale that a response is fitted on: the one kept, else the brief's."""
    kept = choices.response(response.name)
    names: dict[str, ScaleName] = {
        "identity": "identity", "log": "log", "logit": "logit", "square root": "square root",
        "power": "power", "auto": "auto",
    }  # fmt: skip
    return FittedScale(
        name=names.get(kept.scale or response.scale, "auto"),
        power=kept.power if kept.power is not None else response.power,
        bounds=response.bounds,
    )


def on_scale(scale: FittedScale, y: FloatArray) -> FloatArray:
    """Take values to the scale; `auto` counts as identity.

    Args:
        scale: The scale.
        y: Response unit, any shape.

    Returns:
        Same shape; NaN or infinity where the scale has no place for a value.

    Source:
        Box and Cox (1964), J. R. Stat. Soc. B 26, 211-252, equation (1), for the power scale.

    Example:
        >>> on_scale(FittedScale(name="square root"), np.array([9.0]))
        array([3.])
    """
    power = scale.power or 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        if scale.name == "log" or (scale.name == "power" and power == 0.0):
            return np.log(y)
        if scale.name == "square root":
            return np.sqrt(y)
        if scale.name == "logit":
            low, high = scale.bounds or (0.0, 1.0)
            return np.log((y - low) / (high - y))
        if scale.name == "power":
            return (np.where(y > 0, y, np.nan) ** power - 1.0) / power
    return np.array(y, dtype=np.float64)

"""Scales: the form in which a response is modelled, and the way back to its unit.

Source:
    Box and Cox (1964), J. R. Stat. Soc. B 26, 211-252, equation (1), for the power scale.
"""

from __future__ import annotations

import numpy as np

from analysis.fits.fit import Scale
from doe.errors import FitError
from doe.study.brief import Response
from doe.study.settings import FloatArray


def scale_of(response: Response, *, name: str | None = None, power: float | None = None) -> Scale:
    """Take the scale from the brief, or from the name that overrides it.

    Args:
        response: The response of the brief; gives bounds and power where the name needs them.
        name: One of the scale names; `auto` counts as identity, as only the data can choose then.
        power: λ, overrides the brief's.

    Raises:
        FitError: The name is unknown, logit has no bounds, or power has no λ.
    """
    wanted = name or response.scale
    where = f"response '{response.name}'"
    if wanted in ("identity", "auto"):
        return Scale()
    if wanted == "log":
        return Scale(name="log")
    if wanted == "square root":
        return Scale(name="square root")
    if wanted == "logit":
        if response.bounds is None:
            raise FitError(
                "the logit scale needs the two ends of the response",
                where=where,
                allowed="bounds = [low, high] in the brief",
                do="Add bounds to the response, or take another scale.",
            )
        return Scale(name="logit", bounds=response.bounds)
    if wanted == "power":
        exponent = power if power is not None else response.power
        if exponent is None:
            raise FitError(
                "the power scale needs its power",
                where=where,
                allowed="power = a number, 0 for the logarithm",
                do="Give power with the response, or take the scale 'auto'.",
            )
        return Scale(name="power", power=exponent)
    raise FitError(
        f"there is no scale '{wanted}'",
        where=where,
        allowed="identity, log, logit, square root, power, auto",
    )


def allowed_values(scale: Scale, y: FloatArray) -> FloatArray:
    """Tell which values the scale can take, shape of y, 1.0 for yes and 0.0 for no."""
    if scale.name == "identity":
        ok = np.isfinite(y)
    elif scale.name == "logit":
        low, high = scale.bounds or (0.0, 1.0)
        ok = (y > low) & (y < high)
    elif scale.name == "square root":
        ok = y >= 0
    else:
        ok = y > 0
    return ok.astype(np.float64)


def forward(scale: Scale, y: FloatArray) -> FloatArray:
    """Take values to the fitted scale.

    Args:
        scale: The scale.
        y: Response unit, any shape; values that the scale cannot take give NaN or infinity.

    Example:
        >>> forward(Scale(name="log"), np.array([1.0, np.e])).round(12)
        array([0., 1.])
    """
    y = np.asarray(y, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        if scale.name == "log" or (scale.name == "power" and scale.power == 0.0):
            z = np.log(y)
        elif scale.name == "square root":
            z = np.sqrt(y)
        elif scale.name == "logit":
            low, high = scale.bounds or (0.0, 1.0)
            z = np.log((y - low) / (high - y))
        elif scale.name == "power":
            z = _box_cox(y, float(scale.power or 0.0))
        else:
            z = y.copy()
    return z


def inverse(scale: Scale, z: FloatArray) -> FloatArray:
    """Take values of the fitted scale back to the response's unit.

    Beyond the end of a scale (a negative square root, a power below its limit) the end is given:
    zero, or infinity for a negative power.

    Example:
        >>> inverse(Scale(name="square root"), np.array([3.0, -1.0]))
        array([9., 0.])
    """
    z = np.asarray(z, dtype=np.float64)
    with np.errstate(over="ignore", divide="ignore"):
        if scale.name == "log" or (scale.name == "power" and scale.power == 0.0):
            y = np.exp(z)
        elif scale.name == "square root":
            y = np.maximum(z, 0.0) ** 2
        elif scale.name == "logit":
            low, high = scale.bounds or (0.0, 1.0)
            y = low + (high - low) / (1.0 + np.exp(-z))
        elif scale.name == "power":
            power = float(scale.power or 0.0)
            y = np.maximum(power * z + 1.0, 0.0) ** (1.0 / power)
        else:
            y = z.copy()
    return y


def log_slope(scale: Scale, y: FloatArray) -> FloatArray:
    """Give ln |dz/dy| at each value: what makes likelihoods of different scales comparable."""
    y = np.asarray(y, dtype=np.float64)
    with np.errstate(divide="ignore"):
        if scale.name == "log":
            slope = -np.log(y)
        elif scale.name == "square root":
            slope = -np.log(2.0) - 0.5 * np.log(y)
        elif scale.name == "logit":
            low, high = scale.bounds or (0.0, 1.0)
            slope = np.log((high - low) / ((y - low) * (high - y)))
        elif scale.name == "power":
            slope = (float(scale.power or 0.0) - 1.0) * np.log(y)
        else:
            slope = np.zeros_like(y)
    return slope


def scale_words(scale: Scale) -> str:
    """Say the scale in words for tables and axes."""
    if scale.name == "power":
        return f"power {scale.power:g}"
    if scale.name == "logit" and scale.bounds is not None:
        return f"logit between {scale.bounds[0]:g} and {scale.bounds[1]:g}"
    return {"identity": "as read", "log": "natural logarithm", "square root": "square root"}.get(
        scale.name, scale.name
    )


def _box_cox(y: FloatArray, power: float) -> FloatArray:
    # (y^λ − 1)/λ through expm1, which keeps its digits as λ nears 0.
    z: FloatArray = np.expm1(power * np.log(y)) / power
    return z

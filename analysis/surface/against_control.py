"""Settings against a control: what they gain on it, with an interval.

Surface and controls were fitted together, so that the error of a difference comes from their joint
covariance. Several candidates share the level of their intervals by Dunnett's critical value.

Source:
    Dunnett (1955), Journal of the American Statistical Association 50, 1096-1121, from memory. That
    the fewest degrees of freedom of the differences hold for all of them where they differ, and
    the slope of the scale for a difference on the response's own scale (first order), are common
    practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.fits.dunnett import dunnett_critical, dunnett_p
from analysis.fits.fit import Fit, Scale
from analysis.fits.scales import inverse, log_slope
from analysis.fits.with_controls import WithControls
from analysis.surface.noise import NO_NOISE, Production
from analysis.surface.predict import averaged_rows
from doe.study.settings import FloatArray

Measure = Literal["difference", "ratio"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainstControl:
    """One candidate beside one control.

    Attributes:
        response: Name of the response.
        unit: Its unit; of the difference too.
        control: Name of the control.
        measure: `ratio` on a logarithmic scale, else `difference` in the response's unit.
        value: Candidate over control, or candidate less control.
        interval: Of that, at `level` for all candidates together; NaN without an error.
        control_value: What the control gives, response unit.
        level: Confidence, 0..1.
        df: Degrees of freedom of the interval; NaN where there are none.
        p: Chance of a difference as large if no candidate differs from the control.
        candidates: How many share the level.
    """

    response: str
    unit: str
    control: str
    measure: Measure
    value: float
    interval: tuple[float, float]
    control_value: float
    level: float
    df: float
    p: float
    candidates: int

    @property
    def is_told(self) -> bool:
        """Whether the interval leaves no doubt of the direction."""
        same = 1.0 if self.measure == "ratio" else 0.0
        return self.interval[0] > same or self.interval[1] < same


def against_control(
    fit: Fit,
    values: FloatArray,
    control: str,
    *,
    production: Production = NO_NOISE,
    level: float = 0.95,
) -> tuple[AgainstControl, ...]:
    """Set candidates beside a control.

    Args:
        fit: The fitted model.
        values: Settings of the g candidates, shape (g, k), lab units.
        control: Name of a control of the fit.
        production: Where noise factors lie; candidates are averaged over it, the control is as it
            was made.
        level: Chance that all g intervals hold, above 0.5 and below 1.

    Returns:
        One entry a candidate. The true values are compared, not single runs.

    Raises:
        ValueError: The fit has no such control.
    """
    joint = fit.with_controls
    if joint is None or control not in joint.names:
        raise ValueError(f"no control {control}")
    measure, estimate, L = _contrasts(fit, joint, control, averaged_rows(fit, values, production))
    covariance = L @ joint.covariance @ L.T
    error = np.sqrt(np.diag(covariance))
    least = float(np.min(joint.df(L)))
    reach, p = np.full(len(L), np.nan), np.full(len(L), np.nan)
    if np.all(error > 0) and least > 0:
        correlation = covariance / np.outer(error, error)
        reach = dunnett_critical(correlation, least, level=level) * error
        p = dunnett_p(estimate / error, correlation, least)
    ends = np.stack([estimate, estimate - reach, estimate + reach], axis=1)
    told = np.exp(ends) if measure == "ratio" else ends
    gave = float(inverse(fit.scale, np.array([joint.mean(control)]))[0])
    return tuple(
        AgainstControl(
            response=fit.response, unit=fit.unit, control=control, measure=measure,
            value=float(value), interval=(float(low), float(high)), control_value=gave,
            level=level, df=least, p=float(one), candidates=len(L),
        )
        for (value, low, high), one in zip(told, p, strict=True)
    )  # fmt: skip


def _contrasts(
    fit: Fit, joint: WithControls, control: str, at: tuple[FloatArray, FloatArray]
) -> tuple[Measure, FloatArray, FloatArray]:
    """Give the measure, its estimates (g,), logarithms for a ratio, and their contrasts."""
    rows, centre = at
    mean = joint.mean(control)
    if _is_log(fit.scale):
        return "ratio", centre - mean, joint.against(rows, control)
    if fit.scale.name == "identity":
        return "difference", centre - mean, joint.against(rows, control)
    own, gave = inverse(fit.scale, centre), inverse(fit.scale, np.array([mean]))
    # dy/dz at the candidate and at the control: the difference of values to first order.
    steep, steep_gave = np.exp(-log_slope(fit.scale, own)), np.exp(-log_slope(fit.scale, gave))
    L = joint.against(rows * steep[:, None], control, slope=float(steep_gave[0]))
    return "difference", own - gave[0], L


def _is_log(scale: Scale) -> bool:
    return scale.name == "log" or (scale.name == "power" and scale.power == 0.0)

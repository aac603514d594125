"""How far a control drifted while the work went on: a slope along the order as done.

Estimated and shown; nothing is corrected for it. The random order of runs keeps a drift out of the
terms on average, and it stays in the scatter.

Source:
    Least-squares slope and its t interval: Draper and Smith (1998), Applied Regression Analysis,
    3rd ed., section 1.4.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.fits.fit import Fit
from analysis.fits.readings_on_scale import averaged
from analysis.lab.response_data import ResponseData
from doe.study.settings import FloatArray

# A line through two leaves nothing to judge it by.
_LEAST_RUNS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlDrift:
    """One control's drift in one response, fitted scale.

    Attributes:
        control: Its name.
        n: Its runs.
        slope: Change for each run in order.
        change: Change from its first run to its last.
        interval: Of that change, from the control's own scatter about its line.
        level: Confidence, 0..1.
        df: Degrees of freedom, n − 2.
        p: Two-sided, of a slope of 0.
    """

    control: str
    n: int
    slope: float
    change: float
    interval: tuple[float, float]
    level: float
    df: int
    p: float


def control_drifts(
    data: ResponseData, fit: Fit, *, level: float = 0.95
) -> tuple[ControlDrift, ...]:
    """Estimate the drift of every control with three runs or more; none of fits by likelihood."""
    if fit.method == "ml":
        return ()
    z, order = averaged(data, fit.scale), np.array(data.order, dtype=np.float64)
    found = []
    for name in fit.control_means:
        own = np.array([control == name for control in data.control])
        if own.sum() >= _LEAST_RUNS and np.ptp(order[own]) > 0:
            found.append(_drift(name, order[own], z[own], level))
    return tuple(found)


def _drift(name: str, order: FloatArray, z: FloatArray, level: float) -> ControlDrift:
    x = order - order.mean()
    slope = float(x @ z / (x @ x))
    rest = z - z.mean() - slope * x
    df, span = len(z) - 2, float(np.ptp(order))
    error = float(np.sqrt(rest @ rest / df / (x @ x)))
    reach = float(stats.t.ppf(0.5 + level / 2, df)) * error
    return ControlDrift(
        control=name,
        n=len(z),
        slope=slope,
        change=slope * span,
        interval=((slope - reach) * span, (slope + reach) * span),
        level=level,
        df=df,
        p=float(2 * stats.t.sf(abs(slope) / error, df)) if error > 0 else float("nan"),
    )

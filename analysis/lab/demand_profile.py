"""Profile intervals of a dose on a fitted curve, open where the doses tried do not close them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import f as f_distribution

from doe.study.settings import FloatArray

# An end in the outermost quarter of the outermost gap between doses rests on one dose alone, which
# any bend behind the last but one dose would explain: it is called open.
END_PART = 0.25
# Steps of the walk from the estimate to the end of the doses, in ln dose.
STEPS = 12
# Relative precision of an end; a dose is weighed less precisely.
PRECISION = 1e-4
# Sums of squares (of ln viscosity) below this are rounding.
ROUNDING = 1e-20


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """An interval of a dose, % active on pigment; it holds every dose that is possible.

    Attributes:
        low: Lower end; None where the doses tried do not close it.
        high: Upper end; likewise.
        level: Its confidence.
    """

    low: float | None
    high: float | None
    level: float


def profile_limit(best: float, df: int, level: float) -> float:
    """Give the residual sum of squares up to which a tied curve is held possible.

    Source:
        Bates and Watts (1988), Nonlinear Regression Analysis and Its Applications, 6.1 (from
        memory): S(t) <= S·(1 + F(1, df) / df).
    """
    return best * (1 + float(f_distribution.ppf(level, 1, df)) / df)


def profile_interval(
    rss_at: Callable[[float], float],
    *,
    estimate: float,
    best: float,
    df: int,
    doses: FloatArray,
    level: float,
) -> Interval:
    """Find the interval of a dose by its profile.

    Args:
        rss_at: Least residual sum of squares of the curves tied to a dose.
        estimate: The dose of the best curve.
        best: Its residual sum of squares.
        df: Residual degrees of freedom; without any both ends are open.
        doses: Doses fitted, shape (n,).
        level: Confidence.
    """
    tried = np.unique(doses)
    if df < 1:
        return Interval(low=None, high=None, level=level)
    limit = max(profile_limit(best, df, level), ROUNDING)
    below, above = _closed_ends(tried)
    return Interval(
        low=_end(rss_at, limit, estimate, below) if estimate > below else None,
        high=_end(rss_at, limit, estimate, above) if estimate < above else None,
        level=level,
    )


def _closed_ends(tried: FloatArray) -> tuple[float, float]:
    """Give the doses beyond which an end is open."""
    x = np.log(tried)
    low, high = x[0] + END_PART * (x[1] - x[0]), x[-1] - END_PART * (x[-1] - x[-2])
    return float(np.exp(low)), float(np.exp(high))


def _end(
    rss_at: Callable[[float], float], limit: float, estimate: float, last: float
) -> float | None:
    """Walk from the estimate to the last closed dose, to where the profile last crosses the limit.

    The doses that are possible may lie in pieces: the interval reaches over all of them.
    """
    places = [float(dose) for dose in np.geomspace(estimate, last, STEPS + 1)]
    possible = [i for i, dose in enumerate(places) if i and rss_at(dose) <= limit]
    if possible and possible[-1] == STEPS:
        return None
    i = possible[-1] if possible else 0
    inside, outside = places[i], places[i + 1]
    if rss_at(inside) >= limit:
        return inside  # data without scatter: the interval is the estimate
    return float(brentq(lambda t: rss_at(t) - limit, inside, outside, xtol=PRECISION * inside))

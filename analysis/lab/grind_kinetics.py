"""Grind kinetics: how a property of the grind approaches its limit over time."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np

from analysis.lab.nonlinear_fit import Optimum, minimise_squares
from doe.errors import ResultsError
from doe.study.settings import FloatArray

Approach = Literal["first order", "first order from zero", "hyperbolic"]
APPROACHES: tuple[Approach, ...] = get_args(Approach)

# Least grind times: one more than parameters, which are 3 with a free start and 2 from zero.
FEWEST_TIMES: Mapping[Approach, int] = MappingProxyType(
    {"first order": 4, "first order from zero": 3, "hyperbolic": 3}
)
# A plateau is reached where less than this part of the gain is still to come; common practice.
STILL_TO_COME = 0.10
# Beyond this standard error, as a part of the gain, the limit is a guess; common practice.
_LIMIT_ERROR = 0.25
# An approach that explains less of the scatter between times than this was not seen.
_SEEN = 0.5
# Where less of the gain is left at the first time already, no rate can be told any more.
_SURELY_DONE = 1e-3
# Rates tried first, times the last time: from a straight line to a jump before the first time.
_RATES = np.geomspace(1e-3, 1e3, 121)


@dataclass(frozen=True, slots=True, kw_only=True)
class GrindFit:
    """An approach fitted to one batch.

    Attributes:
        approach: Which one.
        start: Value at time 0, response unit; 0 where it starts from zero.
        limit: Value that it approaches.
        rate: 1/min: k of a first-order approach, 1 / t½ of a hyperbolic one.
        limit_error: Standard error of the limit; NaN where the data do not tell it.
        rate_error: Standard error of the rate.
        residual_sd: Response unit.
        df: Degrees of freedom.
        explained: Part of the sum of squares about the mean that the approach explains.
        last_time: Last grind time, min.
        first_time: First grind time above 0, min.
        spread: Greatest less least value read.
    """

    approach: Approach
    start: float
    limit: float
    rate: float
    limit_error: float
    rate_error: float
    residual_sd: float
    df: int
    explained: float
    last_time: float
    first_time: float
    spread: float

    def value(self, time: FloatArray) -> FloatArray:
        """Give the fitted value (response unit) at grind times (min)."""
        parameters = np.array([self.limit, self.rate, self.start])
        return _value(self.approach, time, parameters)

    @property
    def half_time(self) -> float:
        """Time to half of the gain, min."""
        return (1.0 if self.approach == "hyperbolic" else math.log(2.0)) / self.rate

    def time_to(self, part: float) -> float:
        """Give the time (min) at which a part of the gain, 0..1, is done."""
        if self.approach == "hyperbolic":
            return part / (1.0 - part) / self.rate
        return -math.log1p(-part) / self.rate

    @property
    def still_to_come(self) -> float:
        """Part of the gain that is still to come after the last time, 0..1."""
        return _left(self.approach, self.last_time, self.rate)

    @property
    def is_seen(self) -> bool:
        """Whether the readings show an approach at all, rather than scatter."""
        return self.explained >= _SEEN

    @property
    def is_over_at_first(self) -> bool:
        """Whether the first time already lies on the plateau, so that no rate can be told."""
        return _left(self.approach, self.first_time, self.rate) < _SURELY_DONE

    def reaches_plateau(self, still_to_come: float = STILL_TO_COME) -> bool:
        """Tell whether the plateau is reached and its height known.

        Args:
            still_to_come: Part of the gain that may still come after the last time, 0..1.
        """
        if self.is_over_at_first:
            return True
        gain = abs(self.limit - self.start)
        known = self.limit_error <= _LIMIT_ERROR * gain
        return known and self.still_to_come <= still_to_come


def fit_grind(time: FloatArray, value: FloatArray, approach: Approach) -> GrindFit:
    """Fit an approach to the values of one batch.

    Args:
        time: Grind time, min, shape (n,), 0 or more.
        value: Value at each, response unit, shape (n,).
        approach: `first order` x = x∞ + (x0 − x∞) exp(−k t); from zero with x0 = 0; `hyperbolic`
            x = x∞ t / (t + t½).

    Returns:
        The least-squares fit; whether its limit is worth anything is asked of it.

    Raises:
        ResultsError: Too few different times.

    Source:
        First order and hyperbolic (the latter with ISO 8781-1 data): from memory.
    """
    n_times = len(np.unique(time))
    if n_times < FEWEST_TIMES[approach]:
        raise ResultsError(
            f"the batch has values at {n_times} grind times",
            allowed=f"at least {FEWEST_TIMES[approach]} for the approach '{approach}'",
            do="Draw samples at more times, some of them early.",
        )
    best = _search(approach, time, value)
    return _told(approach, best, time, value)


def increase_between(first: float, second: float) -> float:
    """Give the increase from one dispersing stage to the next, % of the first.

    Source:
        ISO 8781-1:1990, 100 (S2 − S1) / S1; concept read in its abstract.

    Example:
        >>> increase_between(80.0, 90.0)
        12.5
    """
    return 100.0 * (second - first) / first


def _shape(approach: Approach, time: FloatArray, rate: float) -> FloatArray:
    """Give the part of the gain that is done, 0..1, at each time."""
    done: FloatArray = -np.expm1(-rate * time)
    return rate * time / (1.0 + rate * time) if approach == "hyperbolic" else done


def _left(approach: Approach, time: float, rate: float) -> float:
    return 1.0 / (1.0 + rate * time) if approach == "hyperbolic" else math.exp(-rate * time)


def _value(approach: Approach, time: FloatArray, parameters: FloatArray) -> FloatArray:
    limit, rate, start = (float(one) for one in parameters)
    done = _shape(approach, time, rate)
    fitted: FloatArray = limit * done + start * (1.0 - done)
    return fitted


def _slopes(approach: Approach, time: FloatArray, parameters: FloatArray) -> FloatArray:
    """Give derivatives of the value by limit, rate and start, shape (n, 3)."""
    limit, rate, start = (float(one) for one in parameters)
    done = _shape(approach, time, rate)
    left = 1.0 - done
    per_rate = time * left**2 if approach == "hyperbolic" else time * left
    return np.column_stack([done, (limit - start) * per_rate, left])


def _search(approach: Approach, time: FloatArray, value: FloatArray) -> Optimum:
    """Search from the best of a grid of rates: for each, limit and start are linear."""
    n_free = 3 if approach == "first order" else 2
    unit = float(time.max())
    tried: list[tuple[float, FloatArray]] = []
    for rate in _RATES / unit:
        done = _shape(approach, time, float(rate))
        X = np.column_stack([done, 1.0 - done])[:, : n_free - 1]
        found = np.linalg.lstsq(X, value, rcond=None)[0]
        gap = value - X @ found
        start = found[1] if n_free == 3 else 0.0
        tried.append((float(gap @ gap), np.array([found[0], rate, start])))
    first = min(tried, key=lambda one: one[0])[1]
    ends = (_RATES[0] / unit / 10.0, _RATES[-1] / unit * 10.0)

    def filled(x: FloatArray) -> FloatArray:
        return np.concatenate([x, np.zeros(3 - n_free)])

    return minimise_squares(
        lambda x: _value(approach, time, filled(x)) - value,
        lambda x: _slopes(approach, time, filled(x))[:, :n_free],
        first[:n_free],
        lower=np.array([-np.inf, ends[0], -np.inf])[:n_free],
        upper=np.array([np.inf, ends[1], np.inf])[:n_free],
    )


def _told(approach: Approach, best: Optimum, time: FloatArray, value: FloatArray) -> GrindFit:
    limit, rate = float(best.parameters[0]), float(best.parameters[1])
    errors = best.standard_errors
    about_mean = float(np.sum((value - value.mean()) ** 2))
    return GrindFit(
        approach=approach,
        start=float(best.parameters[2]) if len(best.parameters) == 3 else 0.0,
        limit=limit,
        rate=rate,
        limit_error=float(errors[0]),
        rate_error=float(errors[1]),
        residual_sd=math.sqrt(best.sum_of_squares / best.df),
        df=best.df,
        explained=1.0 - best.sum_of_squares / about_mean if about_mean > 0.0 else 0.0,
        last_time=float(time.max()),
        first_time=float(time[time > 0.0].min()),
        spread=float(np.ptp(value)),
    )

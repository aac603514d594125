"""What each method of the family makes of raw readings: fineness, over the times of a batch."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np

from analysis.lab.computing.doubts import doubt, number_option
from analysis.lab.grind_kinetics import (
    APPROACHES,
    FEWEST_TIMES,
    STILL_TO_COME,
    Approach,
    GrindFit,
    fit_grind,
    increase_between,
)
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from doe.study.finding import Finding

# Part of the gain that counts as done, by the method's name.
_DONE = 0.95
# Beyond this standard error, as a part of itself, a rate is a guess; common practice, no source.
_RATE_ERROR = 0.5
# Grind time in the laboratory is good to half a minute; common practice, no source.
_CLOCK_MIN = 0.5

_Reads = Callable[[GrindFit, RawUnit, float], Computed]


def _from_fit(reads: _Reads) -> Compute:
    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        said = options.get("approach")
        approach: Approach = next((one for one in APPROACHES if one == said), "first order")
        if (why := _unusable(unit, approach)) is not None:
            return Computed(value=None, findings=(why,))
        time, value = (np.array(column) for column in zip(*unit.points, strict=True))
        fit = fit_grind(time, value, approach)
        if not fit.is_seen:
            return Computed(value=None, findings=(_not_seen(fit),))
        to_come = number_option(options, "still to come")
        return reads(fit, unit, STILL_TO_COME if math.isnan(to_come) else to_come / 100.0)

    return compute


def _unusable(unit: RawUnit, approach: Approach) -> Finding | None:
    times = {time for time, _ in unit.points}
    if len(times) < FEWEST_TIMES[approach]:
        return doubt(
            f"the batch has too few grind times for the approach '{approach}'.",
            advice="Draw samples at more times, some of them early.",
            grind_times=len(times),
            needed=FEWEST_TIMES[approach],
        )
    if approach != "first order" and unit.points[-1][1] < unit.points[0][1]:
        return doubt(
            f"the values fall with time, and '{approach}' only rises from 0.",
            advice="Take the approach 'first order'.",
        )
    return None


def _rate(fit: GrindFit, unit: RawUnit, to_come: float) -> Computed:
    if fit.is_over_at_first:
        # Nearly all was done at the first time: the rate is at least what does that part by then.
        least = fit.rate * fit.time_to(_DONE) / fit.first_time
        return Computed(value=least, flag="above", findings=(_over_at_first(fit),))
    if not fit.rate_error <= _RATE_ERROR * fit.rate:
        return Computed(value=None, findings=(_no_bend(fit),))
    findings = () if fit.reaches_plateau(to_come) else (_not_reached(fit),)
    return Computed(value=fit.rate, findings=findings)


def _limit(fit: GrindFit, unit: RawUnit, to_come: float) -> Computed:
    if fit.reaches_plateau(to_come):
        return Computed(value=fit.limit)
    first, last = unit.points[0][1], unit.points[-1][1]
    return Computed(
        value=last, flag="above" if last > first else "below", findings=(_not_reached(fit),)
    )


def _time_done(fit: GrindFit, unit: RawUnit, to_come: float) -> Computed:
    if fit.is_over_at_first:
        return Computed(value=fit.first_time, flag="below", findings=(_over_at_first(fit),))
    if not fit.reaches_plateau(to_come):
        return Computed(value=fit.last_time, flag="above", findings=(_not_reached(fit),))
    time = fit.time_to(_DONE)
    if time <= fit.last_time:
        return Computed(value=time)
    late = doubt(
        "95 % of the gain is done only after the last grind time.",
        advice="Grind a batch longer to see it.",
        time_min=time,
        last_time_min=fit.last_time,
    )
    return Computed(value=time, findings=(late,))


def _increase(unit: RawUnit, options: OptionValues) -> Computed:
    values = dict(unit.points)
    if len(values) < 2:
        why = doubt("one grind time makes no increase.", advice="Draw samples at two times.")
        return Computed(value=None, findings=(why,))
    asked = [number_option(options, name) for name in ("from time", "to time")]
    ends = [min(values), max(values)]
    stages = [end if math.isnan(time) else time for time, end in zip(asked, ends, strict=True)]
    found = [_near(values, time) for time in stages]
    if found[0] is None or found[1] is None or stages[0] >= stages[1] or found[0] == 0.0:
        why = doubt(
            "there are no values at the two stages to compare.",
            advice='Name two grind times of the plan: with = { "from time" = …, "to time" = … }.',
            from_time_min=stages[0],
            to_time_min=stages[1],
        )
        return Computed(value=None, findings=(why,))
    return Computed(value=increase_between(found[0], found[1]))


def _near(values: Mapping[float, float], time: float) -> float | None:
    """Find the value at a time, as near as the bench sets its clock: half a minute."""
    nearest = min(values, key=lambda one: abs(one - time))
    return values[nearest] if abs(nearest - time) <= _CLOCK_MIN else None


def _evidence(fit: GrindFit) -> dict[str, float | int | str]:
    every = {
        "rate, 1/min": fit.rate,
        "its standard error, 1/min": fit.rate_error,
        "limit": fit.limit,
        "standard error of the limit": fit.limit_error,
        "value at time 0": fit.start,
        "gain still to come, %": 100.0 * fit.still_to_come,
        "last grind time, min": fit.last_time,
        "residual sd": fit.residual_sd,
    }
    return {name: value for name, value in every.items() if math.isfinite(value)}


def _not_reached(fit: GrindFit) -> Finding:
    return Finding(
        level="caution",
        what="plateau not reached: at the last grind time the response still changes, or too few "
        "times show its limit.",
        evidence=_evidence(fit),
        advice="Grind longer, or take the value at a fixed time as the response.",
        source="10 % of the gain still to come, limit good to 25 % of it: common practice, no "
        "source",
    )


def _no_bend(fit: GrindFit) -> Finding:
    return Finding(
        level="caution",
        what="no rate can be told: the values show no bend beyond their scatter.",
        evidence=_evidence(fit),
        advice="Draw samples earlier and later, or take the value at a fixed time.",
        source="standard error up to half of the rate: common practice, no source",
    )


def _not_seen(fit: GrindFit) -> Finding:
    return Finding(
        level="caution",
        what="no approach to a limit is seen: the values scatter as much as they change.",
        evidence={"part explained": fit.explained, "spread of values": fit.spread},
        advice="Take the value at a fixed time as the response.",
        source="half of the scatter explained: common practice, no source",
    )


def _over_at_first(fit: GrindFit) -> Finding:
    return Finding(
        level="caution",
        what="the plateau is reached before the first grind time: the rate is only bounded.",
        evidence={"first grind time, min": fit.first_time},
        advice="Draw an earlier sample.",
    )


COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {
        "grind rate": _from_fit(_rate),
        "grind limit": _from_fit(_limit),
        "time to 95 % of the gain": _from_fit(_time_done),
        "increase between two stages": _increase,
    }
)

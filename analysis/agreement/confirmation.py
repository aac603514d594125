"""The pass rule of confirmation batches: what was foretold held against what came out.

All that is compared was frozen when the batches were planned; the models of today are not looked
at. Where units were lost the interval is that of the mean of those that are left, by the frozen
variances.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy import stats

from analysis.agreement.mean_prediction import interval_back, t_times
from analysis.agreement.observed import Observed, ObservedUnits
from analysis.agreement.planning import scale_of
from analysis.agreement.round_draws import bonferroni
from analysis.agreement.units import DAY, RoundUnits, kept_parts
from analysis.fits.scales import inverse
from analysis.risk.response_part import BELOW_DAY
from analysis.surface.acceptance import AcceptLimit
from doe.study.confirmation import Confirmation, FrozenControl, FrozenResponse

State = Literal["planned", "waiting", "judged"]
# A control, a batch or a scatter counts as off where chance does it once in twenty.
OFF_LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchOutcome:
    """One batch in one response.

    Attributes:
        batch: Its number.
        runs: Its runs.
        value: Tested value, response unit.
        flag: `above` or `below` where that is an end only; `gelled`; else empty.
        within: Whether it meets the limits; None without any.
        apart: Whether it lies apart from the other batches, beyond their scatter.
    """

    batch: int
    runs: tuple[int, ...]
    value: float | None
    flag: str = ""
    within: bool | None = None
    apart: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlOutcome:
    """A control of the round beside what it gave before.

    Attributes:
        control: Its name.
        n: Its values in the round.
        t: How far off, in standard deviations; positive for higher.
        off: Whether that is more than chance.
        value: What it gave, response unit.
        before: What it gave before.
    """

    control: str
    n: int
    t: float
    off: bool
    value: float
    before: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseOutcome:
    """One response held against what was foretold; response unit unless it says otherwise.

    Attributes:
        frozen: What was foretold.
        n: Values that came in.
        mean: Their mean, taken back from the fitted scale; None without a value.
        deviation: Of the mean from what was foretold, fitted scale.
        sd: Standard deviation of that, fitted scale.
        t: Their ratio.
        inside: Whether the mean lies inside its interval; None where that is not judged.
        interval: The interval; by the frozen variances where units were lost.
        recomputed: Whether units were lost, so that it is wider than the one that was frozen.
        within: Whether every batch meets the limits; None without limits.
        batches: Batch by batch.
        scatter_ratio: Variance among the batches over the one foretold; None for fewer than two.
        scatter_p: Chance of a larger one.
        controls: Controls of the round that were run before, too.
        new_controls: Those that were not, so that they tell nothing.
        left_out: Why some runs of the formula have no value.
        controls_unread: Controls that give no value.
    """

    frozen: FrozenResponse
    n: int
    mean: float | None
    deviation: float | None
    sd: float | None
    t: float | None
    inside: bool | None
    interval: tuple[float, float] | None
    recomputed: bool
    within: bool | None
    batches: tuple[BatchOutcome, ...]
    scatter_ratio: float | None = None
    scatter_p: float | None = None
    controls: tuple[ControlOutcome, ...] = ()
    new_controls: tuple[str, ...] = ()
    left_out: Mapping[int, str] = field(default_factory=dict)
    controls_unread: tuple[int, ...] = ()

    @property
    def response(self) -> str:
        """Its name."""
        return self.frozen.response

    @property
    def is_off(self) -> bool:
        """Whether its mean lies outside the interval."""
        return self.inside is False


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundOutcome:
    """A round held against its rule.

    Attributes:
        entry: What was frozen.
        state: planned, waiting or judged.
        waiting: Runs without a reading, by response.
        responses: Response by response; empty before all is in.
    """

    entry: Confirmation
    state: State
    waiting: Mapping[str, tuple[int, ...]]
    responses: tuple[ResponseOutcome, ...] = ()

    @property
    def inside(self) -> bool:
        """Whether every mean that is judged lies inside its interval."""
        return all(one.inside is not False for one in self.responses)

    @property
    def within(self) -> bool:
        """Whether every batch meets every limit."""
        return all(one.within is not False for one in self.responses)

    @property
    def lacking(self) -> tuple[str, ...]:
        """Responses of the rule that no batch gave a value of."""
        return tuple(one.response for one in self.responses if one.n == 0 and not one.batches)

    @property
    def passed(self) -> bool | None:
        """Whether the rule is met; None before all is in, or where a response has no value."""
        if self.state != "judged" or (self.inside and self.within and self.lacking):
            return None
        return self.inside and self.within


def judge(entry: Confirmation, observed: Mapping[str, Observed]) -> RoundOutcome:
    """Hold a round against its frozen rule.

    Args:
        entry: What was frozen.
        observed: Of each response of the entry.
    """
    known = {one.response: observed.get(one.response) for one in entry.responses}
    waiting = {name: one.waiting for name, one in known.items() if one and one.waiting}
    missing = [name for name, one in known.items() if one is None]
    anything = any(
        one and (len(one.formula) or one.left_out or one.gelled) for one in known.values()
    )
    if waiting or missing:
        state: State = "waiting" if anything else "planned"
        return RoundOutcome(entry=entry, state=state, waiting=waiting)
    responses = tuple(
        _response(frozen, one)
        for frozen in entry.responses
        if (one := known[frozen.response]) is not None
    )
    return RoundOutcome(entry=entry, state="judged", waiting={}, responses=responses)


def frozen_limits(frozen: FrozenResponse) -> tuple[AcceptLimit, ...]:
    """Give the frozen limits of a response as limits."""
    ends = zip(frozen.limits, (-1, 1), strict=True)
    return tuple(
        AcceptLimit(response=frozen.response, unit=frozen.unit, limit=end, side=side)
        for end, side in ends
        if end is not None
    )


def batch_variance(frozen: FrozenResponse, units: RoundUnits) -> float:
    """Give the variance of one batch's tested value within its day, fitted scale."""
    per_batch = max(len(units) // max(units.batches, 1), 1)
    one = RoundUnits(day=(0,) * per_batch, batch=(0,) * per_batch, unit=tuple(range(per_batch)))
    kept = kept_parts(tuple(frozen.components), one, frozen.test_share)
    return sum(kept[name] * value for name, value in frozen.components.items() if name in BELOW_DAY)


def _response(frozen: FrozenResponse, seen: Observed) -> ResponseOutcome:
    formula = seen.formula
    if not len(formula):
        batches = _batches(frozen, seen)
        return ResponseOutcome(
            frozen=frozen, n=0, mean=None, deviation=None, sd=None, t=None,
            inside=False if batches and frozen.is_judged else None, interval=frozen.interval,
            recomputed=False, within=_all_within(batches), batches=batches, left_out=seen.left_out,
            controls_unread=seen.controls_unread,
        )  # fmt: skip
    sd = _sd(frozen, formula.units)
    deviation = formula.mean - frozen.centre
    batches = _batches(frozen, seen)
    lost = bool(seen.left_out)
    ratio, p = _scatter(frozen, formula)
    return ResponseOutcome(
        frozen=frozen, n=len(formula), mean=_back(frozen, formula.mean), deviation=deviation,
        sd=sd, t=deviation / sd if sd > 0.0 else None, inside=_inside(frozen, deviation, sd),
        interval=_interval(frozen, sd) if lost else frozen.interval, recomputed=lost,
        within=_all_within(batches), batches=batches, scatter_ratio=ratio, scatter_p=p,
        controls=_controls(frozen, seen.controls), new_controls=_new_controls(frozen, seen),
        left_out=seen.left_out, controls_unread=seen.controls_unread,
    )  # fmt: skip


def _sd(frozen: FrozenResponse, units: RoundUnits) -> float:
    return float((frozen.model_variance + _new_variance(frozen, units)) ** 0.5)


def _new_variance(frozen: FrozenResponse, units: RoundUnits) -> float:
    """Give what units of a round add to their mean, fitted scale."""
    kept = kept_parts(tuple(frozen.components), units, frozen.test_share)
    return sum(kept[name] * value for name, value in frozen.components.items())


def _inside(frozen: FrozenResponse, deviation: float, sd: float) -> bool | None:
    if not frozen.is_judged or frozen.times is None:
        return None
    return abs(deviation) <= frozen.times * sd


def _interval(frozen: FrozenResponse, sd: float) -> tuple[float, float] | None:
    if frozen.times is None:
        return None
    return interval_back(scale_of(frozen.scale), frozen.centre, frozen.times * sd)


def _batches(frozen: FrozenResponse, seen: Observed) -> tuple[BatchOutcome, ...]:
    limits = frozen_limits(frozen)
    apart = _apart(frozen, seen.formula)
    found = []
    for batch, (runs, z) in seen.formula.by_batch().items():
        value = _back(frozen, z)
        flags = [seen.off_scale[run] for run in runs if run in seen.off_scale]
        gelled = any(run in seen.gelled for run in runs)
        within = None
        if limits:
            met = [bool(one.met(np.array([value]))[0]) for one in limits]
            # What lies above the scale cannot be shown to lie below a limit, nor the reverse.
            within = all(met) and not gelled and not _hidden(limits, flags)
        found.append(
            BatchOutcome(
                batch=batch,
                runs=runs,
                value=value,
                within=within,
                apart=batch in apart,
                flag="gelled" if gelled else flags[0] if flags else "",
            )
        )
    read = {run for one in found for run in one.runs}
    found += [
        BatchOutcome(batch=run, runs=(run,), value=None, flag="gelled", within=False)
        for run in seen.gelled
        if run not in read
    ]
    return tuple(found)


def _hidden(limits: Sequence[AcceptLimit], flags: Sequence[str]) -> bool:
    sides = {limit.side for limit in limits}
    return ("above" in flags and 1 in sides) or ("below" in flags and -1 in sides)


def _all_within(batches: Sequence[BatchOutcome]) -> bool | None:
    told = [one.within for one in batches if one.within is not None]
    return all(told) if told else None


def _apart(frozen: FrozenResponse, formula: ObservedUnits) -> set[int]:
    """Find the batches that lie apart from the mean of the others beyond the foretold scatter."""
    means = {batch: z for batch, (_, z) in formula.by_batch().items()}
    b = len(means)
    # Of two batches nobody can say which of them is the odd one.
    if b < 3:
        return set()
    sd = (batch_variance(frozen, formula.units) * b / (b - 1)) ** 0.5
    bar = t_times(bonferroni(OFF_LEVEL, b), _df(frozen))
    total = sum(means.values())
    return {batch for batch, z in means.items() if abs(z - (total - z) / (b - 1)) > bar * sd > 0.0}


def _scatter(frozen: FrozenResponse, formula: ObservedUnits) -> tuple[float | None, float | None]:
    means = [z for _, z in formula.by_batch().values()]
    foretold = batch_variance(frozen, formula.units)
    if DAY in frozen.components and formula.units.days > 1:
        foretold += frozen.components[DAY]
    if len(means) < 2 or foretold <= 0.0:
        return None, None
    ratio = float(np.var(means, ddof=1)) / foretold
    df = _df(frozen)
    k = len(means) - 1
    p = stats.f.sf(ratio, k, df) if np.isfinite(df) else stats.chi2.sf(ratio * k, k)
    return ratio, float(p)


def _controls(
    frozen: FrozenResponse, seen: Mapping[str, ObservedUnits]
) -> tuple[ControlOutcome, ...]:
    known = {one.control: one for one in frozen.controls}
    return tuple(
        _control(frozen, known[name], own)
        for name, own in seen.items()
        if name in known and len(own)
    )


def _new_controls(frozen: FrozenResponse, seen: Observed) -> tuple[str, ...]:
    known = {one.control for one in frozen.controls}
    return tuple(name for name, own in seen.controls.items() if name not in known and len(own))


def _control(frozen: FrozenResponse, before: FrozenControl, own: ObservedUnits) -> ControlOutcome:
    sd = float((before.std_error**2 + _new_variance(frozen, own.units)) ** 0.5)
    t = (own.mean - before.mean) / sd if sd > 0.0 else 0.0
    return ControlOutcome(
        control=before.control, n=len(own), t=t, off=abs(t) > t_times(OFF_LEVEL, _df(frozen)),
        value=_back(frozen, own.mean), before=_back(frozen, before.mean),
    )  # fmt: skip


def _df(frozen: FrozenResponse) -> float:
    return float("inf") if frozen.df is None else frozen.df


def _back(frozen: FrozenResponse, z: float) -> float:
    return float(inverse(scale_of(frozen.scale), np.array([z]))[0])

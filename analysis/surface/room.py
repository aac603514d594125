"""Room: how far each setting may move from a recipe before which limit is met."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from analysis.surface.acceptance import AcceptLimit, accept_limits
from analysis.surface.exact import Surface
from analysis.surface.level_comparison import ranged_by
from analysis.surface.lines import (
    RANGE_END,
    TOUCH,
    inside_region,
    moved,
    own_range,
    reach_along,
)
from analysis.surface.noise import NO_NOISE, Production
from analysis.surface.predict import predict_values
from doe.model.coding import ChoiceAxis, NumericAxis, ShareAxis, level_range
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.settings import FloatArray

# Places looked at on the way to the end of the region; a limit crossed twice between two of them
# by a cubic would have to be met within a two-hundredth of the range.
TRACE = 201

StopKind = Literal["accept", "region"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """What ends the way of a setting.

    Attributes:
        kind: `accept` for an acceptance limit, `region` for a range, a limit or a forbid.
        words: It, in words: `viscosity at most 2500 mPa·s`, or the bound of the region.
        response: The response whose limit it is; empty for the region.
        limit: That limit, response unit; None for the region.
    """

    kind: StopKind
    words: str
    response: str = ""
    limit: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """How far one setting may move, the others held (shares: giving way in their ratios).

    Attributes:
        setting: Name.
        unit: Its unit; empty for a share.
        at: Where it is, lab units.
        lowest: How far down every limit that is met now stays met.
        highest: How far up.
        ends: The whole range of the setting at this recipe, lab units.
        levels: The only settings that the bench can make; empty for a whole range.
        stopped_low: What is met first on the way down.
        stopped_high: What is met first on the way up.
    """

    setting: str
    unit: str
    at: float
    lowest: float
    highest: float
    stopped_low: Stop
    stopped_high: Stop
    ends: tuple[float, float]
    levels: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceRoom:
    """Which levels of a named choice keep every limit that is met now, the others held.

    Attributes:
        setting: Name.
        at: The level of the recipe.
        kept: Levels that keep every limit, in the brief's order.
        broken: For each other level what it breaks.
        without: For each other level that lacks a factor of the recipe: which, left out there.
    """

    setting: str
    at: str
    kept: tuple[str, ...]
    broken: Mapping[str, tuple[Stop, ...]]
    without: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def find_room(
    study: Study,
    region: Region,
    fits: Mapping[str, Surface],
    at: FloatArray,
    *,
    production: Production = NO_NOISE,
) -> tuple[Room | ChoiceRoom, ...]:
    """Find how far each setting may move from a recipe before a limit is reached.

    Args:
        study: The brief, for its acceptance limits.
        region: Its region.
        fits: Models by response; limits are held against predicted values.
        at: The recipe, shape (k,), lab units.
        production: Noise factors averaged over; they have no room, as nobody sets them.

    Returns:
        One entry a setting, in the study's order; none for what the recipe lacks, nor for a share
        that cannot move. A limit that is broken at the recipe stops nothing.
    """
    limits = [
        limit
        for limit in accept_limits(study.responses)
        if limit.response in fits
        and bool(limit.met(predict_values(fits[limit.response], at[None, :], production))[0])
    ]
    ways = _Ways(region=region, fits=fits, at=at, production=production, limits=tuple(limits))
    return tuple(
        room
        for j in range(len(region.coding.axes))
        if j not in production.columns and (room := ways.room(j)) is not None
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ways:
    """One recipe and all limits that are met there."""

    region: Region
    fits: Mapping[str, Surface]
    at: FloatArray
    production: Production
    limits: tuple[AcceptLimit, ...]

    def room(self, j: int) -> Room | ChoiceRoom | None:
        axis = self.region.coding.axes[j]
        if isinstance(axis, ChoiceAxis):
            return self._choice_room(j)
        if np.isnan(self.at[j]) or (isinstance(axis, ShareAxis) and axis.low >= axis.high):
            return None
        way = self._over_levels if isinstance(axis, NumericAxis) and axis.levels else self._along
        (lowest, low), (highest, high) = way(j, -1), way(j, 1)
        return Room(
            setting=axis.name,
            unit=axis.unit if isinstance(axis, NumericAxis) else "",
            at=float(self.at[j]),
            lowest=lowest,
            highest=highest,
            stopped_low=low,
            stopped_high=high,
            ends=own_range(self.region.coding, self.at, j) or (lowest, highest),
            levels=axis.levels if isinstance(axis, NumericAxis) else (),
        )

    def _along(self, j: int, sign: int) -> tuple[float, Stop]:
        """Follow a setting down or up to the first limit."""
        reach = reach_along(self.region, self.at, j)
        here = float(self.at[j])
        if reach is None:
            return here, Stop(kind="region", words="the recipe lies outside the region")
        end, words = (reach.low, reach.low_words) if sign < 0 else (reach.high, reach.high_words)
        first, stop = end, Stop(kind="region", words=words)
        trace = np.linspace(here, end, TRACE)
        for limit in self.limits:
            crossed = self._crossing(limit, j, trace)
            if crossed is not None and abs(crossed - here) < abs(first - here):
                first, stop = crossed, _accept_stop(limit)
        return first, stop

    def _crossing(self, limit: AcceptLimit, j: int, trace: FloatArray) -> float | None:
        """Find where a limit is first met along a trace, exactly; None where it is not."""

        def margin(x: FloatArray) -> FloatArray:
            rows = moved(self.region.coding, self.at, j, x)
            return limit.margin(predict_values(self.fits[limit.response], rows, self.production))

        broken = np.flatnonzero(~(margin(trace) >= 0.0))
        broken = broken[broken > 0]
        if not len(broken):
            return None
        return _root(margin, float(trace[broken[0] - 1]), float(trace[broken[0]]))

    def _over_levels(self, j: int, sign: int) -> tuple[float, Stop]:
        """Step over numeric levels until one breaks a limit."""
        axis = self.region.coding.axes[j]
        assert isinstance(axis, NumericAxis)
        here = float(self.at[j])
        last, stop = here, Stop(kind="region", words=RANGE_END)
        ahead = [level for level in axis.levels if (level - here) * sign > 0]
        for level in sorted(ahead, key=lambda level: abs(level - here)):
            row = self.at.copy()
            row[j] = level
            broken = self._broken(row)
            if broken:
                return last, broken[0]
            last = level
        return last, stop

    def _choice_room(self, j: int) -> ChoiceRoom:
        axis = self.region.coding.axes[j]
        assert isinstance(axis, ChoiceAxis)
        others = [level for i, level in enumerate(axis.levels) if i != int(self.at[j])]
        moves = {level: self._at_level(axis, level) for level in others}
        stops = {level: move.stops or self._broken(move.row) for level, move in moves.items()}
        return ChoiceRoom(
            setting=axis.name,
            at=axis.levels[int(self.at[j])],
            kept=tuple(level for level in axis.levels if not stops.get(level)),
            broken={level: broken for level, broken in stops.items() if broken},
            without={level: move.without for level, move in moves.items() if move.without},
        )

    def _at_level(self, axis: ChoiceAxis, level: str) -> _Move:
        """Put a choice to another level, ranged factors at their real value, or left out there."""
        coding = self.region.coding
        row = self.at.copy()
        row[coding.index(axis.name)] = axis.levels.index(level)
        without: list[str] = []
        stops: list[Stop] = []
        for other in ranged_by(axis.name, coding):
            j, ends = coding.index(other.name), level_range(other, level)
            unit = f" {other.unit}" if other.unit else ""
            if ends is None:
                without += [other.name] if np.isfinite(row[j]) else []
                row[j] = np.nan
            elif np.isnan(row[j]):
                stops.append(Stop(kind="region", words=f"it needs {other.name}"))
            elif not ends[0] - TOUCH <= row[j] <= ends[1] + TOUCH:
                words = f"its {other.name} runs from {ends[0]:g} to {ends[1]:g}{unit}"
                stops.append(Stop(kind="region", words=words))
        return _Move(row=row, without=tuple(without), stops=tuple(stops))

    def _broken(self, row: FloatArray) -> tuple[Stop, ...]:
        rows = row[None, :]
        if not bool(inside_region(self.region, rows, self.production.columns)[0]):
            return (Stop(kind="region", words="the region does not hold it"),)
        return tuple(
            _accept_stop(limit)
            for limit in self.limits
            if not bool(
                limit.met(predict_values(self.fits[limit.response], rows, self.production))[0]
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Move:
    """A recipe put to another level: the row, what it lacks there, what forbids it at once."""

    row: FloatArray
    without: tuple[str, ...]
    stops: tuple[Stop, ...]


def _root(margin: Callable[[FloatArray], FloatArray], kept: float, broken: float) -> float:
    """Find where a margin reaches 0 between a place where it is kept and one where it is not."""
    ends = margin(np.array([kept, broken]))
    if ends[0] <= 0.0 or np.isnan(ends[1]):
        return kept
    return float(brentq(lambda x: float(margin(np.array([x]))[0]), kept, broken, xtol=1e-12))


def _accept_stop(limit: AcceptLimit) -> Stop:
    return Stop(kind="accept", words=limit.words(), response=limit.response, limit=limit.limit)

"""Effects: what each response does along each setting, from one recipe, with confidence bands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from analysis.surface.exact import Surface
from analysis.surface.level_comparison import ranged_by
from analysis.surface.lines import TOUCH, inside_region, moved, own_range, reach_along
from analysis.surface.noise import NO_NOISE, Production
from analysis.surface.predict import predict_averaged
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis, level_range
from doe.model.region import Region
from doe.study.settings import BoolArray, FloatArray, frozen_array

POINTS = 41


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Effect:
    """One response along one setting, the other settings held or, for shares, giving way.

    Attributes:
        response: Name of the response.
        unit: Its unit.
        setting: What moves.
        setting_unit: Its unit; empty for shares and choices.
        at: Shape (g,), where, lab units; the level index of a named choice.
        labels: Level names of a named choice; empty otherwise.
        value: Shape (g,), response unit.
        low: Shape (g,), lower end of the mean interval.
        high: Shape (g,), upper end.
        inside: Shape (g,), whether the settings lie in the region.
        base: Where the setting is in the base recipe, lab units.
        level: Confidence of the band.
        ranged: Factors with their own range at each level, which keep their place in it.
        equal: Shape (g,), the value with these at their real value of the base recipe instead;
            NaN where the level's range does not hold it, or the level lacks one; empty else.
    """

    response: str
    unit: str
    setting: str
    setting_unit: str
    at: FloatArray
    labels: tuple[str, ...]
    value: FloatArray
    low: FloatArray
    high: FloatArray
    inside: BoolArray
    base: float
    level: float
    ranged: tuple[str, ...] = ()
    equal: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        for name in ("at", "value", "low", "high", "equal"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def change(self) -> float:
        """Size of the effect, response unit: end to end of a range, or the largest pair."""
        if self.labels:
            return float(np.ptp(self.value))
        return float(self.value[-1] - self.value[0])


def trace_effects(
    fits: Mapping[str, Surface],
    region: Region,
    base: FloatArray,
    *,
    production: Production = NO_NOISE,
    points: int = POINTS,
    level: float = 0.95,
) -> tuple[Effect, ...]:
    """Trace every response along every setting from a base recipe.

    Args:
        fits: Models by response, computed responses among them.
        region: The region; a share runs only as far as it allows, a factor over its range.
        base: The recipe that the others are held at, shape (k,), lab units.
        production: Noise factors averaged over; one that is traced is set instead.
        points: Places along each range.
        level: Confidence of the bands.

    Returns:
        One effect a response and setting, settings in the study's order within each response.
        A setting that the base recipe lacks, or a share that cannot move, is left out.
    """
    lines = [
        (j, line)
        for j in range(len(region.coding.axes))
        if (line := _line(region, base, j, points)) is not None
    ]
    return tuple(
        _effect(fit, region, base, j, line, production.without([j]), level)
        for fit in fits.values()
        for j, line in lines
    )


def _line(region: Region, base: FloatArray, j: int, points: int) -> FloatArray | None:
    """Give where a setting is traced, shape (g,), lab units."""
    axis = region.coding.axes[j]
    if isinstance(axis, ChoiceAxis):
        return np.arange(len(axis.levels), dtype=np.float64)
    if isinstance(axis, ShareAxis):
        reach = reach_along(region, base, j)
        if reach is None or reach.high <= reach.low:
            return None
        return np.linspace(reach.low, reach.high, points)
    ends = own_range(region.coding, base, j)
    if ends is None:
        return None
    if axis.levels:
        return np.array(axis.levels)
    return np.geomspace(*ends, points) if axis.spacing == "log" else np.linspace(*ends, points)


def _effect(
    fit: Surface,
    region: Region,
    base: FloatArray,
    j: int,
    line: FloatArray,
    production: Production,
    level: float,
) -> Effect:
    axis = region.coding.axes[j]
    values = (
        _along_choice(region.coding, base, j)
        if isinstance(axis, ChoiceAxis)
        else (moved(region.coding, base, j, line))
    )
    prediction = predict_averaged(fit, values, production, level=level)
    return Effect(
        response=fit.response,
        unit=fit.unit,
        setting=axis.name,
        setting_unit=axis.unit if isinstance(axis, NumericAxis) else "",
        at=line,
        labels=axis.levels if isinstance(axis, ChoiceAxis) else (),
        value=prediction.value,
        low=prediction.mean_interval[:, 0],
        high=prediction.mean_interval[:, 1],
        inside=inside_region(region, values, production.columns),
        base=float(base[j]),
        level=level,
        ranged=tuple(one.name for one in ranged_by(axis.name, region.coding)),
        equal=_at_equal_values(fit, region.coding, base, j, production),
    )


def _at_equal_values(
    fit: Surface, coding: Coding, base: FloatArray, j: int, production: Production
) -> FloatArray:
    """Predict each level of a choice with ranged factors at their real values, shape (g,)."""
    axis = coding.axes[j]
    ranged = ranged_by(axis.name, coding)
    if not isinstance(axis, ChoiceAxis) or not ranged:
        return np.zeros(0)
    rows = np.tile(base, (len(axis.levels), 1))
    rows[:, j] = np.arange(len(axis.levels))
    held = np.array(
        [all(_holds(one, level, base[coding.index(one.name)]) for one in ranged)
         for level in axis.levels]
    )  # fmt: skip
    values = np.full(len(rows), np.nan)
    if held.any():
        values[held] = predict_averaged(fit, rows[held], production).value
    return values


def _holds(axis: NumericAxis, level: str, value: float) -> bool:
    ends = level_range(axis, level)
    return ends is not None and ends[0] - TOUCH <= value <= ends[1] + TOUCH


def _along_choice(coding: Coding, base: FloatArray, j: int) -> FloatArray:
    """Set a choice to each of its levels; a factor ranged by it keeps its place in its range.

    A level that lacks the factor has none; where the base lacks it, it stands in the middle.
    """
    axis = coding.axes[j]
    assert isinstance(axis, ChoiceAxis)
    rows = np.tile(base, (len(axis.levels), 1))
    rows[:, j] = np.arange(len(axis.levels))
    for i, other in enumerate(coding.axes):
        if not isinstance(other, NumericAxis) or not other.ranges:
            continue
        if other.ranges[0].choice != axis.name:
            continue
        place = _place(coding, base, i)
        for row in rows:
            row[i] = 0.0
            ends = own_range(coding, row, i)
            row[i] = np.nan if ends is None else _at_place(ends, place, other.spacing == "log")
    return rows


def _place(coding: Coding, base: FloatArray, i: int) -> float:
    """Give where a ranged factor is in its range, 0..1 on its own scale."""
    ends, axis = own_range(coding, base, i), coding.axes[i]
    if ends is None or ends[0] == ends[1]:
        return 0.5
    assert isinstance(axis, NumericAxis)
    low, high, x = np.log([*ends, base[i]]) if axis.spacing == "log" else (*ends, base[i])
    return float((x - low) / (high - low))


def _at_place(ends: tuple[float, float], place: float, by_log: bool) -> float:
    low, high = np.log(ends) if by_log else ends
    x = low + place * (high - low)
    return float(np.exp(x) if by_log else x)

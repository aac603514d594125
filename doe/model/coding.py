"""Coding: how lab settings become the unit-free numbers that models work with.

Source:
    DESIGN.md, section 5, "Coding"; for shares Cornell (2002), Experiments with Mixtures, 3rd ed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from doe.errors import StudyError
from doe.study.brief import Factor, Study
from doe.study.level_ranges import own_ranges
from doe.study.names import fold, match_name
from doe.study.settings import FloatArray, Settings, frozen_array

Spacing = Literal["even", "log"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareAxis:
    """A member of the package; enters models as its real proportion.

    Attributes:
        name: Name of the additive.
        low: Lowest share of the brief, proportion of active matter.
        high: Highest share of the brief.
        step: Smallest difference the bench can set, None for any.
    """

    name: str
    low: float
    high: float
    step: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisRange:
    """The range of a numeric axis at one level of a named choice; low is None if it lacks one."""

    choice: str
    level: str
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NumericAxis:
    """A numeric factor; coded (x − middle) / half range, of ln x where spacing is `log`.

    Attributes:
        name: Name of the factor.
        unit: Lab unit.
        low: Setting coded −1.
        high: Setting coded +1.
        spacing: `log` codes ln x.
        levels: The only settings the bench can make; empty for a whole range.
        step: Smallest difference the bench can set, None for any.
        ranges: The factor's own range at each level of one named choice; empty for one range.
        noise: Drifts in production and is never chosen.
    """

    name: str
    unit: str
    low: float
    high: float
    spacing: Spacing = "even"
    levels: tuple[float, ...] = ()
    step: float | None = None
    ranges: tuple[AxisRange, ...] = ()
    noise: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceAxis:
    """A named choice; its L levels enter as L − 1 columns that sum to zero over the levels.

    Attributes:
        name: Name of the factor.
        levels: Its levels, as the brief has them.
        noise: Drifts in production and is never chosen.
        never: Levels that no run has: no column is theirs, and nothing is said of them.
    """

    name: str
    levels: tuple[str, ...]
    noise: bool = False
    never: tuple[str, ...] = ()


Axis = ShareAxis | NumericAxis | ChoiceAxis


@dataclass(frozen=True, slots=True, kw_only=True)
class Coding:
    """The axes of a study, in the column order of its tables of settings."""

    axes: tuple[Axis, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the k settings."""
        return tuple(axis.name for axis in self.axes)

    @property
    def shares(self) -> tuple[ShareAxis, ...]:
        """The members of the package; empty without one."""
        return tuple(axis for axis in self.axes if isinstance(axis, ShareAxis))

    @property
    def factors(self) -> tuple[NumericAxis | ChoiceAxis, ...]:
        """Everything set besides the shares."""
        return tuple(axis for axis in self.axes if not isinstance(axis, ShareAxis))

    @property
    def labels(self) -> Mapping[str, tuple[str, ...]]:
        """Level names of each named choice."""
        return {axis.name: axis.levels for axis in self.axes if isinstance(axis, ChoiceAxis)}

    def index(self, name: str) -> int:
        """Find the column of a setting.

        Raises:
            ValueError: No setting has that name.
        """
        return self.names.index(name)


def coding_of(study: Study) -> Coding:
    """Read the axes off a brief: additives, then every factor that is not held.

    A level without a `[[factor.range]]` lacks the factor; see `own_ranges` for the one exception.
    """
    shares = tuple(
        ShareAxis(name=part.name, low=part.low, high=part.high, step=part.step)
        for part in study.additives
    )
    factors = tuple(_factor_axis(factor, study) for factor in study.varied_factors)
    return Coding(axes=shares + factors)


def level_range(axis: NumericAxis, level: str) -> tuple[float, float] | None:
    """Give the range of a ranged factor at a level of its choice; None where it lacks the factor.

    Raises:
        ValueError: The factor has one range, or its choice has no such level.
    """
    for entry in axis.ranges:
        if entry.level == level:
            return None if entry.low is None or entry.high is None else (entry.low, entry.high)
    raise ValueError(f"'{axis.name}' has no range at '{level}'")


def present_levels(axis: NumericAxis) -> tuple[str, ...]:
    """Give the levels of its choice at which a ranged factor exists; empty for one range."""
    return tuple(entry.level for entry in axis.ranges if entry.low is not None)


def code(values: FloatArray, coding: Coding) -> FloatArray:
    """Turn lab settings into coded ones.

    Args:
        values: Shape (n, k), lab units, a named choice as the index of its level.
        coding: The k axes.

    Returns:
        Shape (n, k): numeric settings coded −1 to +1 over their range, shares and level indices as
        they are; NaN where a level lacks the factor.

    Source:
        DESIGN.md, section 5, "Coding".

    Example:
        >>> dose = NumericAxis(name="dose", unit="%", low=0.8, high=3.2, spacing="log")
        >>> code(np.array([[0.8], [1.6], [3.2]]), Coding(axes=(dose,))).round(9).ravel()
        array([-1.,  0.,  1.])
    """
    coded = np.array(values, dtype=np.float64)
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, NumericAxis):
            middle, half = _middle_and_half(coded, axis, coding)
            coded[:, j] = (_onto_scale(coded[:, j], axis.spacing) - middle) / half
    return coded


def decode(coded: FloatArray, coding: Coding) -> FloatArray:
    """Turn coded settings into lab ones; the inverse of `code`.

    Args:
        coded: Shape (n, k), see `code`.
        coding: The k axes.

    Returns:
        Shape (n, k), lab units; NaN where a level lacks the factor.
    """
    values = np.array(coded, dtype=np.float64)
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, NumericAxis):
            middle, half = _middle_and_half(values, axis, coding)
            onto = middle + half * values[:, j]
            values[:, j] = np.exp(onto) if axis.spacing == "log" else onto
    return values


def lab_values(coded: FloatArray, axis: NumericAxis) -> tuple[FloatArray, FloatArray]:
    """Turn coded settings of an axis with one range into lab ones, and give their slope.

    Args:
        coded: Shape (n,).
        axis: Its range must not hang on a choice.

    Returns:
        Lab settings and lab units per coded unit, both of shape (n,).

    Raises:
        ValueError: The range hangs on a choice.
    """
    if axis.ranges:
        raise ValueError(f"the range of '{axis.name}' hangs on a choice")
    middle, half = _ends_on_scale(axis.low, axis.high, axis.spacing)
    onto = middle + half * coded
    if axis.spacing == "even":
        return onto, np.full(len(coded), half)
    values = np.exp(onto)
    return values, half * values


def settings_table(values: FloatArray, coding: Coding) -> Settings:
    """Put names and level names to an array of lab settings, shape (n, k)."""
    return Settings(names=coding.names, values=values, labels=coding.labels)


def _factor_axis(factor: Factor, study: Study) -> NumericAxis | ChoiceAxis:
    if factor.kind == "choice":
        words = tuple(str(level) for level in factor.levels)
        return ChoiceAxis(name=factor.name, levels=words, noise=factor.noise)
    levels = tuple(sorted(float(level) for level in factor.levels))
    ranges = _ranges(factor, study)
    lows = [entry.low for entry in ranges if entry.low is not None]
    highs = [entry.high for entry in ranges if entry.high is not None]
    low = levels[0] if levels else min(lows, default=factor.low)
    high = levels[-1] if levels else max(highs, default=factor.high)
    if low is None or high is None:
        raise StudyError(
            f"factor '{factor.name}' has no range",
            where="study.toml",
            allowed="low and high, levels, a value, or [[factor.range]] entries",
            do="Give the lowest and the highest setting.",
        )
    return NumericAxis(
        name=factor.name,
        unit=factor.unit,
        low=low,
        high=high,
        spacing=factor.spacing,
        levels=levels,
        step=factor.step,
        ranges=ranges,
        noise=factor.noise,
    )


def _ranges(factor: Factor, study: Study) -> tuple[AxisRange, ...]:
    if not factor.ranges:
        return ()
    named = {fold(name) for entry in factor.ranges for name in entry.when}
    choices = [one.name for one in study.factors if one.kind == "choice"]
    choice = match_name(next(iter(factor.ranges[0].when), ""), choices)
    if len(named) != 1 or any(len(entry.when) != 1 for entry in factor.ranges) or choice is None:
        raise StudyError(
            f"the ranges of factor '{factor.name}' do not hang on one named choice",
            where="study.toml, [[factor.range]]",
            allowed="when = { CHOICE = LEVEL }, the same choice in every range",
            do="Name one choice with its level in each range.",
        )
    return tuple(
        AxisRange(
            choice=choice,
            level=level,
            low=None if ends is None else ends[0],
            high=None if ends is None else ends[1],
        )
        for level, ends in own_ranges(study, factor).items()
    )


def _onto_scale(x: FloatArray, spacing: Spacing) -> FloatArray:
    if spacing == "even":
        return x
    # What cannot have a logarithm is no setting of a log-spaced factor: NaN, as for a missing one.
    return np.log(np.where(x > 0, x, np.nan))


def _middle_and_half(
    values: FloatArray, axis: NumericAxis, coding: Coding
) -> tuple[FloatArray | float, FloatArray | float]:
    """Give middle and half range on the axis's scale; per row, shape (n,), where it is ranged."""
    if not axis.ranges:
        return _ends_on_scale(axis.low, axis.high, axis.spacing)
    choice = coding.axes[coding.index(axis.ranges[0].choice)]
    assert isinstance(choice, ChoiceAxis)
    table = _table_of_ranges(axis, choice)
    index = values[:, coding.index(choice.name)]
    rows = np.where(np.isnan(index), len(choice.levels), np.nan_to_num(index)).astype(np.int64)
    return table[rows, 0], table[rows, 1]


@lru_cache(maxsize=256)
def _table_of_ranges(axis: NumericAxis, choice: ChoiceAxis) -> FloatArray:
    """Give middle and half range at each level; a last row for an open choice leaves it open."""
    table = np.full((len(choice.levels) + 1, 2), np.nan)
    for i, level in enumerate(choice.levels):
        own = level_range(axis, level)
        if own is not None:
            table[i] = _ends_on_scale(*own, axis.spacing)
    return frozen_array(table)


@lru_cache(maxsize=1024)
def _ends_on_scale(low: float, high: float, spacing: Spacing) -> tuple[float, float]:
    ends = _onto_scale(np.array([low, high]), spacing)
    return float(ends.mean()), _half(ends)


def _half(ends: FloatArray) -> float:
    half = float(ends[1] - ends[0]) / 2
    # A range of no width codes as 0 whatever divides it.
    return half if half > 0 else 1.0

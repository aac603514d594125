"""Levels of a choice compared where each level has its own range of another factor.

The choice's main effect compares them between their range middles. That is not the same amount of
the factor, so each pair is compared at an equal real value as well: the middle of what both ranges
hold.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from scipy import stats

from analysis.fits.fit import Fit
from analysis.fits.scales import inverse
from analysis.surface.predict import mean_df
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis, code, level_range
from doe.model.matrix import compile_model
from doe.model.region import Region
from doe.model.vertices import overall_centroid
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelComparison:
    """Two levels of a choice compared; every other setting in its middle, other choices averaged.

    Attributes:
        choice: Name of the choice.
        levels: The two levels.
        setting: The factor whose real value is equal; empty for the range middles.
        unit: Its unit.
        value: That value, lab units; None between the range middles, and where there is none.
        why_not: Why there is no comparison at an equal real value; empty where there is one.
        values: What the model gives at each of the two, response unit, at `value_is`.
        estimate: First level less second, fitted scale.
        std_error: Its standard error; None without error degrees of freedom.
        df: Its degrees of freedom.
        p: Of no difference, this pair alone.
        interval: Confidence interval of the difference, fitted scale.
    """

    choice: str
    levels: tuple[str, str]
    setting: str = ""
    unit: str = ""
    value: float | None = None
    why_not: str = ""
    values: tuple[float, float] | None = None
    estimate: float | None = None
    std_error: float | None = None
    df: float | None = None
    p: float | None = None
    interval: tuple[float, float] | None = None


def compare_levels(fit: Fit, region: Region, *, level: float = 0.95) -> tuple[LevelComparison, ...]:
    """Compare the levels of every choice on which the range of another factor hangs.

    Args:
        fit: The model.
        region: The region; its middle blend stands for the shares.
        level: Confidence of the intervals.

    Returns:
        For each pair of levels the comparison between the range middles, then one at an equal real
        value for each factor ranged by the choice; empty where no range hangs on a choice.

    Source:
        DESIGN.md, section 5, "Coding".
    """
    return tuple(
        comparison
        for axis in fit.coding.axes
        if isinstance(axis, ChoiceAxis) and (ranged := ranged_by(axis.name, fit.coding))
        for pair in combinations(axis.levels, 2)
        for comparison in _compare(_Comparer(fit, region, axis, level), pair, ranged)
    )


def ranged_by(choice: str, coding: Coding) -> tuple[NumericAxis, ...]:
    """Give the factors whose range hangs on a choice."""
    return tuple(
        axis
        for axis in coding.axes
        if isinstance(axis, NumericAxis) and axis.ranges and axis.ranges[0].choice == choice
    )


def middles_words(coding: Coding) -> str:
    """Say what the main effect of a choice compares where ranges hang on it; else nothing.

    Example:
        >>> from doe.model.coding import AxisRange
        >>> dose = NumericAxis(
        ...     name="dose", unit="%", low=1.0, high=3.0,
        ...     ranges=(AxisRange(choice="chemistry", level="none", low=None, high=None),
        ...             AxisRange(choice="chemistry", level="acrylic", low=1.0, high=3.0)))
        >>> chemistry = ChoiceAxis(name="chemistry", levels=("none", "acrylic"))
        >>> middles_words(Coding(axes=(dose, chemistry)))
        "The effect of 'chemistry' is between the range middles of 'dose' (none: without it)."
    """
    said = []
    for axis in coding.axes:
        ranged = ranged_by(axis.name, coding) if isinstance(axis, ChoiceAxis) else ()
        if not ranged:
            continue
        parts = []
        for one in ranged:
            lacking = [entry.level for entry in one.ranges if entry.low is None]
            without = f" ({', '.join(lacking)}: without it)" if lacking else ""
            parts.append(f"'{one.name}'{without}")
        said.append(
            f"The effect of '{axis.name}' is between the range middles of {' and '.join(parts)}."
        )
    return " ".join(said)


def shared_value(axis: NumericAxis, levels: tuple[str, str]) -> float | None:
    """Give the middle of what the ranges of two levels share, lab units; None where nothing."""
    ends = [level_range(axis, level) for level in levels]
    there = [one for one in ends if one is not None]
    if len(there) < len(ends):
        return None
    low, high = max(one[0] for one in there), min(one[1] for one in there)
    if low > high:
        return None
    return float(np.sqrt(low * high)) if axis.spacing == "log" else (low + high) / 2


def _compare(
    comparer: _Comparer, pair: tuple[str, str], ranged: Sequence[NumericAxis]
) -> Iterator[LevelComparison]:
    yield comparer.comparison(pair, {})
    for axis in ranged:
        value = shared_value(axis, pair)
        if value is None:
            yield LevelComparison(
                choice=comparer.axis.name,
                levels=pair,
                setting=axis.name,
                unit=axis.unit,
                why_not=_why_not(axis, pair),
            )
        else:
            yield comparer.comparison(pair, {axis.name: value}, axis)


def _why_not(axis: NumericAxis, pair: tuple[str, str]) -> str:
    lacking = [level for level in pair if level_range(axis, level) is None]
    if lacking:
        return f"{' and '.join(lacking)} without {axis.name}"
    return f"no {axis.name} that both ranges hold"


class _Comparer:
    """Compares levels of one choice by one fit."""

    def __init__(self, fit: Fit, region: Region, axis: ChoiceAxis, level: float) -> None:
        self.fit, self.axis, self.level = fit, axis, level
        self.expansion = compile_model(fit.coding, fit.model)
        self.middle = np.asarray(overall_centroid(region), dtype=np.float64).mean(axis=0)

    def comparison(
        self, pair: tuple[str, str], at: Mapping[str, float], axis: NumericAxis | None = None
    ) -> LevelComparison:
        """Compare two levels, ranged factors in the middles but those named."""
        rows = np.array([self._row(level, at) for level in pair])
        fitted = rows @ self.fit.coefficients
        L = (rows[0] - rows[1])[None, :]
        estimate = float(L[0] @ self.fit.coefficients)
        variance = float(L[0] @ self.fit.covariance @ L[0])
        df = float(mean_df(self.fit, L)[0])
        first, second = inverse(self.fit.scale, fitted)
        known = np.isfinite(variance) and np.isfinite(df) and variance > 0
        error = float(np.sqrt(variance)) if known else None
        half = float(stats.t.ppf(0.5 + self.level / 2, df)) * error if error is not None else None
        return LevelComparison(
            choice=self.axis.name,
            levels=pair,
            setting="" if axis is None else axis.name,
            unit="" if axis is None else axis.unit,
            value=None if axis is None else at[axis.name],
            values=(float(first), float(second)),
            estimate=estimate,
            std_error=error,
            df=df if known else None,
            p=float(2 * stats.t.sf(abs(estimate) / error, df)) if error is not None else None,
            interval=None if half is None else (estimate - half, estimate + half),
        )

    def _row(self, level: str, at: Mapping[str, float]) -> FloatArray:
        """Give a level's model row, shape (p,): other choices averaged, the rest in the middle."""
        coding = self.fit.coding
        others = [
            range(len(axis.levels)) if axis.name != self.axis.name else [axis.levels.index(level)]
            for axis in coding.axes
            if isinstance(axis, ChoiceAxis)
        ]
        columns = [j for j, axis in enumerate(coding.axes) if isinstance(axis, ChoiceAxis)]
        combined = list(product(*others))
        coded = np.zeros((len(combined), len(coding.axes)))
        coded[:, columns] = np.array(combined)
        for j, axis in enumerate(coding.axes):
            if isinstance(axis, ShareAxis):
                coded[:, j] = self.middle[j]
        lab = coded.copy()
        for name, value in at.items():
            lab[:, coding.index(name)] = value
            coded[:, coding.index(name)] = code(lab, coding)[:, coding.index(name)]
        row: FloatArray = self.expansion.matrix(coded).mean(axis=0)
        return row

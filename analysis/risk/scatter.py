"""How production misses its nominal settings: named sources, from normal draws to lab settings.

Every source has one column of standard normal draws. Settings scatter about what is set, noise
factors about their production mean; then the package is weighed out with relative errors and the
grams give shares and dose by the recipe's own arithmetic, as `doe.recipe.actual` has it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from scipy import special

from analysis.risk.weighing import Weighing
from doe.model.coding import Axis, ChoiceAxis, Coding, NumericAxis
from doe.study.finding import Finding
from doe.study.settings import BoolArray, FloatArray

SourceKind = Literal["weighing", "setting", "noise"]
SCATTERS: tuple[SourceKind, ...] = get_args(SourceKind)
# A setting that is this part of its range beyond its ends is said to be outside what was tried: a
# choice at the end of a range always scatters a hair beyond it. Our own choice.
OUTSIDE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class ScatterSource:
    """One way in which production misses what is nominal.

    Attributes:
        name: In words, such as `weighing of dispersant`.
        kind: What it is.
        axis: Column of the setting it moves; None for a weighing.
        mean: Where a noise factor lies; None for what scatters about what is set.
        sd: One standard deviation, in `unit`.
        unit: Lab unit, or % of the grams.
    """

    name: str
    kind: SourceKind
    axis: int | None
    mean: float | None
    sd: float
    unit: str

    def words(self) -> str:
        """Say it with its size: `pH ± 0.1 (one standard deviation)`."""
        return f"{self.name} ± {self.sd:g} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scatter:
    """From standard normal draws to settings as production makes them.

    Attributes:
        coding: The k axes.
        sources: The d sources, one column of draws each: settings and noise, then weighings.
        weighing: How errors of grams reach shares and dose; None where none is stated.
        findings: What was assumed, and what has no scatter stated.
    """

    coding: Coding
    sources: tuple[ScatterSource, ...]
    weighing: Weighing | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the d sources."""
        return tuple(source.name for source in self.sources)

    def settings(self, nominal: FloatArray, z: FloatArray) -> FloatArray:
        """Make settings.

        Args:
            nominal: What is set, shape (k,), or of every draw its own, (n, k), lab units; entries
                of noise factors are not looked at, and what a level lacks is NaN.
            z: Standard normal draws, shape (n, d).

        Returns:
            Shape (n, k), lab units. Shares add to what the nominal ones add to; what would fall
            below zero where the setting has no negative range is cut there.
        """
        nominal = np.broadcast_to(nominal, (len(z), len(self.coding.axes)))
        values = np.array(nominal, dtype=np.float64)
        for column, source in enumerate(self.sources):
            if source.axis is not None:
                axis = self.coding.axes[source.axis]
                at = nominal[:, source.axis]
                values[:, source.axis] = _drawn(source, axis, at, z[:, column])
        if self.weighing is not None:
            first = len(self.sources) - self.weighing.size
            values = self.weighing.make(values, z[:, first:])
        return values

    def cut(self, nominal: FloatArray, z: FloatArray) -> FloatArray:
        """Give the part of the draws that is cut at zero, shape (d,)."""
        part = np.zeros(len(self.sources))
        for column, source in enumerate(self.sources):
            axis = self.coding.axes[source.axis] if source.axis is not None else None
            if not isinstance(axis, NumericAxis) or axis.spacing == "log" or axis.low < 0:
                continue
            at = nominal[source.axis] if source.mean is None else source.mean
            part[column] = float(np.mean(at + source.sd * z[:, column] < 0.0))
        return part

    def outside(self, values: FloatArray) -> BoolArray:
        """Tell which settings lie outside the ranges of the brief, shape (n,).

        By more than a hundredth of the range; a range that hangs on a choice is taken over all its
        levels.
        """
        found = np.zeros(len(values), dtype=np.bool_)
        for j, axis in enumerate(self.coding.axes):
            if isinstance(axis, ChoiceAxis):
                continue
            slack = OUTSIDE * (axis.high - axis.low)
            found |= (values[:, j] < axis.low - slack) | (values[:, j] > axis.high + slack)
        return found


def _drawn(source: ScatterSource, axis: Axis, nominal: FloatArray, z: FloatArray) -> FloatArray:
    """Draw one setting about what is set, shape (n,) each; NaN where a level lacks it."""
    if isinstance(axis, ChoiceAxis):
        # Levels of a named choice that is noise come up equally often.
        level = np.floor(special.ndtr(z) * len(axis.levels))
        return np.asarray(np.minimum(level, len(axis.levels) - 1), dtype=np.float64)
    mean = nominal if source.mean is None else np.full(len(z), source.mean)
    drawn: FloatArray = mean + source.sd * z
    if axis.low >= 0:
        drawn = np.maximum(drawn, 0.0)
    if isinstance(axis, NumericAxis) and axis.spacing == "log":
        # As `analysis.surface.noise`: lognormal, equal relative sd.
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            drawn = np.where(mean > 0.0, mean * np.exp(source.sd / mean * z), drawn)
    return drawn

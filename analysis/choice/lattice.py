"""The marks on the bench: which settings have steps, and which marks go together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.choice.chart import Chart
from doe.model.coding import ChoiceAxis, Coding, ShareAxis
from doe.study.settings import FloatArray

# Marks are recorded to this many decimals, which clears rounding noise.
DIGITS = 12
SAME = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lattice:
    """The marks of s stepped settings: setting = start + number · step.

    Attributes:
        columns: Which settings.
        start: Shape (s,), lab units.
        step: Shape (s,).
        high: Shape (s,), high ends, which can be set even between steps; infinite for shares.
        left_over: Place of the share that is what the others leave; None where that is one without
            steps, or there is no package.
        shares: Places of the other shares, of which `left_over` is the rest to `total`.
        total: What all shares with steps add up to.
    """

    columns: tuple[int, ...]
    start: FloatArray
    step: FloatArray
    high: FloatArray
    left_over: int | None = None
    shares: tuple[int, ...] = ()
    total: float = 1.0

    @property
    def independent(self) -> list[int]:
        """Places of the settings that can be chosen freely."""
        return [i for i in range(len(self.columns)) if i != self.left_over]

    def nearest(self, settings: FloatArray) -> FloatArray:
        """Give the number of the nearest mark of each stepped setting, whole numbers (s,)."""
        return np.round((settings[list(self.columns)] - self.start) / self.step)

    def marks(self, numbers: FloatArray) -> FloatArray:
        """Give the settings at mark numbers, shape (n, s), free of rounding noise."""
        marks: FloatArray = np.minimum(self.start + numbers * self.step, self.high)
        return np.round(marks, DIGITS)

    def completed(self, chosen: FloatArray) -> FloatArray:
        """Add the share that is left over to marks of the others: (n, independent) to (n, s).

        Where that is on no mark of its own the row is left out.
        """
        numbers = np.zeros((len(chosen), len(self.columns)))
        numbers[:, self.independent] = chosen
        return self.closed(numbers)

    def closed(self, numbers: FloatArray) -> FloatArray:
        """Set the share that is left over, (n, s); rows where it is on no mark are left out."""
        if self.left_over is None:
            return numbers
        rest = self.total - self.marks(numbers)[:, list(self.shares)].sum(axis=1)
        exact = rest / self.step[self.left_over]
        closed = numbers.copy()
        closed[:, self.left_over] = np.round(exact)
        on_mark: FloatArray = closed[np.abs(exact - np.round(exact)) < SAME * 1e3]
        return on_mark

    def between(self, low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the first and last marks inside low and high, shape (s,) each."""
        first = np.ceil((low - self.start) / self.step - SAME)
        last = np.floor((high - self.start) / self.step + SAME)
        short = self.start + last * self.step < self.high - SAME * self.step
        last = last + (short & (high >= self.high - SAME * self.step))
        return first, last

    def without_finest_share(self, chart: Chart) -> Lattice | None:
        """Let the share with the finest step take what the others leave; None without shares."""
        places = [i for i, j in enumerate(self.columns) if chart.is_share[j]]
        if not places:
            return None
        finest = min(places, key=lambda i: self.step[i])
        kept = [i for i in range(len(self.columns)) if i != finest]
        return Lattice(
            columns=tuple(self.columns[i] for i in kept),
            start=self.start[kept],
            step=self.step[kept],
            high=self.high[kept],
        )


def lattice_of(coding: Coding, chart: Chart) -> Lattice:
    """Read the steps of the settings that move in a chart.

    A factor's marks count from the low end of its range and end with the high end; those of a
    share, which must add up with others, are whole multiples of its step.
    """
    columns, starts, steps, highs = [], [], [], []
    for j in chart.free:
        axis = coding.axes[j]
        if isinstance(axis, ChoiceAxis) or axis.step is None or not np.any(chart.span[j]):
            continue
        share = isinstance(axis, ShareAxis)
        low, high = chart.lab_range(j)
        columns.append(j)
        starts.append(0.0 if share else low)
        steps.append(axis.step)
        highs.append(np.inf if share else high)
    moving = [j for j in chart.free if chart.is_share[j] and np.any(chart.span[j])]
    places = [columns.index(j) for j in moving if j in columns]
    left_over, total = None, 1.0
    if places and len(places) == len(moving):
        left_over = min(places, key=lambda i: steps[i])
        total = float(chart.origin[moving].sum())
    return Lattice(
        columns=tuple(columns),
        start=np.array(starts),
        step=np.array(steps),
        high=np.array(highs),
        left_over=left_over,
        shares=tuple(i for i in places if i != left_over),
        total=total,
    )

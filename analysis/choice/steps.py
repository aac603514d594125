"""Bench steps: the best recipe that the bench can set, searched for on the grid itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from scipy.optimize import linprog

from analysis.choice.ascent import Summit, climb
from analysis.choice.chart import Chart, held_chart
from analysis.choice.objective import Objective
from analysis.choice.starts import merit_of
from doe.model.coding import ChoiceAxis, Coding, ShareAxis
from doe.study.settings import FloatArray

# A small grid is tried in full, beyond that by exchange.
FULL_GRID = 40_000
# Corners of the cell around a summit: all of them up to this many stepped settings.
CELL = 12
# Settings changed together in an exchange; triples let two shares swap while a factor moves.
TOGETHER = ((1, (1, 2, 3)), (2, (1, 2)), (3, (1,)))
MAX_EXCHANGES = 200
# Grid cells in which the settings without steps are searched anew.
REFINED = 6
SAME = 1e-9
DIGITS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lattice:
    """The marks on the bench: setting = start + i · step, for s stepped settings.

    Attributes:
        columns: Which settings.
        start: Shape (s,), lab units.
        step: Shape (s,).
        high: Shape (s,), high ends, which can be set even between steps; infinite for shares.
    """

    columns: tuple[int, ...]
    start: FloatArray
    step: FloatArray
    high: FloatArray

    def without_finest_share(self, chart: Chart) -> Lattice | None:
        """Let the share with the finest step take what the others leave; None without shares."""
        shares = [i for i, j in enumerate(self.columns) if chart.is_share[j]]
        if not shares:
            return None
        finest = min(shares, key=lambda i: self.step[i])
        kept = [i for i in range(len(self.columns)) if i != finest]
        return Lattice(
            columns=tuple(self.columns[i] for i in kept),
            start=self.start[kept],
            step=self.step[kept],
            high=self.high[kept],
        )

    def nearest(self, settings: FloatArray) -> FloatArray:
        """Give the number of the nearest mark of each stepped setting, as whole floats."""
        return np.round((settings[list(self.columns)] - self.start) / self.step)

    def marks(self, numbers: FloatArray) -> FloatArray:
        """Give the settings at mark numbers, shape (n, s), free of rounding noise."""
        marks: FloatArray = np.minimum(self.start + numbers * self.step, self.high)
        return np.round(marks, DIGITS)


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
    return Lattice(
        columns=tuple(columns),
        start=np.array(starts),
        step=np.array(steps),
        high=np.array(highs),
    )


def settle_on_steps(
    objective: Objective, charts: Sequence[Chart], coding: Coding, summit: Summit
) -> Summit | None:
    """Find the best recipe on the bench's steps near a summit, in its chart.

    Args:
        objective: What to maximise.
        charts: All charts; the summit names its own.
        coding: The axes, which hold the steps.
        summit: Where the search without steps ended.

    Returns:
        The recipe; the summit itself where its chart has no steps; None where no mark lies inside.
    """
    chart = charts[summit.chart]
    lattice: Lattice | None = lattice_of(coding, chart)
    if lattice is None or not lattice.columns:
        return summit
    while lattice is not None:
        grid = _Grid(objective=objective, chart=chart, lattice=lattice, summit=summit)
        best = grid.searched()
        if best is not None:
            return grid.refined(best) if grid.has_free() else grid.summit_on(best)
        # Steps of shares may never add to 1: then the finest takes what is left.
        lattice = lattice.without_finest_share(chart)
    return None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    """The marks around one summit, scored; settings without steps follow as little as needed."""

    objective: Objective
    chart: Chart
    lattice: Lattice
    summit: Summit

    def has_free(self) -> bool:
        """Tell whether settings without steps can move while the stepped ones are held."""
        rank = int(np.linalg.matrix_rank(self.chart.span[list(self.lattice.columns)]))
        return self.chart.dimension > rank

    def searched(self) -> list[FloatArray] | None:
        """Give mark numbers of good recipes, best first; None where none lies inside."""
        full = self._full()
        if full is not None:
            return self._ordered(full)[0][:REFINED] or None
        around = self._ordered(self._cell())[0]
        if not around:
            around = self._ordered(self._around(self.lattice.nearest(self.summit.settings)))[0]
        if not around:
            return None
        for _ in range(MAX_EXCHANGES):
            better, _ = self._ordered(np.vstack([around[0], self._around(around[0])]))
            moved = not np.array_equal(better[0], around[0])
            around = better
            if not moved:
                break
        return around[:REFINED]

    def refined(self, numbers: list[FloatArray]) -> Summit:
        """Search the settings without steps anew at each of some marks."""
        found = [self.summit_on(numbers)]
        for each in numbers:
            marks = self.lattice.marks(each)
            held = held_chart(self.chart, self.lattice.columns, marks)
            if held is None:
                continue
            start = held.coordinates(self._settings(each[None, :])[0])[0]
            if held.contains(start[None, :])[0]:
                top = climb(self.objective, [held], [(0, start)])[0]
                found.append(self._noted(self._exact(top.settings, marks)))
        return max(found, key=lambda one: one.score)

    def summit_on(self, numbers: list[FloatArray]) -> Summit:
        """Note the first of some marks as a summit."""
        return self._noted(self._settings(numbers[0][None, :])[0][0])

    def _noted(self, settings: FloatArray) -> Summit:
        score = float(self.objective.score(self.objective.values(settings[None, :]))[0])
        z = self.chart.coordinates(settings[None, :])[0]
        return Summit(chart=self.summit.chart, z=z, settings=settings, score=score)

    def _exact(self, settings: FloatArray, marks: FloatArray) -> FloatArray:
        exact = settings.copy()
        exact[list(self.lattice.columns)] = marks
        return exact

    def _settings(self, numbers: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Put marks, shape (n, s), into recipes, shape (n, k), and tell which lie inside, (n,)."""
        columns = list(self.lattice.columns)
        marks = self.lattice.marks(numbers)
        rows = self.chart.span[columns]
        z = self.summit.z + (marks - self.chart.settings(self.summit.z[None, :])[:, columns]) @ (
            np.linalg.pinv(rows).T
        )
        settings = self.chart.settings(z)
        off = np.abs(settings[:, columns] - marks) / self.lattice.step
        inside = np.all(off < SAME, axis=1) & self.chart.contains(z)
        settings[:, columns] = marks
        return settings, inside

    def _ordered(self, numbers: FloatArray) -> tuple[list[FloatArray], FloatArray]:
        """Keep the marks inside, best first; equal ones by their distance from the summit."""
        settings, inside = self._settings(numbers)
        numbers, settings = numbers[inside], settings[inside]
        if not len(numbers):
            return [], np.zeros(0)
        values = self.objective.values(settings)
        score = np.round(self.objective.score(values), DIGITS)
        merit = np.round(merit_of(self.objective, values), DIGITS)
        away = (self.lattice.marks(numbers) - self.summit.settings[list(self.lattice.columns)]) / (
            self.lattice.step
        )
        far = np.round((away**2).sum(axis=1), DIGITS)
        order = np.lexsort((far, -merit, -score))
        return list(numbers[order]), score[order]

    def _full(self) -> FloatArray | None:
        """List every mark of the chart; None where there are too many, or settings without steps.

        Marks come from the box around the chart; those outside are left out later.
        """
        columns = list(self.lattice.columns)
        if self.has_free() or not columns:
            return None
        low, high = _extent(self.chart, columns)
        first = np.ceil((low - self.lattice.start) / self.lattice.step - SAME)
        last = np.floor((high - self.lattice.start) / self.lattice.step + SAME)
        last += (last * self.lattice.step + self.lattice.start < self.lattice.high - SAME) & (
            high >= self.lattice.high - SAME
        )
        if np.any(last < first):
            return np.zeros((0, len(columns)))
        if np.prod(last - first + 1.0) > FULL_GRID:
            return None
        runs = [np.arange(a, b + 1.0) for a, b in zip(first, last, strict=True)]
        return np.stack([axis.ravel() for axis in np.meshgrid(*runs, indexing="ij")], axis=1)

    def _cell(self) -> FloatArray:
        """List the corners of the cell that holds the summit."""
        columns = list(self.lattice.columns)
        exact = (self.summit.settings[columns] - self.lattice.start) / self.lattice.step
        floor = np.floor(exact + SAME)
        split = np.flatnonzero(np.abs(exact - np.round(exact)) > SAME)[:CELL]
        corners = np.repeat(np.round(exact)[None, :], 2 ** len(split), axis=0)
        for bits, corner in zip(product((0.0, 1.0), repeat=len(split)), corners, strict=True):
            corner[split] = floor[split] + bits
        return corners

    def _around(self, numbers: FloatArray) -> FloatArray:
        """List the marks that differ in up to three settings by a few steps."""
        around: FloatArray = numbers + np.array(list(_exchanges(len(numbers))))
        return around


def _exchanges(s: int) -> Iterator[FloatArray]:
    for together, sizes in TOGETHER:
        for which in combinations(range(s), together):
            for amounts in product([sign * n for n in sizes for sign in (-1, 1)], repeat=together):
                move = np.zeros(s)
                move[list(which)] = amounts
                yield move


def _extent(chart: Chart, columns: list[int]) -> tuple[FloatArray, FloatArray]:
    """Find the lowest and highest of some settings over a chart, lab units."""
    ends = []
    for sign in (1.0, -1.0):
        lows = []
        for j in columns:
            result = linprog(
                sign * chart.span[j],
                A_ub=chart.G,
                b_ub=chart.h,
                bounds=[(None, None)] * chart.dimension,
                method="highs",
            )
            lows.append(chart.origin[j] + chart.span[j] @ result.x)
        ends.append(np.array(lows))
    return ends[0], ends[1]

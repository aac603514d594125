"""Bench steps: the best recipe that the bench can set, searched for on the grid itself.

Rounding the optimum is not enough: where a narrow target bends through the settings, the best mark
may lie far along the bend. So a small grid is tried in full; on a larger one every good place found
before is brought to its marks, and the best of those climb mark by mark.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from analysis.choice.ascent import Summit, climb
from analysis.choice.chart import Chart, held_chart
from analysis.choice.lattice import Lattice, lattice_of
from analysis.choice.objective import Objective
from analysis.choice.starts import merit_of
from doe.model.coding import Coding
from doe.study.settings import FloatArray

# A grid of a piece is tried in full up to this size.
FULL_GRID = 60_000
# Marks round a place that are tried together: the largest box of at most so many.
BOX, WIDEST = 4_000, 4
# With more stepped settings than this a box is too large: up to three change at a time.
MANY = 8
TOGETHER = ((1, (1, 2, 3)), (2, (1, 2)), (3, (1,)))
MAX_CLIMB = 100
# Places from which marks are climbed, and grid cells in which settings without steps are refined.
CLIMBED, REFINED = 5, 6
# Places that are moved onto every mark, marks at most, and how many are then searched anew.
TRIED_PLACES, TRIED_MARKS, PROMISING = 60, 2_000, 30
SAME = 1e-9
DIGITS = 12


def best_on_steps(
    objective: Objective,
    charts: Sequence[Chart],
    coding: Coding,
    summits: Sequence[Summit],
    places: Sequence[Summit] = (),
) -> Summit | None:
    """Find the best recipe on the bench's steps in the pieces of some summits.

    Args:
        objective: What to maximise.
        charts: All charts; each summit names its own.
        coding: The axes, which hold the steps.
        summits: Where the search without steps ended, best first.
        places: Other good places, to be brought to their marks.

    Returns:
        The recipe; a summit itself where its chart has no steps; None where no mark lies inside.
    """
    found: list[Summit] = []
    for number in dict.fromkeys(summit.chart for summit in summits):
        own = [one for one in (*summits, *places) if one.chart == number]
        best = _on_grids(objective, charts, coding, own, everywhere=True)
        if best is not None:
            found.append(best)
    return max(found, key=lambda one: round(one.score, 9), default=None)


def near_on_steps(
    objective: Objective, charts: Sequence[Chart], coding: Coding, summit: Summit
) -> Summit | None:
    """Find the best recipe on the bench's steps round one place; see `best_on_steps`."""
    return _on_grids(objective, charts, coding, [summit], everywhere=False)


def _on_grids(
    objective: Objective,
    charts: Sequence[Chart],
    coding: Coding,
    places: Sequence[Summit],
    *,
    everywhere: bool,
) -> Summit | None:
    chart = charts[places[0].chart]
    lattice: Lattice | None = lattice_of(coding, chart)
    if lattice is not None and not lattice.columns:
        return places[0]
    while lattice is not None:
        grid = _Grid(objective=objective, chart=chart, lattice=lattice, origin=places[0])
        best = grid.searched(places, everywhere=everywhere)
        if best:
            return grid.refined(best, places) if grid.has_free() else grid.summit_on(best[0])
        # Steps of shares may never add to 1: then the finest takes what is left.
        lattice = lattice.without_finest_share(chart)
    return None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    """The marks of one chart, scored; settings without steps follow as little as needed."""

    objective: Objective
    chart: Chart
    lattice: Lattice
    origin: Summit

    def has_free(self) -> bool:
        """Tell whether settings without steps can move while the stepped ones are held."""
        rank = int(np.linalg.matrix_rank(self.chart.span[list(self.lattice.columns)]))
        return self.chart.dimension > rank

    def searched(self, places: Sequence[Summit], *, everywhere: bool) -> list[FloatArray]:
        """Give mark numbers of good recipes, best first; none where none lies inside."""
        full = self._full() if everywhere else None
        if full is not None:
            return self._ordered(full)[:REFINED]
        nearest = np.array([self.lattice.nearest(place.settings) for place in places])
        starts = self._ordered(np.vstack([self.lattice.closed(nearest), self._around(nearest[0])]))
        if not everywhere:
            return starts[:REFINED]
        ends = [end for start in starts[:CLIMBED] for end in self._climbed(start)[:1]]
        return self._ordered(np.array(ends))[:REFINED] if ends else []

    def refined(self, numbers: list[FloatArray], places: Sequence[Summit]) -> Summit:
        """Search the settings without steps anew at each of some marks."""
        found = [self.summit_on(numbers[0])]
        tasks = [(each, self.origin) for each in numbers]
        held: list[Chart] = []
        starts: list[tuple[int, FloatArray]] = []
        held_at: list[FloatArray] = []
        for each, origin in (*tasks, *self._promising(places)):
            marks = self.lattice.marks(each)
            chart = held_chart(self.chart, self.lattice.columns, marks)
            if chart is None:
                continue
            start = chart.coordinates(self._settings(each[None, :], origin)[0])[0]
            if chart.contains(start[None, :])[0]:
                starts.append((len(held), start))
                held.append(chart)
                held_at.append(marks)
        for top, marks in zip(climb(self.objective, held, starts), held_at, strict=True):
            exact = top.settings.copy()
            exact[list(self.lattice.columns)] = marks
            found.append(self._noted(exact))
        return max(found, key=lambda one: one.score)

    def _promising(self, places: Sequence[Summit]) -> list[tuple[FloatArray, Summit]]:
        """Pair marks with the place from which they look best.

        The best place of all may stand on the wrong side of a target once its stepped settings are
        held; another one, moved onto the same marks, may not.
        """
        every = self._every()
        if every is None or not 0 < len(every) <= TRIED_MARKS:
            return []
        best = np.full(len(every), -np.inf)
        origin = np.zeros(len(every), dtype=np.int64)
        for number, place in enumerate(places[:TRIED_PLACES]):
            settings, inside = self._settings(every, place)
            score = np.where(
                inside, merit_of(self.objective, self.objective.values(settings)), -np.inf
            )
            better = score > best
            best[better], origin[better] = score[better], number
        order = np.argsort(-best, kind="stable")[:PROMISING]
        return [(every[i], places[origin[i]]) for i in order if np.isfinite(best[i])]

    def summit_on(self, numbers: FloatArray) -> Summit:
        """Note marks as a summit."""
        return self._noted(self._settings(numbers[None, :])[0][0])

    def _noted(self, settings: FloatArray) -> Summit:
        score = float(self.objective.score(self.objective.values(settings[None, :]))[0])
        z = self.chart.coordinates(settings[None, :])[0]
        return Summit(chart=self.origin.chart, z=z, settings=settings, score=score)

    def _climbed(self, start: FloatArray) -> list[FloatArray]:
        """Climb from mark to mark until none around is better."""
        here = start
        for _ in range(MAX_CLIMB):
            around = self._ordered(np.vstack([here[None, :], self._around(here)]))
            if not around or np.array_equal(around[0], here):
                return around
            here = around[0]
        return [here]

    def _settings(
        self, numbers: FloatArray, origin: Summit | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Put marks, shape (n, s), into recipes, shape (n, k), and tell which lie inside, (n,)."""
        origin = origin or self.origin
        columns = list(self.lattice.columns)
        marks = self.lattice.marks(numbers)
        here = self.chart.settings(origin.z[None, :])[:, columns]
        z = origin.z + (marks - here) @ np.linalg.pinv(self.chart.span[columns]).T
        settings = self.chart.settings(z)
        off = np.abs(settings[:, columns] - marks) / self.lattice.step
        inside = np.all(off < SAME, axis=1) & self.chart.contains(z)
        settings[:, columns] = marks
        return settings, inside

    def _ordered(self, numbers: FloatArray) -> list[FloatArray]:
        """Keep the marks inside, best first, each once; equal ones by their way from the origin."""
        settings, inside = self._settings(numbers)
        numbers, settings = numbers[inside], settings[inside]
        if not len(numbers):
            return []
        values = self.objective.values(settings)
        score = np.round(self.objective.score(values), DIGITS)
        merit = np.round(merit_of(self.objective, values), DIGITS)
        columns = list(self.lattice.columns)
        away = (settings[:, columns] - self.origin.settings[columns]) / self.lattice.step
        far = np.round((away**2).sum(axis=1), DIGITS)
        order = np.lexsort((far, -merit, -score))[: 50 * REFINED]
        return list({row.tobytes(): row for row in numbers[order]}.values())

    def _full(self) -> FloatArray | None:
        """List every mark of the chart; None where there are too many, or settings without steps.

        Marks come from the box around the chart; those outside are left out later.
        """
        return None if self.has_free() else self._every()

    def _every(self) -> FloatArray | None:
        """List every mark of the chart's box; None where there are too many."""
        low, high = self.chart.extent(self.lattice.columns)
        first, last = self.lattice.between(low, high)
        free = self.lattice.independent
        if np.any(last < first):
            return np.zeros((0, len(low)))
        if np.prod(last[free] - first[free] + 1.0) > FULL_GRID:
            return None
        runs = [np.arange(a, b + 1.0) for a, b in zip(first[free], last[free], strict=True)]
        return self.lattice.completed(_product(runs))

    def _around(self, numbers: FloatArray) -> FloatArray:
        """List the marks in a box round one, or those that differ in a few settings."""
        free = self.lattice.independent
        s = len(free)
        if s > MANY:
            moves = np.array(list(_exchanges(s)))
        else:
            reach = max(r for r in range(1, WIDEST + 1) if r == 1 or (2 * r + 1) ** s <= BOX)
            moves = _product([np.arange(-reach, reach + 1.0)] * s)
        return self.lattice.completed(numbers[free] + moves)


def _product(runs: Sequence[FloatArray]) -> FloatArray:
    grid = np.meshgrid(*runs, indexing="ij")
    return np.stack([axis.ravel() for axis in grid], axis=1)


def _exchanges(s: int) -> Iterator[FloatArray]:
    for together, sizes in TOGETHER:
        for which in combinations(range(s), together):
            for amounts in product([sign * n for n in sizes for sign in (-1, 1)], repeat=together):
                move = np.zeros(s)
                move[list(which)] = amounts
                yield move

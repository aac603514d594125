"""The frontier: recipes that nothing beats in one response without losing in another.

Heights on the ramps stand for the responses: they rise as a response gets better, beyond best too,
and a target's falls with the distance from it. Recipes with a response beyond its worst are left
out, as long as there are others. The search asks, from a point of reference a in the space of
heights, for the recipe with the greatest t = min (height − a), and of these the one with the
greatest sum. Every recipe of the frontier answers some reference, hollows of the frontier included.
References are sampled recipes that the frontier so far matches worst, so that it fills up where it
is thin until every sample is matched. Samples are the points scattered over the region, and round
by round new ones bred from the recipes on the frontier, as useful recipes may fill a corner only.

Source:
    Steuer and Choo (1983), Mathematical Programming 26, 326-344 (augmented weighted Tchebycheff);
    Pascoletti and Serafini (1984), Journal of Optimization Theory and Applications 42, 499-524
    (reference point and direction); Zitzler et al. (2003), IEEE Transactions on Evolutionary
    Computation 7, 117-132 (additive epsilon: how far a frontier is from matching); Storn and Price
    (1997), Journal of Global Optimization 11, 341-359 (breeding by differences). All from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.choice.again import Search, noted
from analysis.choice.ascent import PENALTY, Summit, Task, ascend
from analysis.choice.compromise import Recipe
from analysis.choice.dominance import matched_within, non_dominated, well_spread
from analysis.choice.interior import Gains
from analysis.choice.objective import Objective
from analysis.choice.starts import chords
from doe.study.settings import BoolArray, FloatArray, frozen_array

# Every sampled recipe is to be matched to this part of a ramp, in every response at once.
MATCHED = 0.01
# Recipes on the frontier at most, and references a round and rounds at most.
MOST, ROUND, ROUNDS = 200, 32, 12
# Recipes bred a round, and rounds without a gap after which the frontier is full.
BRED, IDLE_ROUNDS = 1500, 2
# Recipes that are written up.
SHOWN = 16
# A desirability below this prints as 0.000.
WORTHLESS = 0.0005
# Weight of the sum of all heights beside the least one: it tells equal ones apart.
AUGMENTED = 1e-4
# Heights are followed so far beyond best, in ramps.
BEYOND = 50.0
# Heights that differ by less are equal: a thousandth of what a table prints.
EQUAL = 1e-7
# Steps of an ascent from a sample, which is followed by one from where it ended.
STEPS = 30
# A recipe that misses a height by no more than this, in ramps, is dominated for the search.
CLEANED = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frontier:
    """Non-dominated recipes between the bench's steps; f of them, m responses with an aim.

    Attributes:
        responses: The m responses.
        units: Their units.
        settings: Shape (f, k), lab units.
        values: Shape (f, m), response units.
        heights: Shape (f, m), places on the ramps: 0 at worst, 1 at best, cut at neither end.
        desirability: Shape (f,), overall, with the importances of the compromise.
        accepted: Shape (f,), whether every acceptance limit is met.
        shown: Places of the recipes that are written up, in the order of the table.
        recipes: Those recipes.
        anchors: For each response, the place of the recipe that gets furthest with it.
        cover: How far, in ramps, the sampled recipe that is matched worst is from being matched in
            every response at once.
        n_sampled: How many recipes were sampled.
        is_useful: Whether recipes beyond a worst were left out; False where there are no others.
        compromise: Shape (m,), what the compromise gives.
        beaten: How far, in ramps, a recipe of the frontier lies above the compromise in every
            response; what the bench's steps cost, if anything.
    """

    responses: tuple[str, ...]
    units: tuple[str, ...]
    settings: FloatArray
    values: FloatArray
    heights: FloatArray
    desirability: FloatArray
    accepted: BoolArray
    shown: tuple[int, ...]
    recipes: tuple[Recipe, ...]
    anchors: tuple[int, ...]
    cover: float
    n_sampled: int
    is_useful: bool
    compromise: FloatArray
    beaten: float

    def __post_init__(self) -> None:
        for name in ("settings", "values", "heights", "desirability", "compromise"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def find_frontier(search: Search) -> Frontier | None:
    """Search a region for the frontier; None with fewer than two responses that have an aim."""
    objective = search.objective()
    if len(objective.aims) < 2:
        return None
    walk = _Walk(search, objective)
    walk.anchor()
    idle = 0
    for _ in range(ROUNDS):
        if len(walk.front) >= MOST or idle == IDLE_ROUNDS:
            break
        walk.breed()
        idle = 0 if walk.fill() else idle + 1
    return _written(search, objective, walk)


class _Walk:
    """A frontier under way: what is on it, and the sampled recipes that it must match."""

    def __init__(self, search: Search, objective: Objective) -> None:
        self.search, self.objective = search, objective
        # Every ramp twice: once under the least height, once under its own.
        self.doubled = replace(
            objective,
            sides=objective.sides * 2,
            aim_of_side=objective.aim_of_side * 2,
        )
        self.rng = np.random.default_rng([search.seed, 3])
        scatter = search.scatter
        places = [scatter.summit(i) for i in range(len(scatter.z))]
        values = objective.values(scatter.settings)
        heights = objective.heights(values)
        inside = (objective.slack(values) >= 0.0) & np.isfinite(heights).all(axis=1)
        self.is_useful = bool((inside & np.all(heights >= 0.0, axis=1)).any())
        self.n_sampled = len(heights)
        self.front: list[Summit] = []
        self.heights = np.zeros((0, len(objective.aims)))
        # What is to be matched: the best of the sample, and later of what is bred.
        self.wanted: list[Summit] = []
        self.left = self.heights
        self._want(places, heights, inside)

    def _want(self, places: Sequence[Summit], heights: FloatArray, good: BoolArray) -> None:
        """Add recipes to those that must be matched, as far as they are not."""
        if self.is_useful:
            good = good & np.all(heights >= 0.0, axis=1)
        rows = np.flatnonzero(good)
        rows = rows[matched_within(heights[rows], self.heights) > 0.0]
        rows = rows[non_dominated(heights[rows])][: 8 * MOST]
        self.wanted += [places[int(i)] for i in rows]
        self.left = np.vstack([self.left, heights[rows]])

    def breed(self) -> None:
        """Draw recipes from differences between good ones, and want those not yet matched."""
        pool = [*self.front, *self.wanted[: 2 * MOST]]
        for number in dict.fromkeys(one.chart for one in pool):
            z = np.array([one.z for one in pool if one.chart == number])
            chart = self.search.charts[number]
            if len(z) < 3 or not chart.dimension:
                continue
            n = max(100, BRED * len(z) // len(pool))
            a, b, c = z[self.rng.integers(0, len(z), (3, n))]
            directions = b - c
            moves = np.abs(directions).max(axis=1) > EQUAL
            a, directions = a[moves], directions[moves]
            low, high = chords(chart, a, directions)
            steps = np.clip(self.rng.uniform(-1.0, 1.0, len(a)), low, high)
            bred = a + steps[:, None] * directions
            settings = chart.settings(bred)
            values = self.objective.values(settings)
            heights = self.objective.heights(values)
            good = (self.objective.slack(values) >= 0.0) & np.isfinite(heights).all(axis=1)
            self.n_sampled += len(bred)
            places = [
                Summit(chart=number, z=bred[i], settings=settings[i], score=0.0)
                for i in range(len(bred))
            ]
            self._want(places, heights, good)

    def anchor(self) -> None:
        """Find the recipe that gets furthest in each response, and what matches the compromise."""
        starts = noted(self.objective, self.search.charts, self._rows())
        ends = self._ascended(starts, self._heights_of(starts))
        for i in range(self.left.shape[1]):
            order = np.argsort(-self.left[:, i], kind="stable")[:4]
            tops = [self.wanted[int(j)] for j in order]
            ends += ascend(self.doubled, self.search.charts, self._single(i), _starts(tops))
        self._take([*starts, *ends])

    def fill(self) -> bool:
        """Go from the samples that are matched worst; tell whether there were any."""
        gaps = matched_within(self.left, self.heights)
        picked = self._worst(gaps)
        if not picked:
            return False
        references = self.left[picked]
        own = [self.wanted[i] for i in picked]
        # Beside the sample itself, the recipe of the frontier that comes nearest to it.
        near = [
            self.front[int(np.argmin((row - self.heights).max(axis=1)))] for row in references
        ] if self.front else []  # fmt: skip
        starts = [*own, *near]
        aimed = np.vstack([references] * (len(starts) // len(own)))
        self._take(self._ascended(starts, aimed))
        return True

    def cover(self) -> float:
        """Give the greatest gap that is left."""
        return float(max(0.0, matched_within(self.left, self.heights).max(initial=0.0)))

    def _rows(self) -> list[FloatArray]:
        found = self.search.found
        return [self.search.row(one) for one in (found.unrounded, found.best)]

    def _worst(self, gaps: FloatArray) -> list[int]:
        """Pick samples with the widest gaps, each counting as found for those after it."""
        gaps, picked = gaps.copy(), []
        for _ in range(min(ROUND, MOST - len(self.front))):
            i = int(np.argmax(gaps))
            if gaps[i] <= MATCHED:
                break
            picked.append(i)
            gaps = np.minimum(gaps, matched_within(self.left, self.left[i : i + 1]))
        return picked

    def _ascended(self, starts: Sequence[Summit], references: FloatArray) -> list[Summit]:
        """Go from starts to the frontier above references, shape (S, m)."""
        objective = self.objective
        m, n_limits = len(objective.aims), len(objective.limits)
        of_side = np.array(objective.aim_of_side)
        sides = len(of_side)
        raised = np.zeros((len(starts), 2 * sides + n_limits))
        raised[:, :sides] = -references[:, of_side]
        task = Task(
            gains=Gains(
                weight=np.array([1.0] + [AUGMENTED] * m + [PENALTY] * n_limits),
                by_log=np.zeros(1 + m + n_limits, dtype=np.bool_),
                tangent=1.0,
            ),
            level_of_line=np.concatenate(
                [np.zeros(sides), 1 + of_side, 1 + m + np.arange(n_limits)]
            ).astype(int),
            raised=raised,
            cap=np.array([BEYOND] * (1 + m) + [0.0] * n_limits),
        )
        return ascend(self.doubled, self.search.charts, task, _starts(starts), max_steps=STEPS)

    def _single(self, i: int) -> Task:
        """Raise one response while no other leaves its ramp, or gets worse than it need."""
        objective = self.objective
        m, n_limits = len(objective.aims), len(objective.limits)
        of_side = np.array(objective.aim_of_side)
        sides = len(of_side)
        floor = 0.0 if self.is_useful else -BEYOND
        return Task(
            gains=Gains(
                weight=np.where(np.arange(2 * m + n_limits) < m, AUGMENTED, PENALTY)
                + np.where(np.arange(2 * m + n_limits) == i, 1.0, 0.0),
                by_log=np.zeros(2 * m + n_limits, dtype=np.bool_),
                tangent=1.0,
            ),
            level_of_line=np.concatenate(
                [of_side, m + of_side, 2 * m + np.arange(n_limits)]
            ).astype(int),
            raised=np.concatenate(
                [np.zeros(sides), np.full(sides, -floor), np.zeros(n_limits)]
            ),
            cap=np.array([BEYOND] * m + [0.0] * (m + n_limits)),
        )  # fmt: skip

    def _heights_of(self, places: Sequence[Summit]) -> FloatArray:
        if not places:
            return np.zeros((0, len(self.objective.aims)))
        rows = np.array([one.settings for one in places])
        return self.objective.heights(self.objective.values(rows))

    def _take(self, places: Sequence[Summit]) -> None:
        """Add places to the frontier; what is dominated, broken or useless goes."""
        rows = np.array([one.settings for one in places])
        values = self.objective.values(rows)
        heights = self.objective.heights(values)
        good = self.objective.slack(values) >= -EQUAL
        good &= np.isfinite(heights).all(axis=1)
        if self.is_useful:
            good &= np.all(heights >= -EQUAL, axis=1)
        every = [*self.front, *(one for one, ok in zip(places, good, strict=True) if ok)]
        together = np.vstack([self.heights, heights[good]])
        kept = non_dominated(together, CLEANED)
        self.front = [every[i] for i in kept]
        self.heights = together[kept]


def _starts(places: Sequence[Summit]) -> list[tuple[int, FloatArray]]:
    return [(one.chart, one.z) for one in places]


def _written(search: Search, objective: Objective, walk: _Walk) -> Frontier | None:
    if not walk.front:
        return None
    # Best first by overall desirability; of equals by the first response.
    settings = np.array([one.settings for one in walk.front])
    values = objective.values(settings)
    overall = objective.overall(values)
    order = np.lexsort((-np.round(walk.heights[:, 0], 9), -np.round(overall, 9)))
    heights = walk.heights[order]
    shown = _shown(heights, overall[order])
    here = objective.values(search.compromise[None, :])
    book, places = search.book, list(objective.places)
    above = (heights - objective.heights(here)).min(axis=1).max()
    return Frontier(
        responses=tuple(aim.response for aim in objective.aims),
        units=tuple(objective.fits[i].unit for i in places),
        settings=settings[order],
        values=values[order][:, places],
        heights=heights,
        desirability=overall[order],
        accepted=_accepted(search, settings[order]),
        shown=shown,
        recipes=tuple(book.recipe(settings[order][i]) for i in shown),
        anchors=tuple(int(i) for i in heights.argmax(axis=0)),
        cover=walk.cover(),
        n_sampled=walk.n_sampled,
        is_useful=walk.is_useful,
        compromise=here[0, places],
        beaten=max(0.0, float(above)),
    )


def _shown(heights: FloatArray, overall: FloatArray) -> tuple[int, ...]:
    """Pick recipes to write up, far apart; worthless ones only where there is nothing else."""
    worth = np.flatnonzero(overall >= WORTHLESS)
    rows = worth if len(worth) else np.arange(len(overall))
    return tuple(int(rows[i]) for i in well_spread(heights[rows], SHOWN))


def _accepted(search: Search, settings: FloatArray) -> BoolArray:
    """Tell which recipes meet every acceptance limit."""
    met = np.ones(len(settings), dtype=np.bool_)
    limits = search.limits()
    if limits:
        objective = search.with_limits(limits)
        met &= objective.slack(objective.values(settings)) >= -EQUAL
    return met

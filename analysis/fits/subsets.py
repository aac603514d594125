"""Every smaller model of one response by AICc, or the best that a search meets.

The columns of the full model are turned once into coordinates on an orthonormal basis; there each
model is its neighbour with one unit's columns made square on what is there already, so that a
model costs microseconds whatever the number of runs. What a search sees is remembered, best first.

Source:
    Updating of orthogonal reductions: Miller (2002), Subset Selection in Regression, 2nd ed.,
    chapter 2. AICc: Hurvich and Tsai (1989), Biometrika 76, 297-307.
"""

from __future__ import annotations

import bisect
import heapq
from collections.abc import Callable
from dataclasses import dataclass
from itertools import islice

import numpy as np
from scipy import linalg

from doe.model.hierarchy_units import Units
from doe.model.terms import Term
from doe.study.settings import FloatArray

# A quadratic in five factors has 38,619 smaller models, one in six 2.3 million.
MOST_EXHAUSTIVE = 50_000
# The search ends when so many of the best models that it met have shown all their neighbours.
EXPANDED = 200
RESTARTS = 12
# What is left of a column, as a part of its length, where others hold it whole.
_HELD = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeighedRows:
    """Rows of independent errors that any smaller model is least squares on.

    Attributes:
        columns: Gives the columns of terms, shape (n, c); where runs share strata, multiplied by
            the root of V⁻¹ at fixed variance ratios, as all columns here.
        beside: Columns of controls and blocks, shape (n, b).
        y: Readings on the fitted scale, shape (n,).
        variances: Variance components.
        constant: What minus twice the log-likelihood has beside n ln(RSS/n).
        is_exact: Whether AICc of these rows is that of the model; with fixed ratios it is an upper
            end.
    """

    columns: Callable[[tuple[Term, ...]], FloatArray]
    beside: FloatArray
    y: FloatArray
    variances: int
    constant: float
    is_exact: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """Models met, by sets of units.

    Attributes:
        heights: AICc of each; infinite where it has no value.
        complete: Whether these are all models that hierarchy allows.
    """

    heights: dict[int, float]
    complete: bool

    def best_first(self) -> list[int]:
        """Give the sets by AICc, fewer units first where it is equal."""
        return sorted(self.heights, key=lambda s: (self.heights[s], s.bit_count(), s))


def every_subset(
    units: Units,
    rows: WeighedRows,
    rng: np.random.Generator,
    *,
    most: int = MOST_EXHAUSTIVE,
    expanded: int = EXPANDED,
) -> Seen:
    """Look at every model where there are few enough, else search.

    Args:
        units: What may leave the model.
        rows: The readings.
        rng: Source of the search's random starts.
        most: Number of models up to which all are looked at.
        expanded: See `EXPANDED`.
    """
    space = _Space(units, rows)
    if sum(1 for _ in islice(units.states(), most + 1)) <= most:
        return Seen(heights=space.all_heights(), complete=True)
    search = _Search(space, units)
    for start in (units.everything, 0, *(_random_state(units, rng) for _ in range(RESTARTS))):
        search.descend(start)
    search.spread(expanded)
    return Seen(heights=search.heights, complete=False)


class _Space:
    """The full model's columns as coordinates square on what never leaves."""

    def __init__(self, units: Units, rows: WeighedRows) -> None:
        fixed = np.hstack([rows.beside, rows.columns(units.fixed)])
        whole = np.hstack([fixed, rows.columns(units.model.terms)])
        basis = _basis(fixed)
        self._rank = basis.shape[1]
        rest = _basis(_beside(_beside(whole / _lengths(whole), basis), basis), relative=False)
        self._units, self._rows = units, rows
        self._parts = [_scaled(rest, rows.columns(group)) for group in units.terms]
        left = _beside(rows.y, basis)
        self._target: FloatArray = rest.T @ left
        left = left - rest @ self._target
        self._rss = float(left @ left)

    def height(self, state: int) -> float:
        Q, target = np.zeros((len(self._target), 0)), self._target
        for u in range(len(self._parts)):
            if state >> u & 1:
                Q, target = self._with(Q, target, u)
        return self._aicc(Q.shape[1], target)

    def all_heights(self) -> dict[int, float]:
        """Go through all sets, each from the one with its last unit taken out."""
        heights: dict[int, float] = {}
        needs, size = self._units.needs, len(self._parts)
        stack = [(0, 0, np.zeros((len(self._target), 0)), self._target)]
        while stack:
            state, first, Q, target = stack.pop()
            heights[state] = self._aicc(Q.shape[1], target)
            for u in range(first, size):
                if not needs[u] & ~state:
                    stack.append((state | 1 << u, u + 1, *self._with(Q, target, u)))
        return heights

    def _with(self, Q: FloatArray, target: FloatArray, unit: int) -> tuple[FloatArray, FloatArray]:
        for column in self._parts[unit].T:
            free = column
            for _ in range(2):
                free = free - Q @ (Q.T @ free)
            length = float(free @ free) ** 0.5
            if length > _HELD:
                free = free / length
                Q = np.column_stack([Q, free])
                target = target - free * float(free @ target)
        return Q, target

    def _aicc(self, rank: int, target: FloatArray) -> float:
        n, k = len(self._rows.y), self._rank + rank + self._rows.variances
        rss, room = self._rss + float(target @ target), n - k - 1
        if room <= 0 or rss <= 0:
            return float("inf")
        fit = n * float(np.log(rss / n)) + self._rows.constant
        return float(fit + 2 * k + 2 * k * (k + 1) / room)


class _Search:
    """Down from many starts, then outwards from the best models met."""

    def __init__(self, space: _Space, units: Units) -> None:
        self._space, self._units = space, units
        self.heights: dict[int, float] = {}
        self._waiting: list[tuple[float, int]] = []

    def descend(self, start: int) -> None:
        """Follow the best neighbour until none is better."""
        now = start
        while True:
            lowest = min([now, *self._neighbours(now)], key=self._order)
            if lowest == now:
                return
            now = lowest

    def spread(self, expanded: int) -> None:
        """Look at all neighbours of the best model that has not shown them, again and again."""
        done: list[float] = []
        while self._waiting:
            height, state = heapq.heappop(self._waiting)
            if bisect.bisect_left(done, height) >= expanded:
                return
            bisect.insort(done, height)
            self._neighbours(state)

    def _neighbours(self, state: int) -> list[int]:
        near = _neighbours(self._units, state)
        for one in (state, *near):
            if one not in self.heights:
                self.heights[one] = self._space.height(one)
                heapq.heappush(self._waiting, (self.heights[one], one))
        return near

    def _order(self, state: int) -> tuple[float, int, int]:
        # Where too many terms leave AICc without a value, fewer units are the way down.
        return self.heights[state], state.bit_count(), state


def _neighbours(units: Units, state: int) -> list[int]:
    near = [
        units.without_unit(state, u) if state >> u & 1 else units.with_unit(state, u)
        for u in range(len(units.terms))
    ]
    return list(dict.fromkeys(near))


def _random_state(units: Units, rng: np.random.Generator) -> int:
    state = 0
    chance = rng.uniform(0.1, 0.6)
    for u in np.flatnonzero(rng.random(len(units.terms)) < chance):
        state = units.with_unit(state, int(u))
    return state


def _lengths(X: FloatArray) -> FloatArray:
    lengths = np.linalg.norm(X, axis=0)
    return np.where(lengths > 0, lengths, 1.0)


def _basis(X: FloatArray, *, relative: bool = True) -> FloatArray:
    """Give an orthonormal basis of columns, those left out that others hold."""
    if not X.shape[1]:
        return np.zeros((len(X), 0))
    Q, R, _ = linalg.qr(X / _lengths(X) if relative else X, mode="economic", pivoting=True)
    rank = int((np.abs(np.diag(R)) > _HELD).sum())
    return np.asarray(Q[:, :rank], dtype=np.float64)


def _beside(X: FloatArray, basis: FloatArray) -> FloatArray:
    left: FloatArray = X - basis @ (basis.T @ X)
    return left


def _scaled(rest: FloatArray, X: FloatArray) -> FloatArray:
    """Give coordinates of columns of length 1, shape (p, c)."""
    coordinates: FloatArray = rest.T @ (X / _lengths(X))
    return coordinates

"""The search for settings by their joint probability: over every piece, then on the bench's steps.

Points all over the region are tried, ascents start from the best of them (sequential quadratic
programming; slopes by differences, as every recipe gets the same draws), and where each ended the
marks of the bench round it are tried, until none is better.

Source:
    Kraft (1988), DFVLR-FB 88-28, for the programming, as scipy holds it; from memory. Starts by
    hit and run: Smith (1984), Operations Research 32, 1296-1308.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Any

import numpy as np
from scipy import special
from scipy.optimize import minimize

from analysis.choice.chart import Chart, held_chart, number_of_chart
from analysis.choice.lattice import Lattice, lattice_of
from analysis.choice.objective import Objective
from analysis.choice.starts import chords
from analysis.risk.smooth import SmoothChance
from doe.model.coding import Coding
from doe.study.settings import FloatArray

# Points tried over all pieces, and in each at least; the walk keeps every step after the first few.
POINTS, POINTS_EACH, BURN_IN, WALKERS = 600, 24, 6, 8
# Ascents, and at most so many in one piece; starts closer than this, in half ranges, are one.
STARTS, STARTS_EACH, APART = 4, 2, 0.3
MAX_STEPS, EXACT = 60, 1e-8
# Step of the slopes, in half ranges.
_STEP = 1e-4
# A desirability below this is nothing: the least height that its logarithm is taken of.
LEAST = 1e-6
# Marks round a place: a full box up to so many settings with steps, exchanges of pairs beyond.
BOX_UP_TO, MAX_CLIMB, REFINED = 4, 20, 2
BETTER = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wanted:
    """What is sought: the largest joint probability, or desirability at no less than a level.

    Attributes:
        chance: The probability, with its draws.
        objective: The desirability; None where no response has an aim.
        level: Probability that must be reached, 0..1; None to seek the largest.
    """

    chance: SmoothChance
    objective: Objective | None = None
    level: float | None = None

    @property
    def by_desirability(self) -> bool:
        """Whether desirability is sought, at no less than a probability."""
        return self.level is not None and self.objective is not None

    def merit(self, settings: FloatArray) -> FloatArray:
        """Order recipes, (n, k) to (n,): higher is better.

        The normal deviate of the probability; where desirability is sought that in 0..1, and below
        0 how far the level is missed.
        """
        deviate = self.chance.deviate(settings)
        if self.level is None or self.objective is None:
            return deviate
        short = deviate - special.ndtri(self.level)
        overall = self.objective.overall(self.objective.values(settings))
        merit: FloatArray = np.where(short >= -BETTER, overall, -1.0 + np.minimum(short, 0.0))
        return merit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """One recipe: its piece, coordinates there (d,), settings (k,), merit."""

    chart: int
    z: FloatArray
    settings: FloatArray
    merit: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tried:
    """Points all over the region, by piece.

    Attributes:
        chart: Shape (n,).
        z: One row of coordinates a point.
        settings: Shape (n, k), lab units.
    """

    chart: FloatArray
    z: tuple[FloatArray, ...]
    settings: FloatArray


def try_region(charts: Sequence[Chart], rng: np.random.Generator) -> Tried:
    """Lay points over every piece, its faces included."""
    each = max(POINTS_EACH, POINTS // len(charts))
    clouds = [_walk(chart, each, rng) for chart in charts]
    return Tried(
        chart=np.concatenate([np.full(len(cloud), float(i)) for i, cloud in enumerate(clouds)]),
        z=tuple(z for cloud in clouds for z in cloud),
        settings=np.vstack([c.settings(cloud) for c, cloud in zip(charts, clouds, strict=True)]),
    )


def seek(
    wanted: Wanted, charts: Sequence[Chart], tried: Tried, also: Sequence[FloatArray] = ()
) -> Place:
    """Find the best recipe between the steps.

    Args:
        wanted: What is sought.
        charts: The pieces.
        tried: Points all over them.
        also: Other recipes to start from, shape (k,) each; those in no piece are passed over.
    """
    merit = wanted.merit(tried.settings)
    starts = [
        Place(chart=int(tried.chart[i]), z=tried.z[i], settings=tried.settings[i], merit=merit[i])
        for i in _apart(tried, np.argsort(-merit, kind="stable"))
    ]
    for row in also:
        known = number_of_chart(charts, row)
        if known is not None:
            starts.append(_place(wanted, charts, known, charts[known].coordinates(row[None, :])[0]))
    found = [climb_from(wanted, charts, start) for start in starts]
    return max((*found, *starts), key=lambda one: one.merit)


def climb_from(wanted: Wanted, charts: Sequence[Chart], start: Place) -> Place:
    """Climb from one recipe; never ends below it."""
    chart = charts[start.chart]
    if not chart.dimension:
        return start
    end = _ascent(wanted, chart, start.z)
    reached = _place(wanted, charts, start.chart, chart.pulled_in(end))
    return max(start, reached, key=lambda one: one.merit)


def settle_on_steps(
    wanted: Wanted, charts: Sequence[Chart], coding: Coding, best: Place
) -> Place | None:
    """Bring a recipe onto the bench's steps, and climb from mark to mark.

    Returns:
        The recipe itself where its piece has no steps; None where no mark round it lies inside.
    """
    chart = charts[best.chart]
    lattice: Lattice | None = lattice_of(coding, chart)
    while lattice is not None:
        if not lattice.columns:
            return best
        marks = _Marks(wanted=wanted, charts=charts, lattice=lattice, best=best)
        found = marks.climbed()
        if found is not None:
            return found
        # Steps of shares may never add to 1: then the finest takes what is left.
        lattice = lattice.without_finest_share(chart)
    return None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Marks:
    """The bench's marks round a place."""

    wanted: Wanted
    charts: Sequence[Chart]
    lattice: Lattice
    best: Place

    def climbed(self) -> Place | None:
        here = self.lattice.nearest(self.best.settings)
        top = self._best_round(here)
        for _ in range(MAX_CLIMB):
            if top is None:
                return None
            again = self._best_round(top[0])
            if again is None or again[1] <= top[1] + BETTER:
                break
            top = again
        assert top is not None
        return self._refined(top[0])

    def _best_round(self, numbers: FloatArray) -> tuple[FloatArray, float] | None:
        around = self.lattice.completed(
            numbers[self.lattice.independent] + _moves(len(self.lattice.independent))
        )
        settings, inside = self._settings(around)
        if not inside.any():
            return None
        merit = self.wanted.merit(settings[inside])
        i = int(np.argmax(merit))
        return around[inside][i], float(merit[i])

    def _settings(self, numbers: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Put marks into recipes; settings without steps follow as little as needed."""
        chart, columns = self.charts[self.best.chart], list(self.lattice.columns)
        marks = self.lattice.marks(numbers)
        here = chart.settings(self.best.z[None, :])[:, columns]
        z = self.best.z + (marks - here) @ np.linalg.pinv(chart.span[columns]).T
        settings = chart.settings(z)
        off = np.abs(settings[:, columns] - marks) / self.lattice.step
        settings[:, columns] = marks
        return settings, np.all(off < BETTER, axis=1) & chart.contains(z)

    def _refined(self, numbers: FloatArray) -> Place:
        """Search the settings without steps anew at the marks."""
        chart = self.charts[self.best.chart]
        settings = self._settings(numbers[None, :])[0][0]
        columns = self.lattice.columns
        found = [self._noted(settings)]
        held = held_chart(chart, columns, self.lattice.marks(numbers))
        if held is not None and held.dimension:
            z = held.coordinates(settings[None, :])[0]
            if held.contains(z[None, :])[0]:
                end = held.settings(held.pulled_in(_ascent(self.wanted, held, z))[None, :])[0]
                end[list(columns)] = settings[list(columns)]
                found.append(self._noted(end))
        return max(found, key=lambda one: one.merit)

    def _noted(self, settings: FloatArray) -> Place:
        z = self.charts[self.best.chart].coordinates(settings[None, :])[0]
        merit = float(self.wanted.merit(settings[None, :])[0])
        return Place(chart=self.best.chart, z=z, settings=settings, merit=merit)


def _moves(s: int) -> FloatArray:
    """Give moves of s marks, shape (n, s), the one that stays among them."""
    if s <= BOX_UP_TO:
        return np.array(list(product((0.0, -1.0, 1.0), repeat=s))).reshape(-1, s)
    rows = [np.zeros(s)]
    for j in range(s):
        for by in (-2.0, -1.0, 1.0, 2.0):
            rows.append(by * np.eye(s)[j])
    for i, j in combinations(range(s), 2):
        for a, b in product((-1.0, 1.0), repeat=2):
            rows.append(a * np.eye(s)[i] + b * np.eye(s)[j])
    return np.array(rows)


def _place(wanted: Wanted, charts: Sequence[Chart], number: int, z: FloatArray) -> Place:
    settings = charts[number].settings(z[None, :])
    merit = float(wanted.merit(settings)[0])
    return Place(chart=number, z=z, settings=settings[0], merit=merit)


def _apart(tried: Tried, order: np.ndarray) -> Iterator[int]:
    """Pick the best points that lie apart."""
    picked: list[int] = []
    for i in map(int, order):
        same = [j for j in picked if tried.chart[j] == tried.chart[i]]
        near = any(np.abs(tried.z[i] - tried.z[j]).max(initial=0.0) < APART for j in same)
        if near or len(same) >= STARTS_EACH:
            continue
        picked.append(i)
        yield i
        if len(picked) == STARTS:
            return


def _walk(chart: Chart, n: int, rng: np.random.Generator) -> FloatArray:
    """Scatter about n points over one piece, half of them on its faces, shape (about n, d)."""
    d = chart.dimension
    if d == 0:
        return np.zeros((1, 0))
    walkers = min(WALKERS, max(1, n // 4))
    z, kept = np.zeros((walkers, d)), [np.zeros((1, d))]
    for step in range(BURN_IN + n // (2 * walkers)):
        way = rng.standard_normal((walkers, d))
        low, high = chords(chart, z, way)
        end = np.where(rng.random(walkers) < 0.5, low, high)
        face = z + end[:, None] * way
        z = z + (low + (high - low) * rng.random(walkers))[:, None] * way
        if step >= BURN_IN:
            kept += [face, z]
    return np.vstack(kept)


def _ascent(wanted: Wanted, chart: Chart, start: FloatArray) -> FloatArray:
    """Climb inside one piece, (d,) to (d,)."""
    if wanted.by_desirability and wanted.objective is not None and wanted.level is not None:
        return _by_desirability(wanted.chance, wanted.objective, wanted.level, chart, start)

    def minus(z: FloatArray) -> tuple[float, FloatArray]:
        value, slope = _with_slope(wanted.chance.deviate, chart, z)
        return -float(value), -slope

    inside = {"type": "ineq", "fun": lambda z: chart.h - chart.G @ z, "jac": lambda z: -chart.G}
    return _programmed(minus, start, [inside])


def _by_desirability(
    chance: SmoothChance, objective: Objective, level: float, chart: Chart, start: FloatArray
) -> FloatArray:
    """Maximise Σ w ln r over settings and heights r, r below every ramp, at the level or above."""
    d, m = len(start), len(objective.aims)
    aims = np.array(objective.aim_of_side, dtype=np.int64)
    pick = np.zeros((len(aims), m))
    pick[np.arange(len(aims)), aims] = 1.0
    wall = np.hstack([-chart.G, np.zeros((len(chart.h), m))])

    def lines(settings: FloatArray) -> FloatArray:
        values = objective.values(settings)
        found = [side.a + side.c * values[:, side.response] for side in objective.sides]
        return np.nan_to_num(np.stack(found, axis=1), nan=-1e3, posinf=1e3, neginf=-1e3)

    def minus(x: FloatArray) -> tuple[float, FloatArray]:
        r = np.maximum(x[d:], LEAST)
        slope = np.concatenate([np.zeros(d), -objective.exponents / r])
        return -float(objective.exponents @ np.log(r)), slope

    def room(x: FloatArray) -> FloatArray:
        return np.asarray(lines(chart.settings(x[None, :d]))[0] - x[d:][aims])

    def room_slope(x: FloatArray) -> FloatArray:
        return np.hstack([_with_slope(lines, chart, x[:d])[1], -pick])

    def chance_slope(x: FloatArray) -> FloatArray:
        return np.hstack([_with_slope(chance.deviate, chart, x[:d])[1], np.zeros(m)])[None, :]

    wanted = float(special.ndtri(level))
    kept = [
        {"type": "ineq", "fun": lambda x: chart.h - chart.G @ x[:d], "jac": lambda x: wall},
        {"type": "ineq", "fun": room, "jac": room_slope},
        {
            "type": "ineq",
            "fun": lambda x: chance.deviate(chart.settings(x[None, :d])) - wanted,
            "jac": chance_slope,
        },
    ]
    here = lines(chart.settings(start[None, :]))[0]
    r = np.array([np.clip(here[aims == i].min(), 2 * LEAST, 1.0) for i in range(m)])
    bounds = [(None, None)] * d + [(LEAST, 1.0)] * m
    return _programmed(minus, np.concatenate([start, r]), kept, bounds)[:d]


def _programmed(
    minus: Callable[[FloatArray], tuple[float, FloatArray]],
    start: FloatArray,
    kept: Sequence[dict[str, Any]],
    bounds: Sequence[tuple[float | None, float | None]] | None = None,
) -> FloatArray:
    programme: Any = {
        "fun": minus,
        "x0": start,
        "jac": True,
        "bounds": bounds,
        "constraints": kept,
        "method": "SLSQP",
        "options": {"maxiter": MAX_STEPS, "ftol": EXACT},
    }
    end = np.asarray(minimize(**programme).x, dtype=np.float64)
    return end if np.isfinite(end).all() else start


def _with_slope(
    f: Callable[[FloatArray], FloatArray], chart: Chart, z: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give f at z and its slopes by central differences: of shape (...), and (..., d)."""
    d = len(z)
    steps = _STEP * np.eye(d)
    values = f(chart.settings(np.vstack([z[None, :], z + steps, z - steps])))
    slope = (values[1 : d + 1] - values[d + 1 :]) / (2.0 * _STEP)
    return values[0], np.moveaxis(slope, 0, -1)

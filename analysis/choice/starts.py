"""Starts for the search: points all over every piece, its faces and corners included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.choice.ascent import Summit
from analysis.choice.chart import Chart
from analysis.choice.objective import Objective
from doe.study.settings import FloatArray, IntArray

# Points over all pieces together, and at least so many in each.
N_POINTS, N_POINTS_EACH = 6000, 60
# Walks of a chart, steps before a point counts, and steps between that all count.
BURN_IN = 8
STEPS = 12
# Improving walks: trials a point and round, rounds, and how the reach shrinks from one to the next.
TRIALS, ROUNDS, SHRINK = 12, 10, 0.7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scatter:
    """Scored points of all charts together, best first.

    Attributes:
        chart: Shape (n,), number of the chart.
        z: One coordinate row a point, shape (d,) by its chart.
        settings: Shape (n, k), lab units.
        merit: Shape (n,), what they are ordered by; higher is better, not flat where all is zero.
        score: Shape (n,), see `Objective.score`.
    """

    chart: IntArray
    z: tuple[FloatArray, ...]
    settings: FloatArray
    merit: FloatArray
    score: FloatArray

    def place(self, number: int) -> tuple[int, FloatArray]:
        """Give chart and coordinates of a point."""
        return int(self.chart[number]), self.z[number]

    def summit(self, number: int) -> Summit:
        """Give a point as a place where an ascent could have ended."""
        chart, z = self.place(number)
        score = float(self.score[number])
        return Summit(chart=chart, z=z, settings=self.settings[number], score=score)

    def reordered(self, objective: Objective) -> Scatter:
        """Score the points by another objective, and order them by it."""
        values = objective.values(self.settings)
        merit = merit_of(objective, values)
        order = np.argsort(-merit, kind="stable")
        return Scatter(
            chart=self.chart[order],
            z=tuple(self.z[i] for i in order),
            settings=self.settings[order],
            merit=merit[order],
            score=objective.score(values)[order],
        )


def scatter_over(
    objective: Objective, charts: tuple[Chart, ...], rng: np.random.Generator
) -> Scatter:
    """Score points inside, on faces and at far ends of every chart.

    Points come from seeded hit-and-run walks (Smith 1984, Operations Research 32, 1296-1308);
    the ends of their chords lie on faces. The best few of each chart are improved by random
    steps of shrinking reach.
    """
    each = max(N_POINTS_EACH, N_POINTS // len(charts))
    clouds = [_walk(chart, each, rng) for chart in charts]
    numbers = np.concatenate([np.full(len(cloud), i) for i, cloud in enumerate(clouds)])
    settings = np.vstack([c.settings(cloud) for c, cloud in zip(charts, clouds, strict=True)])
    unscored = np.zeros(len(settings))
    scattered = Scatter(
        chart=numbers.astype(np.int64),
        z=tuple(z for cloud in clouds for z in cloud),
        settings=settings,
        merit=unscored,
        score=unscored,
    )
    return scattered.reordered(objective)


def merit_of(objective: Objective, values: FloatArray) -> FloatArray:
    """Order recipes with a slope everywhere: (n, r) to (n,).

    Source:
        Σ w ln h with the logarithm continued as its tangent, less a penalty for broken limits.
    """
    heights = np.clip(objective.heights(values), -1e6, 1.0)
    tangent = 0.02
    logs = np.where(
        heights > tangent,
        np.log(np.maximum(heights, tangent)),
        np.log(tangent) + heights / tangent - 1.0,
    )
    penalty = np.minimum(objective.slack(values), 0.0) / tangent
    merit: FloatArray = logs @ objective.exponents + np.maximum(penalty, -1e6)
    return merit


def pick_starts(
    scatter: Scatter, reach: FloatArray, n: int, taken: list[int], *, per_chart: int
) -> list[int]:
    """Pick good points that lie apart from one another and from those taken before.

    Args:
        scatter: Scored points, best first.
        reach: Shape (k,), range of each setting.
        n: How many.
        taken: Points started from before; extended in place.
        per_chart: At most so many new ones in one chart.
    """
    picked: list[int] = []
    spots = np.nan_to_num(scatter.settings / reach)
    # How far each point lies from the nearest one taken, and what its chart has to give.
    away = np.full(len(spots), np.inf)
    for i in taken:
        _come_near(away, spots, i, scatter.chart)
    left = np.full(int(scatter.chart.max(initial=0)) + 1, per_chart)
    apart = 0.5
    while len(picked) < n and apart > 0.01:
        good = (away >= apart) & (left[scatter.chart] > 0)
        i = int(np.argmax(good))
        if not good[i]:
            apart /= 2.0
            continue
        picked.append(i)
        left[scatter.chart[i]] -= 1
        _come_near(away, spots, i, scatter.chart)
    taken.extend(picked)
    return picked


def _come_near(away: FloatArray, spots: FloatArray, i: int, chart: IntArray) -> None:
    """Bring ways to the nearest point taken up to date with one more, in place."""
    far = np.abs(spots - spots[i]).max(axis=1)
    np.minimum(away, far, out=away, where=chart == chart[i])


def _walk(chart: Chart, n: int, rng: np.random.Generator) -> FloatArray:
    """Scatter about n points over one chart, shape (about n, d)."""
    d = chart.dimension
    if d == 0:
        return np.zeros((1, 0))
    n_walks = max(4, n // (2 * STEPS))
    z = np.zeros((n_walks, d))
    kept = [z[:1]]
    for step in range(BURN_IN + STEPS):
        directions = rng.standard_normal((n_walks, d))
        low, high = chords(chart, z, directions)
        if step >= BURN_IN:
            ends = np.where(rng.random(n_walks) < 0.5, low, high)
            kept.append(z + ends[:, None] * directions)
        z = z + (low + (high - low) * rng.random(n_walks))[:, None] * directions
        if step >= BURN_IN:
            kept.append(z)
    return np.vstack(kept)


def chords(chart: Chart, z: FloatArray, directions: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Find how far each point, shape (n, d), may move back and forth: two of shape (n,)."""
    along = directions @ chart.G.T
    slack = np.maximum(chart.h - z @ chart.G.T, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        steps = slack / along
    low = np.where(along < 0.0, steps, -np.inf).max(axis=1)
    high = np.where(along > 0.0, steps, np.inf).min(axis=1)
    return low, high

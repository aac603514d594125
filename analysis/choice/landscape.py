"""The landscape of desirability: every hill of the region, found from starts all over it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from analysis.choice.ascent import Summit, climb
from analysis.choice.chart import Chart
from analysis.choice.objective import Objective
from analysis.choice.starts import Scatter, pick_starts, scatter_over
from analysis.choice.ties import EQUAL, break_ties
from doe.model.coding import ChoiceAxis, Coding
from doe.study.settings import FloatArray

# Starts a round; rounds without a better summit before the search ends; rounds at most.
STARTS, IDLE_ROUNDS, MAX_ROUNDS = 12, 4, 16
# Starts a round from anywhere in the region, good or not.
ANYWHERE = 48
# Summits that differ by less than this part of every range are one.
SAME = 1e-3
# Pieces of which the best point is always started from.
PIECES = 24


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Landscape:
    """What a search found.

    Attributes:
        charts: The convex pieces of the region.
        summits: Local optima, best first, each once; the first is the compromise before steps.
        scatter: Scored points all over the region.
        n_starts: Ascents made.
    """

    charts: tuple[Chart, ...]
    summits: tuple[Summit, ...]
    scatter: Scatter
    n_starts: int

    def good_places(self, n: int) -> tuple[Summit, ...]:
        """Give the best n of the scattered points."""
        return tuple(self.scatter.summit(i) for i in range(min(n, len(self.scatter.z))))


def search_region(
    objective: Objective,
    charts: tuple[Chart, ...],
    coding: Coding,
    rng: np.random.Generator,
    *,
    rounds: int = MAX_ROUNDS,
) -> Landscape:
    """Search every piece of a region for the greatest score.

    Points all over the region are scored; ascents start from the best of each piece, then, round
    by round, from good points far from all starts before, until rounds stop paying.

    Args:
        objective: What to maximise.
        charts: The convex pieces.
        coding: The axes.
        rng: Decides the points; the same generator state gives the same answer.
        rounds: Rounds of starts at most.
    """
    scatter = scatter_over(objective, charts, rng)
    reach = reach_of(coding)
    taken: list[int] = []
    summits: list[Summit] = []
    done = idle = 0
    while done < rounds and idle < IDLE_ROUNDS:
        # Rounds that are made in any case climb together; nothing lies above 1, so the first is
        # looked at alone.
        ahead = min(IDLE_ROUNDS - idle, rounds - done) if done else 1
        starts = [_starts(scatter, charts, reach, taken, rng, n) for n in range(done, done + ahead)]
        starts = [each for each in starts if each]
        done += ahead
        climbed = climb(objective, charts, [place for each in starts for place in each])
        for each in starts:
            own, climbed = climbed[: len(each)], climbed[len(each) :]
            before = max((s.score for s in summits), default=-np.inf)
            summits += own
            idle = 0 if max(s.score for s in own) > before + EQUAL else idle + 1
        if len(starts) < ahead or max(s.score for s in summits) >= 1.0 - EQUAL:
            break
    summits.sort(key=lambda s: (-round(s.score, 9), s.chart))
    summits[0] = break_ties(objective, charts, summits[0])
    return Landscape(
        charts=charts,
        summits=tuple(apart(summits, reach, SAME)),
        scatter=scatter,
        n_starts=len(taken),
    )


def _starts(
    scatter: Scatter,
    charts: tuple[Chart, ...],
    reach: FloatArray,
    taken: list[int],
    rng: np.random.Generator,
    round_: int,
) -> list[tuple[int, FloatArray]]:
    """Pick the starts of a round; none where no good point lies apart from those taken before."""
    n, each = (max(STARTS, min(len(charts), PIECES)), 1) if round_ == 0 else (STARTS, STARTS)
    picked = pick_starts(scatter, reach, n, taken, per_chart=each)
    if not picked:
        return []
    # Good points may all stand round the wrong hill; as many others are drawn from all points.
    anywhere = rng.choice(len(scatter.z), min(len(scatter.z), ANYWHERE), replace=False)
    return [scatter.place(i) for i in (*picked, *map(int, anywhere))]


def reach_of(coding: Coding) -> FloatArray:
    """Give the width of each setting's range, shape (k,), lab units; 1 for a named choice."""
    return np.array(
        [1.0 if isinstance(a, ChoiceAxis) else (a.high - a.low) or 1.0 for a in coding.axes]
    )


def apart(summits: Iterable[Summit], reach: FloatArray, least: float) -> Iterator[Summit]:
    """Give, in their order, summits that differ from all before by some part of a range.

    Args:
        summits: Any places; those in different pieces always differ.
        reach: Shape (k,), see `reach_of`.
        least: That part, in one setting at least.
    """
    kept: list[Summit] = []
    for one in summits:
        if not any(
            one.chart == other.chart
            and np.abs(np.nan_to_num((one.settings - other.settings) / reach)).max() < least
            for other in kept
        ):
            kept.append(one)
            yield one

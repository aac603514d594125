"""Chains: plans that climb, are shaken, and climb again; each keeps its best.

Exchange ends in one of very many plans from which no single change gains. Restarting from where a
good one was partly undone finds better ones far sooner than a new random start.

Source:
    Lourenço, Martin and Stützle (2003), Iterated local search, in Handbook of Metaheuristics.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from doe.layouts.optimal.among import exchange_among
from doe.layouts.optimal.bounds import combinations_of
from doe.layouts.optimal.crowd import Crowd, Problem, Surroundings, make_crowd, scattered, take
from doe.layouts.optimal.exchange_many import MOST_SWEEPS, climb, random_plans
from doe.layouts.optimal.polish import COARSE, FINE, polish
from doe.study.settings import FloatArray, IntArray

# Candidates that one round looks at: a part of many corners and centroids, and places between.
BASE_CANDIDATES = 250
SCATTERED = 80
# Plans within this of each other (of a log) are one plan, whatever the order of its runs.
SAME_PLAN = 1e-4
_TWIN = 1e-5
# Groups of chains that know nothing of each other: where half of them end at one plan, that is no
# chance (measured: two of four agreed on a lesser plan once in eight searches).
GROUPS = 6
# Chains of one batch, where nobody asks for fewer.
CHAINS = 48
ENOUGH_AGREE = 3
# Rounds that together gain less than this (of a log) do not pay; so many are looked at: the square
# of the number of coordinates over a number, within bounds (measured on the benchmarks).
_PAYS = 5e-4
_LEAST_PATIENCE, _MOST_PATIENCE, _PATIENCE_PART = 10, 40, 1600
# Groups that only seem to agree on their way part again within this many rounds.
_STEADY = 6
# Runs that are shaken: from two to this many, and in every third round or so up to a third of all
# (measured: few keep what was good, many get out of where whole groups meet).
MOST_SHAKEN = 4
_WIDE, _WIDE_PART = 0.35, 3
# Sweeps among candidates before a shaken plan is polished, and how far it then looks.
_FEW_SWEEPS = 4
_SHAKEN_REACH = (0.15,)
# Sweeps along lines of a shaken plan whose runs share batches; its lines cost more than candidates.
_SHAKEN_SWEEPS = 10
# Best plans of every group that are polished finely in the end; of plans whose runs share batches
# one, in so many sweeps.
_FINISHED = 2
_LAST_SWEEPS = 15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ends:
    """Where groups of chains have ended.

    Attributes:
        x: Coded settings of the best plan, shape (n, k).
        score: Its score.
        others: Best score of every group, shape (groups,).
        rounds: How often the chains were shaken.
    """

    x: FloatArray
    score: float
    others: FloatArray
    rounds: int

    @property
    def agreeing(self) -> int:
        """How many groups have ended at the best plan."""
        return int(np.sum(self.others <= self.score + SAME_PLAN))


def run_chains(
    problem: Problem,
    s: int,
    rounds: int,
    rng: np.random.Generator,
    progress: Callable[[float], None] | None = None,
) -> Ends:
    """Let groups of chains climb from random starts and shake them until half of the groups agree.

    In each round every chain is shaken, or a better one of its group in its place; what comes out
    replaces it if it is better, and no twin of another chain of the group.

    Args:
        problem: What is searched for.
        s: How many chains, a multiple of `GROUPS`.
        rounds: How often they are shaken, at most.
        rng: Source of starts, shakes and orders.
        progress: Told what part is done, should nothing better be found any more.
    """
    free, asked = problem.runs_are_free, s
    walk = _FreeRuns(problem, rng) if free else _SharedRuns(problem, rng)
    # Lines cost more than candidates, and lead to the best plan more often (measured).
    s = s if free else max(2, s // GROUPS // 2) * GROUPS
    crowd, score = walk.start(s)
    group = np.repeat(np.arange(GROUPS), s // GROUPS)
    done, last_gain, reference = 0, 0, score.min()
    patience = _patience(problem, asked)
    while done < rounds and not _settled(score, group, done - last_gain, patience):
        done += 1
        tried, found = walk.shaken(crowd, _parents(score, group, rng))
        for chain in np.flatnonzero(found < score - _TWIN):
            mates = group == group[chain]
            mates[chain] = False
            if np.all(np.abs(score[mates] - found[chain]) > _TWIN):
                score[chain] = found[chain]
                crowd.x[chain], crowd.F[chain] = tried.x[chain], tried.F[chain]
                crowd.combination[chain] = tried.combination[chain]
        if score.min() < reference - _PAYS:
            last_gain, reference = done, score.min()
        if progress is not None:
            progress((done - last_gain) / patience)
    each = _FINISHED if free else 1
    kept = np.concatenate([_best_of(score, group, g)[:each] for g in range(GROUPS)])
    crowd, final = walk.finished(take(crowd, kept, problem.goal))
    owner = group[kept]
    best_chain = int(final.argmin())
    return Ends(
        x=crowd.x[best_chain],
        score=float(final[best_chain]),
        others=np.array([final[owner == g].min() for g in range(GROUPS)]),
        rounds=done,
    )


def _settled(score: FloatArray, group: IntArray, idle: int, patience: int) -> bool:
    """Tell whether half of the groups have ended at the best plan, or nothing gains any more."""
    best = np.array([score[group == g].min() for g in range(GROUPS)])
    near = int(np.sum(best <= best.min() + 2 * _TWIN))
    return idle >= (_STEADY if near >= ENOUGH_AGREE else patience)


def _patience(problem: Problem, s: int) -> int:
    """Give the rounds without a gain that end a search; fewer where fewer chains are asked for."""
    moving = sum(len(columns) for _, columns in problem.units)
    usual = min(max(_LEAST_PATIENCE, moving**2 // _PATIENCE_PART), _MOST_PATIENCE)
    return max(usual * min(s, CHAINS) // CHAINS, _STEADY)


def _parents(score: FloatArray, group: IntArray, rng: np.random.Generator) -> IntArray:
    """Give each chain the plan it goes on from: its own, or a better one drawn from its group."""
    size = len(score) // GROUPS
    drawn = group * size + rng.integers(size, size=len(score))
    return np.where(score[drawn] < score, drawn, np.arange(len(score)))


def _best_of(score: FloatArray, group: IntArray, number: int) -> IntArray:
    members = np.flatnonzero(group == number)
    return np.asarray(members[np.argsort(score[members], kind="stable")[:_FINISHED]])


# Share of plans that take blocks from a mate instead of being shaken, and most blocks taken.
_CROSSED, _MOST_BLOCKS = 0.5, 2


class _FreeRuns:
    """Chains of plans whose runs move one by one: exchange among candidates, then polish."""

    def __init__(self, problem: Problem, rng: np.random.Generator) -> None:
        self.problem, self.rng = problem, rng
        self.around = Surroundings(problem)
        self.free = np.array([int(rows[0]) for rows, _ in problem.units])

    def start(self, s: int) -> tuple[Crowd, FloatArray]:
        candidates, combination = self._candidates()
        x = random_plans(self.problem, s, self.rng)
        x[:, self.free] = candidates[self.rng.integers(len(candidates), size=(s, len(self.free)))]
        crowd = make_crowd(self.problem, x)
        exchange_among(self.problem, crowd, candidates, combination, self.rng)
        return crowd, polish(self.problem, crowd, self.around, self.rng, COARSE)

    def shaken(self, crowd: Crowd, parents: IntArray) -> tuple[Crowd, FloatArray]:
        candidates, combination = self._candidates()
        x = crowd.x[parents]
        s, m = len(x), len(self.free)
        wide = self.rng.random() < _WIDE
        most = max(MOST_SHAKEN, m // _WIDE_PART) if wide else MOST_SHAKEN
        count = min(int(self.rng.integers(2, most + 1)), m)
        rows = self.free[self.rng.permuted(np.tile(np.arange(m), (s, 1)), axis=1)[:, :count]]
        x[np.arange(s)[:, None], rows] = candidates[
            self.rng.integers(len(candidates), size=rows.shape)
        ]
        if self.problem.block is not None:
            x = self._crossed(crowd.x, x, parents, self.problem.block)
        tried = make_crowd(self.problem, x)
        exchange_among(self.problem, tried, candidates, combination, self.rng, _FEW_SWEEPS)
        return tried, polish(self.problem, tried, self.around, self.rng, _SHAKEN_REACH)

    def finished(self, crowd: Crowd) -> tuple[Crowd, FloatArray]:
        return crowd, polish(self.problem, crowd, self.around, self.rng, FINE, enough=1e-7, most=12)

    def _crossed(
        self, all_x: FloatArray, x: FloatArray, parents: IntArray, block: IntArray
    ) -> FloatArray:
        """Let every other plan, by chance, take whole blocks from a mate of its group instead."""
        s = len(x)
        size = s // GROUPS
        numbers = np.unique(block[self.free])
        for plan in np.flatnonzero(self.rng.random(s) < _CROSSED):
            mate = plan // size * size + int(self.rng.integers(size))
            count = int(self.rng.integers(1, max(len(numbers) // 2, 1) + 1))
            taken = self.rng.choice(numbers, min(count, _MOST_BLOCKS), replace=False)
            rows = self.free[np.isin(block[self.free], taken)]
            x[plan] = all_x[parents[plan]]
            x[plan, rows] = all_x[mate, rows]
        return x

    def _candidates(self) -> tuple[FloatArray, IntArray]:
        base = self.problem.candidates
        if len(base) > BASE_CANDIDATES:
            base = base[self.rng.choice(len(base), BASE_CANDIDATES, replace=False)]
        moved = scattered(
            self.problem, base[self.rng.integers(len(base), size=SCATTERED)], self.rng
        )
        every = np.concatenate([base, moved])
        return every, combinations_of(self.problem.bounds, every)


class _SharedRuns:
    """Chains of plans whose runs share what a batch or a day holds: exchange along lines."""

    def __init__(self, problem: Problem, rng: np.random.Generator) -> None:
        self.problem, self.rng = problem, rng

    def start(self, s: int) -> tuple[Crowd, FloatArray]:
        return self._climbed(random_plans(self.problem, s, self.rng))

    def shaken(self, crowd: Crowd, parents: IntArray) -> tuple[Crowd, FloatArray]:
        x = crowd.x[parents]
        fresh = random_plans(self.problem, len(x), self.rng)
        units = _largest_units(self.problem)
        most = max(1, min(MOST_SHAKEN, len(units) // 3))
        for plan in range(len(x)):
            count = int(self.rng.integers(1, most + 1))
            for unit in self.rng.choice(len(units), count, replace=False):
                x[plan, units[unit]] = fresh[plan, units[unit]]
        return self._climbed(x, _SHAKEN_SWEEPS)

    def finished(self, crowd: Crowd) -> tuple[Crowd, FloatArray]:
        return self._climbed(crowd.x, _LAST_SWEEPS)

    def _climbed(self, x: FloatArray, most: int = MOST_SWEEPS) -> tuple[Crowd, FloatArray]:
        end = climb(self.problem, x, self.rng, most)
        return make_crowd(self.problem, end.x), end.score


def _largest_units(problem: Problem) -> list[IntArray]:
    """List the runs of the units that are in no larger one, to be shaken together."""
    kept: list[IntArray] = []
    for rows, _ in sorted(problem.units, key=lambda unit: -len(unit[0])):
        if not any(np.isin(rows, other).all() for other in kept):
            kept.append(rows)
    return kept

"""Polish: move every run a little along its lines, by parabolas, until nothing gains.

A level grid alone leaves several per cent of the I-criterion on the table; here each run, the
others held, takes the best of the points a little way back and ahead along its lines, of the tops
of the parabolas through them, and of all these moves at once.

Source:
    Donev and Atkinson (1988), Technometrics 30, 429-433 (adjustment of the points of a plan).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from doe.layouts.optimal.among import LEAST_GAIN
from doe.layouts.optimal.crowd import Crowd, Near, Problem, Surroundings
from doe.layouts.optimal.moves import levels_of
from doe.layouts.optimal.rows import RowOpened, changes, exchange_row, open_row, shares_nothing
from doe.study.settings import FloatArray

# How far runs look, in coded units; from a coarse plan, and at the end.
COARSE = (0.2, 0.1, 0.03)
FINE = (0.05, 0.02, 0.005)


def polish(
    problem: Problem,
    crowd: Crowd,
    around: Surroundings,
    rng: np.random.Generator,
    reach: Sequence[float] = COARSE,
    enough: float = 3e-4,
    most: int = 4,
) -> FloatArray:
    """Move runs to nearby better places until a sweep gains little; changes the crowd in place.

    Args:
        problem: What is searched for; every run is free.
        crowd: The plans.
        around: The lines of the problem.
        rng: Source of the order of runs.
        reach: How far runs look, one distance after the other.
        enough: Gain of a sweep (of a log) that is not worth another one at this distance.
        most: Sweeps at each distance, at most.

    Returns:
        The scores, shape (s,).
    """
    goal = problem.goal
    independent = all(shares_nothing(view) for view in goal.views)
    free = np.array([int(rows[0]) for rows, _ in problem.units])
    score = crowd.refresh(goal)
    for h in reach:
        for _ in range(most):
            before = score
            for i in rng.permutation(free):
                opened = open_row(crowd.known, crowd.F, goal, int(i), independent)
                if around.levels:
                    _to_levels(problem, crowd, around, opened, int(i))
                    opened = open_row(crowd.known, crowd.F, goal, int(i), independent)
                _nearby(problem, crowd, around.near(crowd.x[:, i], crowd.combination[:, i], h),
                        opened, int(i))  # fmt: skip
            score = crowd.refresh(goal)
            if np.all(before - score < enough):
                break
    return score


def _nearby(
    problem: Problem, crowd: Crowd, near: Near, opened: Sequence[RowOpened], i: int
) -> None:
    if near.x.shape[1] == 0:
        return
    F = problem.working.matrix(near.x)
    change = changes(crowd.known, problem.goal, opened, F)
    joint = _joined(near, change, crowd.x[:, i])
    F_joint = problem.working.matrix(joint)
    change_joint = changes(crowd.known, problem.goal, opened, F_joint)
    every = np.concatenate([change, change_joint], axis=1)
    plans = np.arange(len(every))
    best = every.argmin(axis=1)
    which = np.flatnonzero(every[plans, best] < -LEAST_GAIN)
    if len(which) == 0:
        return
    x = np.concatenate([near.x, joint], axis=1)[which, best[which]]
    new = np.concatenate([F, F_joint], axis=1)[which, best[which]]
    exchange_row(crowd.known, opened, which, new)
    crowd.F[which, i], crowd.x[which, i] = new, x


def _joined(near: Near, change: FloatArray, x: FloatArray) -> FloatArray:
    """Put the tops of the parabolas together: all that nothing ties, and the best of the rest."""
    m = near.back.shape[1]
    a, b, down, up = near.back, near.ahead, change[:, :m], change[:, m:]
    both = (a > 1e-12) & (b > 1e-12)
    width = np.where(both, a * b * (a + b), 1.0)
    curve = (up * a + down * b) / width
    slope = (up * a * a - down * b * b) / width
    top = np.where(curve > 0, -slope / np.where(curve > 0, 2 * curve, 1.0), np.inf)
    # No top: go downhill to the end.
    top = np.where(np.isfinite(top), top, np.where(up < down, b, -a))
    one_way = np.where(a > 1e-12, np.where(down < 0, -a, 0.0), np.where(up < 0, b, 0.0))
    top = np.where(both, top, one_way)
    # Never beyond what the region was looked at for, back or ahead.
    top = np.clip(top, -a, b)
    value = np.where(both, slope * top + curve * top * top, np.minimum(down, up))
    tied = np.array(near.tied)
    # A setting that a level lacks is NaN in x already; its step is 0.
    moves = near.step * top[:, :, None]
    free = moves[:, ~tied].sum(axis=1)
    points = [x + free, x + 0.5 * free]
    if tied.any():
        best = np.where(tied, value, np.inf).argmin(axis=1)
        along = moves[np.arange(len(x)), best]
        points = [x + free + along, x + 0.5 * (free + along), x + along, x + free]
    return np.stack(points, axis=1)


def _to_levels(
    problem: Problem, crowd: Crowd, around: Surroundings, opened: list[RowOpened], i: int
) -> None:
    """Try the other levels of each setting that has levels only, the best over all of them."""
    plans = np.arange(len(crowd.x))
    xs, combinations, found = [], [], []
    for move in around.levels:
        options, new, allowed, now = levels_of(
            problem.bounds, move, crowd.x[:, [i]], crowd.combination[:, [i]]
        )
        F = problem.working.matrix(options[:, :, 0])
        change = changes(crowd.known, problem.goal, opened, F)
        change = np.where(allowed, change, np.inf)
        change[plans, now] = 0.0
        xs.append(options[:, :, 0])
        combinations.append(new[:, :, 0])
        found.append(change)
    change = np.concatenate(found, axis=1)
    best = change.argmin(axis=1)
    which = np.flatnonzero(change[plans, best] < -LEAST_GAIN)
    if len(which) == 0:
        return
    x = np.concatenate(xs, axis=1)[which, best[which]]
    new_rows = problem.working.matrix(x)
    exchange_row(crowd.known, opened, which, new_rows)
    crowd.F[which, i], crowd.x[which, i] = new_rows, x
    crowd.combination[which, i] = np.concatenate(combinations, axis=1)[which, best[which]]

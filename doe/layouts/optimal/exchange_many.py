"""Sweeps of coordinate exchange over many plans, from random starts to where nothing gains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.layouts.optimal.bounds import Bounds, at_combination, combinations_of, inside
from doe.layouts.optimal.climb import (
    Opened,
    best_on_line,
    know,
    line_scores,
    make_line,
    make_unit,
    nodes_of,
    put_back,
    scores,
    taken_out,
)
from doe.layouts.optimal.crowd import Problem
from doe.layouts.optimal.moves import Move, levels_of, moves_of, segment
from doe.layouts.optimal.working import Moving, moving
from doe.model.coding import code, decode
from doe.model.sampling import sample_region
from doe.study.settings import FloatArray, IntArray

# A move must gain more than this (of a log): above rounding, below anything worth a sweep.
_LEAST_GAIN = 1e-10
# Rough sweeps end, and fine ones begin, where a sweep gains less than this.
_ROUGH = 3e-3
_FINE = 2e-6
MOST_SWEEPS = 40
# Plans this far behind the best one (of a log) after the rough sweeps never catch up (measured).
_HOPELESS = 0.03


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Climbed:
    """Plans at the end of their climb: coded settings (s, n, k), combinations, scores (s,)."""

    x: FloatArray
    combination: IntArray
    score: FloatArray


def climb(
    problem: Problem, x: FloatArray, rng: np.random.Generator, most: int = MOST_SWEEPS
) -> Climbed:
    """Let plans climb until no move gains; those far behind the best stop early.

    Args:
        problem: What is searched for.
        x: Coded settings, shape (s, n, k).
        rng: Source of the order of moves.
        most: Sweeps at most.
    """
    s, n, k = x.shape
    combination = combinations_of(problem.bounds, x.reshape(s * n, k)).reshape(s, n)
    plans = Plans(problem, x.copy(), combination)
    end = Climbed(x=x.copy(), combination=combination.copy(), score=np.full(s, np.inf))
    active = np.arange(s)
    fine = False
    before = plans.scores()
    for _ in range(most):
        plans.sweep(rng, levels=3 if fine else 0)
        after = plans.scores()
        end.x[active], end.combination[active] = plans.x, plans.combination
        end.score[active] = after
        if fine:
            keep = before - after > _FINE
        elif np.quantile(before - after, 0.75) > _ROUGH:
            before = after
            continue
        else:
            fine = True
            keep = after <= after.min() + _HOPELESS
        active, before = active[keep], after[keep]
        if len(active) == 0:
            break
        if not keep.all():
            plans = Plans(problem, plans.x[keep], plans.combination[keep])
    return end


def random_plans(problem: Problem, s: int, rng: np.random.Generator) -> FloatArray:
    """Draw plans evenly from the region, units holding what they hold, shape (s, n, k), coded."""
    coding, bounds = problem.bounds.coding, problem.bounds
    k, m = len(coding.axes), len(problem.held)
    drawn = code(sample_region(problem.region, 2 * s * problem.n, rng), coding)
    x = drawn[: s * problem.n].reshape(s, problem.n, k)
    spare = drawn[s * problem.n :].reshape(s, problem.n, k)
    shared = [unit for unit in problem.units if len(unit[0]) > 1]
    for rows, _ in shared:
        x[:, rows] = x[:, rows[:1]]
    for rows, columns in problem.units:
        if not shared:
            break
        tried = x[:, rows].copy()
        tried[:, :, columns] = spare[:, rows[:1]][:, :, columns]
        flat = tried.reshape(-1, k)
        combination = combinations_of(bounds, np.where(np.isnan(flat), 0.0, flat))
        flat = at_combination(bounds, flat, _levels(bounds, flat, combination))
        good = inside(bounds, _levels(bounds, flat, combination), decode(flat, coding))
        good_plans = np.asarray(good.reshape(s, len(rows)).all(axis=1))
        x[np.ix_(good_plans, rows)] = flat.reshape(s, len(rows), k)[good_plans]
    if m:
        x[:, :m] = code(problem.held, coding)
    return x


def _levels(bounds: Bounds, flat: FloatArray, otherwise: IntArray) -> IntArray:
    """Find the combination by the settings with levels alone."""
    found = otherwise.copy()
    columns = list(bounds.options)
    for c, row in enumerate(bounds.fixed):
        same = np.all(np.isnan(row[columns]) | (np.abs(flat[:, columns] - row[columns]) < 1e-6), 1)
        found[same] = c
    return found


class Plans:
    """Plans in the middle of a search, and the moves that they can make."""

    def __init__(self, problem: Problem, x: FloatArray, combination: IntArray) -> None:
        """Take plans in coded settings, shape (s, n, k); they are changed in place."""
        self.problem = problem
        self.x, self.combination = x, combination
        self._moves: dict[bytes, list[tuple[Move, Moving]]] = {}
        self.units = [
            (rows, self._moves_of(columns), [make_unit(v.P, rows) for v in problem.goal.views])
            for rows, columns in problem.units
        ]
        self._refresh()

    def scores(self) -> FloatArray:
        """Judge every plan, shape (s,)."""
        return scores(self.known, self.problem.goal)

    def sweep(self, rng: np.random.Generator, levels: int) -> None:
        """Move every unit once along each of its lines, in random order."""
        for i in rng.permutation(len(self.units)):
            rows, moves, units = self.units[i]
            views = taken_out(self.known, self.F, self.problem.goal, rows, units)
            F = self.F[:, rows]
            for m in rng.permutation(len(moves)):
                move, changing = moves[m]
                if move.kind == "level":
                    self._to_level(rows, move, changing, views, F)
                else:
                    self._along(rows, move, changing, views, F, levels)
            put_back(self.known, self.F, rows, units, F)
        self._refresh()

    def _refresh(self) -> None:
        self.F = np.ascontiguousarray(self.problem.working.matrix(self.x))
        self.known = know(self.F, self.problem.goal)

    def _moves_of(self, columns: IntArray) -> list[tuple[Move, Moving]]:
        key = columns.tobytes()
        if key not in self._moves:
            working = self.problem.working
            self._moves[key] = [
                (move, moving(working, move.settings))
                for move in moves_of(self.problem.bounds, working.expansion, columns)
            ]
        return self._moves[key]

    def _along(
        self, rows: IntArray, move: Move, changing: Moving, views: list[Opened], F: FloatArray,
        levels: int,
    ) -> None:  # fmt: skip
        x = self.x[:, rows]
        start, end, now = segment(self.problem.bounds, move, x, self.combination[:, rows])
        width = end - start
        nodes = start[:, None] + nodes_of(move.nodes)[None, :, None, None] * width[:, None]
        line = make_line(views, F, changing.columns, changing.matrix(nodes))
        place, value, here = best_on_line(line, now, move.nodes, levels)
        gains = np.flatnonzero(value < here - _LEAST_GAIN)
        if len(gains) == 0:
            return
        moved = start[gains] + place[gains, None, None] * width[gains]
        self.x[gains[:, None], rows] = moved
        F[gains[:, None], :, changing.columns] = changing.matrix(moved).transpose(0, 2, 1)

    def _to_level(
        self, rows: IntArray, move: Move, changing: Moving, views: list[Opened], F: FloatArray
    ) -> None:
        options, new, allowed, now = levels_of(
            self.problem.bounds, move, self.x[:, rows], self.combination[:, rows]
        )
        at = changing.matrix(options)
        line = make_line(views, F, changing.columns, at)
        found = line_scores(line, np.eye(options.shape[1])[None])
        s = np.arange(len(found))
        here = found[s, now]
        found = np.where(allowed, found, np.inf)
        best = found.argmin(axis=1)
        gains = s[found[s, best] < here - _LEAST_GAIN]
        if len(gains) == 0:
            return
        self.x[gains[:, None], rows] = options[gains, best[gains]]
        self.combination[gains[:, None], rows] = new[gains, best[gains]]
        F[gains[:, None], :, changing.columns] = at[gains, best[gains]].transpose(0, 2, 1)

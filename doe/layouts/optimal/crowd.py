"""Many plans in the middle of a search, side by side in arrays, and what one run may become."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.layouts.optimal.bounds import (
    Bounds,
    combinations_of,
    inside,
)
from doe.layouts.optimal.climb import Knowledge, know, scores
from doe.layouts.optimal.goal import Goal
from doe.layouts.optimal.moves import Move, moves_of, segment, segments
from doe.layouts.optimal.working import Working
from doe.model.coding import decode
from doe.model.region import Region
from doe.study.settings import FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """A plan to be searched for.

    Attributes:
        region: All settings the brief allows.
        bounds: The same, laid out.
        working: The model.
        goal: What to make small.
        units: Runs that move together and the settings they hold.
        held: Runs that must be in, shape (m, k), lab units; they are the first m.
        n: Number of runs, held ones included.
        candidates: Coded settings worth trying, shape (g, k).
        block: Day or other block of each run, shape (n,); None without blocks.
        batch: Mill batch of each run, shape (n,); None where each is one of its own.
    """

    region: Region
    bounds: Bounds
    working: Working
    goal: Goal
    units: tuple[tuple[IntArray, IntArray], ...]
    held: FloatArray
    n: int
    candidates: FloatArray
    block: IntArray | None = None
    batch: IntArray | None = None

    @property
    def runs_are_free(self) -> bool:
        """Whether every run that may move is a unit of its own in all its settings."""
        k = len(self.bounds.coding.axes)
        return all(len(rows) == 1 and len(columns) == k for rows, columns in self.units)


@dataclass(slots=True, kw_only=True, eq=False)
class Crowd:
    """s plans: coded settings (s, n, k), level combinations (s, n), working rows (s, n, p)."""

    x: FloatArray
    combination: IntArray
    F: FloatArray
    known: list[Knowledge]

    def refresh(self, goal: Goal) -> FloatArray:
        """Work everything out anew, which clears what rounding has piled up; give the scores."""
        self.known = know(self.F, goal)
        return scores(self.known, goal)


def make_crowd(problem: Problem, x: FloatArray) -> Crowd:
    """Take plans in coded settings, shape (s, n, k)."""
    s, n, k = x.shape
    F = np.ascontiguousarray(problem.working.matrix(x))
    combination = combinations_of(problem.bounds, x.reshape(s * n, k)).reshape(s, n)
    return Crowd(x=x, combination=combination, F=F, known=know(F, problem.goal))


def take(crowd: Crowd, rows: IntArray, goal: Goal) -> Crowd:
    """Copy some of the plans."""
    F = crowd.F[rows]
    return Crowd(x=crowd.x[rows], combination=crowd.combination[rows], F=F, known=know(F, goal))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Near:
    """What a run may become within a little way of where it is.

    Attributes:
        x: Coded settings, shape (s, 2 m, k): back along each of m lines, then ahead.
        back: How far back each is, shape (s, m), coded units or parts of the line.
        ahead: How far ahead.
        step: Coded settings per unit of a line, shape (s, m, k).
        tied: Whether a line must not be joined with others, shape (m,).
    """

    x: FloatArray
    back: FloatArray
    ahead: FloatArray
    step: FloatArray
    tied: tuple[bool, ...]


class Surroundings:
    """The lines along which a run may move a little, prepared once for a problem."""

    def __init__(self, problem: Problem) -> None:
        """Sort the moves into ranges that nothing ties, and lines that need their chord."""
        bounds = problem.bounds
        k = len(bounds.coding.axes)
        every = moves_of(bounds, problem.working.expansion, np.arange(k))
        lines = [move for move in every if move.kind != "level"]
        self.bounds = bounds
        self.free = np.array(
            [m.first for m in lines if m.kind == "range" and not bounds.tied[m.first]], dtype=int
        )
        self.tied: list[Move] = [
            m for m in lines if not (m.kind == "range" and not bounds.tied[m.first])
        ]
        self.levels: list[Move] = [move for move in every if move.kind == "level"]

    def near(self, x: FloatArray, combination: IntArray, h: float) -> Near:
        """List the points a little way back and ahead of each plan's run.

        Args:
            x: The run, shape (s, k), coded.
            combination: Shape (s,).
            h: How far, in coded units of a range or half a line.
        """
        s, k = x.shape
        m_free, m = len(self.free), len(self.free) + len(self.tied)
        points = np.repeat(x[:, None], 2 * m, axis=1)
        back, ahead = np.zeros((s, m)), np.zeros((s, m))
        step = np.zeros((s, m, k))
        j, at = self.free, np.arange(m_free)
        if m_free:
            here = x[:, j]
            low = np.fmin(np.fmax(here - h, self.bounds.low[combination][:, j]), here)
            high = np.fmax(np.fmin(here + h, self.bounds.high[combination][:, j]), here)
            # A setting that a level lacks stays open.
            lacking = np.isnan(here)
            points[:, at, j] = np.where(lacking, np.nan, low)
            points[:, m + at, j] = np.where(lacking, np.nan, high)
            back[:, :m_free] = np.where(lacking, 0.0, here - low)
            ahead[:, :m_free] = np.where(lacking, 0.0, high - here)
            step[:, at, j] = np.where(lacking, 0.0, 1.0)
        if self.tied:
            way, now = segments(self.bounds, self.tied, x, combination)
            back[:, m_free:] = np.minimum(now, h / 2)
            ahead[:, m_free:] = np.minimum(1.0 - now, h / 2)
            points[:, m_free:m] -= back[:, m_free:, None] * way
            points[:, m + m_free :] += ahead[:, m_free:, None] * way
            step[:, m_free:] = way
        tied = (False,) * m_free + (True,) * len(self.tied)
        return Near(x=points, back=back, ahead=ahead, step=step, tied=tied)


def scattered(problem: Problem, base: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Move each of some settings, shape (g, k), to a random place of one of its lines."""
    k = base.shape[1]
    moves = [
        move
        for move in moves_of(problem.bounds, problem.working.expansion, np.arange(k))
        if move.kind != "level"
    ]
    moved = base.copy()
    if not moves or not len(base):
        return moved
    combination = combinations_of(problem.bounds, base)
    which = rng.integers(len(moves), size=len(base))
    place = rng.random((len(base), 1, 1))
    for i, move in enumerate(moves):
        here = np.flatnonzero(which == i)
        if len(here) == 0:
            continue
        start, end, _ = segment(
            problem.bounds, move, base[here][:, None], combination[here][:, None]
        )
        moved[here] = (start + place[here] * (end - start))[:, 0]
    # A line through a region of several pieces may leave it between them.
    held = inside(problem.bounds, combination, decode(moved, problem.bounds.coding))
    return np.where(held[:, None], moved, base)

"""Local ascent from many starts at once, kinks and flat ground included.

The desirability is flat where it is zero and kinked where a ramp begins, ends or peaks, so that
plain gradient steps stop anywhere. Here every ramp is a line that is followed beyond both ends, and
each step maximises Σ w ln r subject to r ≤ the lines as they run from here, r ≤ 1, inside a box
that grows where lines run as foreseen and shrinks where they do not. Where all is zero the
logarithm goes on as its tangent, so that the lines still point the way.

Source:
    Fletcher (1982), A model algorithm for composite nondifferentiable optimization problems,
    Mathematical Programming Study 17, 67-76; second-order correction from the same place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np

from analysis.choice.chart import Chart
from analysis.choice.ground import Ground
from analysis.choice.interior import Gains, maximise
from analysis.choice.objective import BROKEN, Objective
from doe.study.settings import BoolArray, FloatArray, IntArray

# Below this height the logarithm goes on as its tangent: first steep enough to leave the flat,
# then so low that it is the logarithm wherever a desirability can be printed.
FIRST_TANGENT, LAST_TANGENT = 0.02, 1e-7
# Breaking a binding limit by 1 costs as much as this many e-folds of desirability.
PENALTY = 1e3
MAX_STEPS = 50
FIRST_BOX, LARGEST_BOX, LEAST_BOX = 0.5, 4.0, 1e-9
# Climbers this close, in half ranges, that want the same go on as one, after so many steps alone.
CLOSE, ALONE = 1e-2, 2
# A foreseen gain below this ends an ascent; a tenth of what counts as equal.
NO_GAIN = 1e-10
# A step that gets less than this part of what was foreseen is tried again, corrected.
AS_FORESEEN = 0.75
# Added to every curvature, so that a setting without influence stays where it is.
STIFFNESS = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Summit:
    """Where an ascent ended.

    Attributes:
        chart: Number of the chart it lies in.
        z: Shape (d,), coordinates there.
        settings: Shape (k,), lab units.
        score: See `Objective.score`.
    """

    chart: int
    z: FloatArray
    settings: FloatArray
    score: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """What an ascent maximises: levels r under lines, with their worth.

    Attributes:
        gains: Worth of the q levels.
        level_of_line: Shape (l,), which level each line holds down.
        raised: Shape (l,), added to the lines; or (S, l), one row a climber.
        cap: Shape (q,), greatest level that counts.
        target: Coordinates (S, d) to come near to, at ½ |z − target|² less; None for none.
    """

    gains: Gains
    level_of_line: IntArray
    raised: FloatArray
    cap: FloatArray
    target: FloatArray | None = None

    @property
    def is_shared(self) -> bool:
        """Whether all climbers want the same."""
        return self.target is None and self.raised.ndim == 1

    def of_climbers(self, which: Sequence[int] | IntArray, d: int) -> Task:
        """Keep what belongs to some of the climbers, of dimension d."""
        target, raised = self.target, self.raised
        if target is not None:
            target = target[which, :d]
        if raised.ndim == 2:
            raised = raised[which]
        return replace(self, target=target, raised=raised)

    def levels(self, lines: FloatArray) -> FloatArray:
        """Give the levels under lines: (S, l) to (S, q)."""
        levels = np.tile(self.cap, (len(lines), 1))
        np.minimum.at(levels.T, self.level_of_line, (lines + self.raised).T)
        return levels

    def worth(self, lines: FloatArray, z: FloatArray) -> FloatArray:
        """Give what is maximised: (S, l) to (S,)."""
        worth = self.gains.worth(self.levels(lines))
        if self.target is not None:
            worth = worth - 0.5 * ((z - self.target) ** 2).sum(axis=1)
        return np.nan_to_num(worth, nan=-np.inf)


def desirability_task(objective: Objective, tangent: float) -> Task:
    """Maximise the overall desirability, its logarithm continued below `tangent`."""
    m, n_limits = len(objective.aims), len(objective.limits)
    return Task(
        gains=Gains(
            weight=np.concatenate([objective.exponents, np.full(n_limits, PENALTY)]),
            by_log=np.arange(m + n_limits) < m,
            tangent=tangent,
        ),
        level_of_line=np.concatenate([objective.aim_of_side, m + np.arange(n_limits)]).astype(int),
        raised=np.zeros(len(objective.aim_of_side) + n_limits),
        cap=np.concatenate([np.ones(m), np.zeros(n_limits)]),
    )


def worst_task(objective: Objective) -> Task:
    """Maximise the worst height; binding limits are kept where they can be."""
    n_limits = len(objective.limits)
    sides = np.zeros(len(objective.aim_of_side))
    return Task(
        gains=Gains(
            weight=np.concatenate([[1.0], np.full(n_limits, PENALTY)]),
            by_log=np.zeros(1 + n_limits, dtype=np.bool_),
            tangent=FIRST_TANGENT,
        ),
        level_of_line=np.concatenate([sides, 1.0 + np.arange(n_limits)]).astype(int),
        raised=np.zeros(len(sides) + n_limits),
        cap=np.concatenate([[1.0], np.zeros(n_limits)]),
    )


def nearest_task(objective: Objective) -> Task:
    """Make the worst break of a binding limit as small as can be, then the worst height tall."""
    n_limits = len(objective.limits)
    sides = np.ones(len(objective.aim_of_side))
    return Task(
        gains=Gains(
            weight=np.array([1.0, 1.0 / PENALTY**2]),
            by_log=np.zeros(2, dtype=np.bool_),
            tangent=FIRST_TANGENT,
        ),
        level_of_line=np.concatenate([sides, np.zeros(n_limits)]).astype(int),
        raised=np.zeros(len(sides) + n_limits),
        cap=np.array([0.0, 1.0]),
    )


def climb(
    objective: Objective, charts: Sequence[Chart], starts: Sequence[tuple[int, FloatArray]]
) -> list[Summit]:
    """Climb from starts to local optima of the score; none ends below its start.

    Args:
        objective: What to maximise.
        charts: The pieces to stay in.
        starts: Number of the chart and coordinates (d,) inside it.

    Returns:
        One summit a start, in their order.
    """
    best = summits_at(objective, charts, starts)
    stages: tuple[tuple[Task, Callable[[Sequence[Summit]], BoolArray]], ...] = (
        (
            desirability_task(objective, FIRST_TANGENT),
            lambda tops: np.ones(len(tops), dtype=np.bool_),
        ),
        (worst_task(objective), lambda tops: _scores(tops) <= 0.0),
        (nearest_task(objective), lambda tops: _scores(tops) <= BROKEN),
        (desirability_task(objective, LAST_TANGENT), lambda tops: _shallow(objective, tops)),
    )
    for task, needed in stages:
        again = [int(i) for i in np.flatnonzero(needed(best))] if best else []
        tops = ascend(objective, charts, task, [(best[i].chart, best[i].z) for i in again])
        for i, top in zip(again, tops, strict=True):
            best[i] = max(best[i], top, key=lambda one: one.score)
    return best


def ascend(
    objective: Objective,
    charts: Sequence[Chart],
    task: Task,
    starts: Sequence[tuple[int, FloatArray]],
    max_steps: int = MAX_STEPS,
) -> list[Summit]:
    """Carry out one task from every start, see `climb`; starts of equal dimension go together."""
    ends: list[tuple[int, FloatArray]] = list(starts)
    dimensions = np.array([len(z) for _, z in starts], dtype=np.int64)
    for d in np.unique(dimensions[dimensions > 0]):
        which = [int(i) for i in np.flatnonzero(dimensions == d)]
        ground = Ground(objective, [charts[starts[i][0]] for i in which])
        own = task.of_climbers(which, d)
        z = _ascend(ground, own, np.stack([starts[i][1] for i in which]), max_steps)
        for i, end in zip(which, z, strict=True):
            ends[i] = (starts[i][0], charts[starts[i][0]].pulled_in(end))
    return summits_at(objective, charts, ends)


def summits_at(
    objective: Objective, charts: Sequence[Chart], places: Sequence[tuple[int, FloatArray]]
) -> list[Summit]:
    """Note places with their scores."""
    if not places:
        return []
    settings = np.vstack([charts[number].settings(z[None, :]) for number, z in places])
    scores = objective.score(objective.values(settings))
    return [
        Summit(chart=number, z=z, settings=row, score=float(score))
        for (number, z), row, score in zip(places, settings, scores, strict=True)
    ]


def _scores(summits: Sequence[Summit]) -> FloatArray:
    return np.array([summit.score for summit in summits])


def _shallow(objective: Objective, summits: Sequence[Summit]) -> BoolArray:
    """Tell which summits lie where the first tangent still stood for the logarithm."""
    heights = objective.heights(objective.values(np.stack([one.settings for one in summits])))
    shallow: BoolArray = (_scores(summits) > 0.0) & (heights.min(axis=1) < 1.5 * FIRST_TANGENT)
    return shallow


def _ascend(ground: Ground, task: Task, z: FloatArray, max_steps: int) -> FloatArray:
    """Take steps from all starts together, z of shape (S, d), until none gains.

    Who comes upon the way of a higher one follows it to where that ends.
    """
    climbers = _Climbers(ground, task, z)
    ends = z.copy()
    left, leader = np.arange(len(z)), np.arange(len(z))
    for n in range(max_steps):
        moving = climbers.step()
        ends[left] = climbers.z
        if n >= ALONE and task.is_shared:
            ahead = climbers.ahead()
            leader[left] = left[ahead]
            moving &= ahead == np.arange(len(ahead))
        if not moving.any():
            break
        if not moving.all():
            climbers = climbers.kept(moving)
            left = left[moving]
    # A leader may have come to follow another one later, which stands after it in no order.
    while np.any(leader[leader] != leader):
        leader = leader[leader]
    return ends[leader]


class _Climbers:
    """Climbers under way: where each stands, how large its box is, the prices of its lines."""

    def __init__(self, ground: Ground, task: Task, z: FloatArray) -> None:
        self.ground, self.task, self.z = ground, task, z
        self.box = np.full(len(z), FIRST_BOX)
        self.lines, self.slopes = ground.lines(z)
        self.worth = task.worth(self.lines, z)
        self.prices = np.zeros_like(self.lines)
        flat = np.zeros((len(z), z.shape[1], z.shape[1]))
        *_, self.prices = self._foreseen(self.lines, flat)

    def kept(self, which: BoolArray) -> _Climbers:
        """Keep some of the climbers, as they stand."""
        kept = copy(self)
        kept.ground = self.ground.part(np.flatnonzero(which))
        kept.task = self.task.of_climbers(np.flatnonzero(which), self.z.shape[1])
        for name in ("z", "box", "lines", "slopes", "worth", "prices"):
            setattr(kept, name, getattr(self, name)[which])
        return kept

    def ahead(self) -> IntArray:
        """Name for each climber the highest one close by in its chart, itself where there is none.

        Who is close to several goes with the highest; nobody goes with one that follows another.
        """
        order = np.argsort(-self.worth, kind="stable")
        numbers = {id(chart): i for i, chart in enumerate(self.ground.charts)}
        charts = np.array([numbers[id(chart)] for chart in self.ground.charts])
        ahead = np.arange(len(order))
        alone = np.ones(len(order), dtype=np.bool_)
        for i in order:
            if alone[i]:
                near = np.abs(self.z - self.z[i]).max(axis=1) < CLOSE
                near &= (charts == charts[i]) & alone
                ahead[near] = i
                alone[near] = False
        return ahead

    def step(self) -> BoolArray:
        """Take one step each; tell who may still gain."""
        B = self.ground.curvature(self.z, self.prices)
        s, hoped, prices = self._foreseen(self.lines, B)
        gain = hoped - self.worth
        lines, slopes = self.ground.lines(self.z + s)
        worth = self.task.worth(lines, self.z + s)
        if np.any(worth - self.worth < AS_FORESEEN * gain):
            # Second-order correction: the lines as they turned out, with the same slopes.
            bent = lines - np.einsum("sld,sd->sl", self.slopes, s)
            again, *_ = self._foreseen(bent, B)
            lines2, slopes2 = self.ground.lines(self.z + again)
            worth2 = self.task.worth(lines2, self.z + again)
            better = worth2 > worth
            s = np.where(better[:, None], again, s)
            lines = np.where(better[:, None], lines2, lines)
            slopes = np.where(better[:, None, None], slopes2, slopes)
            worth = np.where(better, worth2, worth)
        self._resize(s, gain, worth)
        taken = worth > self.worth
        self.z = np.where(taken[:, None], self.z + s, self.z)
        self.lines = np.where(taken[:, None], lines, self.lines)
        self.slopes = np.where(taken[:, None, None], slopes, self.slopes)
        self.worth = np.where(taken, worth, self.worth)
        self.prices = prices
        moving: BoolArray = (gain > NO_GAIN) & (self.box > LEAST_BOX)
        return moving

    def _resize(self, s: FloatArray, gain: FloatArray, worth: FloatArray) -> None:
        """Let boxes grow where lines ran as foreseen, and shrink where they did not."""
        got = np.where(gain > 0.0, worth - self.worth, 0.0)
        length = np.abs(s).max(axis=1)
        grown = np.where((got > 0.75 * gain) & (length > 0.9 * self.box), 2.0 * self.box, self.box)
        shrunk = 0.3 * np.minimum(self.box, np.maximum(length, LEAST_BOX))
        self.box = np.minimum(np.where(got < 0.25 * gain, shrunk, grown), LARGEST_BOX)

    def _foreseen(
        self, lines: FloatArray, B: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        return _foreseen(self.ground, self.task, self.z, lines, self.slopes, B, self.box)


def _foreseen(
    ground: Ground,
    task: Task,
    z: FloatArray,
    lines: FloatArray,
    slopes: FloatArray,
    B: FloatArray,
    box: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Find the best step inside the box as the lines run: s (S, d), worth (S,), prices (S, l)."""
    S, n_lines, d = slopes.shape
    q = len(task.cap)
    pick = np.zeros((n_lines, q))
    pick[np.arange(n_lines), task.level_of_line] = 1.0
    # Steps are counted in boxes, so that small boxes are solved as exactly as large ones.
    scale = box[:, None, None]
    eye = np.broadcast_to(np.eye(d), (S, d, d))
    A = np.zeros((S, n_lines + q + ground.G.shape[1] + 2 * d, d + q))
    A[:, :n_lines, :d] = -slopes * scale
    A[:, :n_lines, d:] = pick
    A[:, n_lines : n_lines + q, d:] = np.eye(q)
    A[:, n_lines + q : -2 * d, :d] = ground.G * scale
    A[:, -2 * d : -d, :d] = eye
    A[:, -d:, :d] = -eye
    slack = np.maximum(ground.h - np.einsum("smd,sd->sm", ground.G, z), 0.0)
    b = np.hstack([lines + task.raised, np.tile(task.cap, (S, 1)), slack, np.ones((S, 2 * d))])
    curvature = B + STIFFNESS * np.eye(d)
    g = np.zeros((S, d))
    if task.target is not None:
        curvature = curvature + np.eye(d)
        g = z - task.target
    # The origin of a chart lies well inside: a part of the way to it has room to spare.
    away = np.abs(z).max(axis=1)
    inside = -0.5 * z / np.maximum(away, box)[:, None]
    x, price = maximise(task.gains, g * box[:, None], curvature * scale**2, A, b, inside)
    s = np.clip(x, -1.0, 1.0) * box[:, None]
    hoped = task.worth(lines + np.einsum("sld,sd->sl", slopes, s), z + s)
    hoped = hoped - 0.5 * np.einsum("si,sij,sj->s", s, B, s)
    return s, hoped, price[:, :n_lines]

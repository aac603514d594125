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
from dataclasses import dataclass, replace

import numpy as np

from analysis.choice.chart import Chart
from analysis.choice.ground import Ground
from analysis.choice.interior import Gains, maximise
from analysis.choice.objective import Objective
from doe.study.settings import FloatArray, IntArray

# Below this height the logarithm goes on as its tangent: first steep enough to leave the flat,
# then so low that it is the logarithm wherever a desirability can be printed.
FIRST_TANGENT, LAST_TANGENT = 0.02, 1e-7
# Breaking a binding limit by 1 costs as much as this many e-folds of desirability.
PENALTY = 1e3
MAX_STEPS = 50
FIRST_BOX, LARGEST_BOX, LEAST_BOX = 0.5, 4.0, 1e-9
# A foreseen gain below this ends an ascent; a tenth of what counts as equal.
NO_GAIN = 1e-12
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
        raised: Shape (l,), added to the lines.
        cap: Shape (q,), greatest level that counts.
        target: Coordinates (S, d) to come near to, at ½ |z − target|² less; None for none.
    """

    gains: Gains
    level_of_line: IntArray
    raised: FloatArray
    cap: FloatArray
    target: FloatArray | None = None

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
    stages: tuple[tuple[Task, Callable[[Summit], bool]], ...] = (
        (desirability_task(objective, FIRST_TANGENT), lambda summit: True),
        (worst_task(objective), lambda summit: summit.score <= 0.0),
        (desirability_task(objective, LAST_TANGENT), lambda summit: _shallow(objective, summit)),
    )
    for task, needed in stages:
        again = [i for i, summit in enumerate(best) if needed(summit)]
        tops = ascend(objective, charts, task, [(best[i].chart, best[i].z) for i in again])
        for i, top in zip(again, tops, strict=True):
            best[i] = max(best[i], top, key=lambda one: one.score)
    return best


def ascend(
    objective: Objective,
    charts: Sequence[Chart],
    task: Task,
    starts: Sequence[tuple[int, FloatArray]],
) -> list[Summit]:
    """Carry out one task from every start, see `climb`; starts of equal dimension go together."""
    ends: list[tuple[int, FloatArray]] = list(starts)
    dimensions = np.array([len(z) for _, z in starts], dtype=np.int64)
    for d in np.unique(dimensions[dimensions > 0]):
        which = [int(i) for i in np.flatnonzero(dimensions == d)]
        ground = Ground(objective, [charts[starts[i][0]] for i in which])
        own = replace(task, target=None if task.target is None else task.target[which, :d])
        z = _ascend(ground, own, np.stack([starts[i][1] for i in which]))
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


def _shallow(objective: Objective, summit: Summit) -> bool:
    """Tell whether a summit lies where the first tangent still stood for the logarithm."""
    heights = objective.heights(objective.values(summit.settings[None, :]))
    return summit.score > 0.0 and bool(heights.min() < 1.5 * FIRST_TANGENT)


def _ascend(ground: Ground, task: Task, z: FloatArray) -> FloatArray:
    """Take steps from all starts together, z of shape (S, d), until none gains."""
    box = np.full(len(z), FIRST_BOX)
    lines, slopes = ground.lines(z)
    worth = task.worth(lines, z)
    prices = np.zeros_like(lines)
    moving = np.ones(len(z), dtype=np.bool_)
    for step in range(MAX_STEPS):
        i = np.flatnonzero(moving)
        if not len(i):
            break
        part = ground.part(i)
        own = replace(task, target=None if task.target is None else task.target[i])
        if step == 0:
            *_, prices[i] = _foreseen(part, own, z[i], lines[i], slopes[i], None, box[i])
        B = part.curvature(z[i], prices[i])
        s, hoped, new_prices = _foreseen(part, own, z[i], lines[i], slopes[i], B, box[i])
        gain = hoped - worth[i]
        trial = part.lines(z[i] + s)
        reached = own.worth(trial[0], z[i] + s)
        # Second-order correction: the lines as they turned out, with the same slopes.
        bent = trial[0] - np.einsum("sld,sd->sl", slopes[i], s)
        s2, _, _ = _foreseen(part, own, z[i], bent, slopes[i], B, box[i])
        corrected = part.lines(z[i] + s2)
        reached2 = own.worth(corrected[0], z[i] + s2)
        better = reached2 > reached
        s = np.where(better[:, None], s2, s)
        reached = np.where(better, reached2, reached)
        taken = reached > worth[i]
        with np.errstate(divide="ignore", invalid="ignore"):
            trust = np.where(gain > 0.0, (reached - worth[i]) / gain, 0.0)
        length = np.abs(s).max(axis=1)
        box[i] = np.where(
            trust < 0.25,
            0.3 * np.minimum(box[i], length),
            np.where((trust > 0.75) & (length > 0.9 * box[i]), 2.0 * box[i], box[i]),
        )
        box[i] = np.minimum(box[i], LARGEST_BOX)
        z[i] = np.where(taken[:, None], z[i] + s, z[i])
        for new, old in zip(
            (np.where(better[:, None], corrected[0], trial[0]),), (lines,), strict=True
        ):
            old[i] = np.where(taken[:, None], new, old[i])
        slopes[i] = np.where(
            taken[:, None, None],
            np.where(better[:, None, None], corrected[1], trial[1]),
            slopes[i],
        )
        prices[i] = new_prices
        worth[i] = np.where(taken, reached, worth[i])
        moving[i] = (gain > NO_GAIN) & (box[i] > LEAST_BOX)
    return z


def _foreseen(
    ground: Ground,
    task: Task,
    z: FloatArray,
    lines: FloatArray,
    slopes: FloatArray,
    B: FloatArray | None,
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
    curvature = np.zeros((S, d, d)) if B is None else B
    curvature = curvature + STIFFNESS * np.eye(d)
    g = np.zeros((S, d))
    if task.target is not None:
        curvature = curvature + np.eye(d)
        g = z - task.target
    x = np.hstack([np.zeros((S, d)), task.levels(lines)])
    x, price = maximise(task.gains, g * box[:, None], curvature * scale**2, A, b, x)
    s = np.clip(x[:, :d], -1.0, 1.0) * box[:, None]
    hoped = task.worth(lines + np.einsum("sld,sd->sl", slopes, s), z + s)
    hoped = hoped - 0.5 * np.einsum(
        "si,sij,sj->s", s, np.zeros_like(curvature) if B is None else B, s
    )
    return s, hoped, price[:, :n_lines]

"""Rivals: recipes nearly as desirable as the best that lie far away from it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.choice.ascent import Summit
from analysis.choice.landscape import Landscape, reach_of
from analysis.choice.objective import Objective
from analysis.choice.starts import chords
from analysis.choice.steps import near_on_steps
from doe.model.coding import Coding
from doe.study.settings import FloatArray

# Nearly as desirable: at least this part of the best.
NEAR = 0.95
# Far away: another level of a named choice, or a setting that differs by this part of its range.
FAR = 0.5
AT_MOST = 4
# Walks that look for the ends of a flat top, from each of the best summits.
WALKS, WALK_STEPS, WALKED_SUMMITS = 24, 20, 3
TRIED = 8
# How often a step off the top is shortened before the walk stays where it is.
SHORTER = 5


def find_rivals(
    objective: Objective,
    landscape: Landscape,
    coding: Coding,
    best: Summit,
    rng: np.random.Generator,
) -> tuple[Summit, ...]:
    """Find up to four recipes on the bench's steps that the team might prefer to the best.

    Args:
        objective: What was maximised.
        landscape: What the search found.
        coding: The axes.
        best: The compromise on its steps.
        rng: Decides the walks.

    Returns:
        Best first; each far from the compromise and from those before it.
    """
    if best.score <= 0.0:
        return ()
    floor = NEAR * best.score
    pool = _pool(objective, landscape, floor, rng)
    reach = reach_of(coding)
    chosen = [best]
    tried = 0
    for candidate in pool:
        if len(chosen) > AT_MOST or tried == TRIED:
            break
        if not _is_far(candidate.settings, chosen, reach):
            continue
        tried += 1
        settled = near_on_steps(objective, landscape.charts, coding, candidate)
        if settled is not None and settled.score >= floor:
            if _is_far(settled.settings, chosen, reach):
                chosen.append(settled)
    return tuple(sorted(chosen[1:], key=lambda one: -one.score))


def _pool(
    objective: Objective, landscape: Landscape, floor: float, rng: np.random.Generator
) -> list[Summit]:
    """Gather all recipes known to be desirable enough, best first."""
    pool = [summit for summit in landscape.summits if summit.score >= floor]
    scatter = landscape.scatter
    good = np.flatnonzero(scatter.score >= floor)
    walked = [
        one
        for summit in pool[:WALKED_SUMMITS]
        for one in _walked(objective, landscape, summit, floor, rng)
    ]
    scattered = [scatter.summit(int(i)) for i in good]
    return sorted(pool + walked + scattered, key=lambda one: -one.score)


def _walked(
    objective: Objective,
    landscape: Landscape,
    summit: Summit,
    floor: float,
    rng: np.random.Generator,
) -> list[Summit]:
    """Walk about in the settings that are desirable enough, starting from a summit.

    Source:
        Slice sampling along random lines: Neal (2003), Annals of Statistics 31, 705-767.
    """
    chart = landscape.charts[summit.chart]
    d = chart.dimension
    if d == 0:
        return []
    z = np.repeat(summit.z[None, :], WALKS, axis=0)
    found: list[Summit] = []
    for _ in range(WALK_STEPS):
        directions = rng.standard_normal((WALKS, d))
        low, high = chords(chart, z, directions)
        steps = low + (high - low) * rng.random(WALKS)
        trial = z + steps[:, None] * directions
        settings = chart.settings(trial)
        score = objective.score(objective.values(settings))
        shorter = 0
        while np.any(score < floor) and shorter < SHORTER:
            steps = np.where(score < floor, steps * 0.4, steps)
            trial = z + steps[:, None] * directions
            settings = chart.settings(trial)
            score = objective.score(objective.values(settings))
            shorter += 1
        taken = score >= floor
        z = np.where(taken[:, None], trial, z)
        found += [
            Summit(chart=summit.chart, z=trial[i], settings=settings[i], score=float(score[i]))
            for i in np.flatnonzero(taken)
        ]
    return found


def _is_far(settings: FloatArray, others: Sequence[Summit], reach: FloatArray) -> bool:
    """Tell whether a recipe is far from all others; a setting only one of them has is far."""
    for other in others:
        lacking = np.isnan(settings) != np.isnan(other.settings)
        away = np.abs(np.nan_to_num(settings - other.settings)) / reach
        if not lacking.any() and away.max(initial=0.0) < FAR:
            return False
    return True

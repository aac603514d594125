"""The best recipe at each level of a choice: chemistries beside one another, each at its best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.choice.ascent import Summit
from analysis.choice.chart import Chart
from analysis.choice.landscape import search_region
from analysis.choice.objective import Objective
from analysis.choice.steps import best_on_steps
from doe.model.coding import ChoiceAxis, Coding

# More levels than this are not looked at one by one.
MOST_LEVELS = 12
# Summits and scattered points of a level that are brought onto the steps.
SETTLED, PLACES = 3, 100
# Rounds of starts for a level: they rank levels, and the compromise is searched for at length.
ROUNDS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelSummit:
    """The best recipe at one level of a choice, before it is written up."""

    choice: str
    level: str
    summit: Summit


def best_by_level(
    objective: Objective,
    charts: Sequence[Chart],
    coding: Coding,
    best: Summit,
    rng: np.random.Generator,
) -> tuple[LevelSummit, ...]:
    """Search each level of each choice on its own.

    Args:
        objective: What is maximised.
        charts: The pieces of the region.
        coding: The axes.
        best: The compromise on its steps, which is the best of its own levels.
        rng: Decides where the searches start.

    Returns:
        Choices and levels in the brief's order, without noise factors and levels that the region
        does not hold; recipes on the bench's steps where there are any inside.
    """
    found: list[LevelSummit] = []
    for j, axis in enumerate(coding.axes):
        if not isinstance(axis, ChoiceAxis) or axis.noise or len(axis.levels) > MOST_LEVELS:
            continue
        found += [
            LevelSummit(choice=axis.name, level=axis.levels[i], summit=summit)
            for i, summit in _levels(objective, charts, coding, best, rng, j)
        ]
    return tuple(found)


def _levels(
    objective: Objective,
    charts: Sequence[Chart],
    coding: Coding,
    best: Summit,
    rng: np.random.Generator,
    j: int,
) -> Iterator[tuple[int, Summit]]:
    axis = coding.axes[j]
    assert isinstance(axis, ChoiceAxis)
    for i in range(len(axis.levels)):
        own = tuple(chart for chart in charts if chart.origin[j] == i)
        if best.settings[j] == i:
            yield i, best
        elif own:
            landscape = search_region(objective, own, coding, rng, rounds=ROUNDS)
            settled = best_on_steps(
                objective, own, coding, landscape.summits[:SETTLED], landscape.good_places(PLACES)
            )
            yield i, settled or landscape.summits[0]

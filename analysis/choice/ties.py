"""Ties: which of equally desirable settings to take.

First, where everything is as good as it need be: the settings that go furthest beyond best, for
the response with the least to spare. Then the settings nearest to the middle of the ranges, so
that a setting without influence stays in its middle.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.choice.ascent import FIRST_TANGENT, Summit, Task, ascend
from analysis.choice.chart import Chart
from analysis.choice.interior import Gains
from analysis.choice.objective import Objective
from doe.study.settings import BoolArray, FloatArray

# Desirabilities that differ by less are equal: a thousandth of what can be printed.
EQUAL = 1e-9
# A response counts as beyond best only up to one more length of its ramp.
ENOUGH_TO_SPARE = 1.0
# Half ranges; a shorter way to the middle is rounding, not a tie.
WORTH_MOVING = 1e-3
# Cost of giving up what was reached, against a way to the middle of one half range.
KEEPING = 1e3
NEWTON_STEPS = 50
# Ties need no exact end: which of two equal recipes is a little more central matters little.
TIE_STEPS = 20


def break_ties(objective: Objective, charts: Sequence[Chart], summit: Summit) -> Summit:
    """Take the best of the settings that are as desirable as a summit."""
    if not len(summit.z) or summit.score <= 0.0:
        return summit
    lines = _lines(objective, summit)
    kept = np.minimum(lines, 1.0)
    kept[len(objective.sides) :] = 0.0
    one_sided = _one_sided(objective)
    if summit.score >= 1.0 - EQUAL and one_sided.any():
        task = _task(objective, kept, spared=one_sided)
        summit = _moved(objective, charts, task, summit)
        lines = _lines(objective, summit)
        beyond = np.minimum(lines[one_sided].min(), 1.0 + ENOUGH_TO_SPARE)
        kept[one_sided] = max(1.0, float(beyond))
    chart = charts[summit.chart]
    task = _task(objective, kept, target=chart.middle(analytic_centre(chart)))
    central = _moved(objective, charts, task, summit)
    return central if np.abs(central.z - summit.z).max() > WORTH_MOVING else summit


def analytic_centre(chart: Chart) -> FloatArray:
    """Find the point of a chart with the greatest product of slacks, shape (d,).

    Source:
        Boyd and Vandenberghe (2004), Convex Optimization, section 8.5.3; damped Newton steps.
    """
    z = np.zeros(chart.dimension)
    for _ in range(NEWTON_STEPS):
        scaled = chart.G / (chart.h - chart.G @ z)[:, None]
        slope = scaled.sum(axis=0)
        step = -np.linalg.solve(scaled.T @ scaled, slope)
        decrement = float(np.sqrt(max(0.0, -slope @ step)))
        z = z + step / (1.0 + decrement)
        if decrement < EQUAL:
            break
    return z


def _task(
    objective: Objective,
    kept: FloatArray,
    *,
    spared: BoolArray | None = None,
    target: FloatArray | None = None,
) -> Task:
    """Keep what was reached, and raise the least of the spared lines or go towards a target."""
    n_lines = len(kept)
    together = np.zeros(n_lines, dtype=np.bool_)
    if spared is not None:
        together[: len(spared)] = spared
    level = np.where(together, 0, 1 + np.arange(n_lines))
    return Task(
        gains=Gains(
            weight=np.concatenate([[1.0], np.full(n_lines, KEEPING)]),
            by_log=np.zeros(1 + n_lines, dtype=np.bool_),
            tangent=FIRST_TANGENT,
        ),
        level_of_line=level,
        raised=np.where(together, -1.0, EQUAL / 10.0 - kept),
        cap=np.concatenate([[ENOUGH_TO_SPARE], np.zeros(n_lines)]),
        target=None if target is None else target[None, :],
    )


def _lines(objective: Objective, summit: Summit) -> FloatArray:
    values = objective.values(summit.settings[None, :])[0]
    return np.array(
        [side.a + side.c * values[side.response] for side in objective.sides + objective.limits]
    )


def _one_sided(objective: Objective) -> BoolArray:
    counts = np.bincount(objective.aim_of_side)
    one_sided = np.zeros(len(objective.sides) + len(objective.limits), dtype=np.bool_)
    one_sided[: len(objective.sides)] = counts[list(objective.aim_of_side)] == 1
    return one_sided


def _moved(objective: Objective, charts: Sequence[Chart], task: Task, summit: Summit) -> Summit:
    start = [(summit.chart, summit.z)]
    found = ascend(objective, charts, task, start, max_steps=TIE_STEPS)[0]
    return found if found.score >= summit.score - EQUAL else summit

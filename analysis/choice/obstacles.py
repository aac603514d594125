"""Obstacles: which responses keep every recipe worthless, alone or against each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from analysis.choice.ascent import ascend, worst_task
from analysis.choice.desirability import Aim, height
from analysis.choice.landscape import Landscape
from analysis.choice.objective import make_objective
from analysis.surface.acceptance import AcceptLimit
from analysis.surface.exact import Surface
from analysis.surface.noise import Production
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# Ascents for each response or pair, from the best of the scattered points.
STARTS = 8


def stated_obstacles(
    fits: Mapping[str, Surface],
    aims: Sequence[Aim],
    production: Production,
    landscape: Landscape,
    wanted: Mapping[str, str],
) -> tuple[Finding, ...]:
    """Say what stands in the way of a recipe that is worth something for every response.

    Args:
        fits: Models by response, computed responses among them.
        aims: What is wanted; a height of 0 is the least that will do.
        production: Where the noise factors lie.
        landscape: Where recipes were looked for.
        wanted: By response, the least that will do, in words.

    Returns:
        One finding for each response that fails alone; where none does, for each pair that
        excludes another; where none does, one for all together.
    """
    alone = [_best_of(fits, [aim], production, landscape) for aim in aims]
    failing = [
        (aim, values[0]) for aim, (tall, values) in zip(aims, alone, strict=True) if tall <= 0.0
    ]
    if failing:
        return tuple(_alone(aim, value, fits[aim.response], wanted) for aim, value in failing)
    pairs = [
        (first, second, best[1])
        for first, second in combinations(aims, 2)
        if (best := _best_of(fits, [first, second], production, landscape))[0] <= 0.0
    ]
    if pairs:
        return tuple(_pair(first, second, at, fits, wanted) for first, second, at in pairs)
    return (_together(aims, wanted),)


def limit_aim(limit: AcceptLimit, scale: float) -> Aim:
    """Read an acceptance limit as an aim whose height is 0 at the limit."""
    ramp = (limit.side * limit.limit / scale, -limit.side / scale)
    return Aim(response=limit.response, importance=1.0, shape=1.0, ramps=(ramp,))


def _best_of(
    fits: Mapping[str, Surface], aims: list[Aim], production: Production, landscape: Landscape
) -> tuple[float, FloatArray]:
    """Find the greatest least height of some aims, and the values of their responses there."""
    objective = make_objective(fits, aims, [], production)
    values = objective.values(landscape.scatter.settings)
    tall = objective.heights(values).min(axis=1)
    best = np.argsort(-tall, kind="stable")[:STARTS]
    if tall[best[0]] > 0.0:
        return float(tall[best[0]]), values[best[0]]
    starts = [landscape.scatter.place(i) for i in best]
    tops = ascend(objective, landscape.charts, worst_task(objective), starts)
    reached = objective.values(np.stack([top.settings for top in tops]))
    heights = objective.heights(reached).min(axis=1)
    i = int(heights.argmax())
    return float(heights[i]), reached[i]


def _alone(aim: Aim, value: float, fit: Surface, wanted: Mapping[str, str]) -> Finding:
    best = f"{value:.4g} {fit.unit}".rstrip()
    return Finding(
        level="stop",
        what=f"'{aim.response}' stands in the way: no recipe in the region makes it "
        f"{_need(aim, wanted)}; the best predicted value is {best}.",
        evidence={"best reached": float(value), "height on its ramp": float(_tall(aim, value))},
        advice=f"Move the worst of '{aim.response}', or widen the region where it improves.",
    )


def _pair(
    first: Aim, second: Aim, at: FloatArray, fits: Mapping[str, Surface], wanted: Mapping[str, str]
) -> Finding:
    units = [fits[aim.response].unit for aim in (first, second)]
    reached = " and ".join(
        f"{aim.response} {value:.4g} {unit}".rstrip()
        for aim, value, unit in zip((first, second), at, units, strict=False)
    )
    return Finding(
        level="stop",
        what=f"'{first.response}' and '{second.response}' exclude each other: no recipe has "
        f"{first.response} {_need(first, wanted)} and {second.response} {_need(second, wanted)}; "
        f"the nearest has {reached}.",
        evidence={first.response: float(at[0]), second.response: float(at[-1])},
        advice="Move the worst of one of the two, or bring in a setting that moves them apart.",
    )


def _together(aims: Sequence[Aim], wanted: Mapping[str, str]) -> Finding:
    needs = "; ".join(dict.fromkeys(f"{a.response} {_need(a, wanted)}" for a in aims))
    return Finding(
        level="stop",
        what=f"No two responses exclude each other, but all together do: {needs}.",
        advice="Move the worst of the response that matters least.",
    )


def _need(aim: Aim, wanted: Mapping[str, str]) -> str:
    return wanted[aim.response]


def _tall(aim: Aim, value: float) -> float:
    return float(height(aim, np.array([value]))[0])

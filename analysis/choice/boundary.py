"""The boundary: which limits a recipe lies on, and whether more could be gained beyond them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.choice.ascent import Summit
from analysis.choice.objective import Objective
from analysis.surface.acceptance import AcceptLimit
from doe.model.coding import Axis, ChoiceAxis, NumericAxis, ShareAxis
from doe.model.region import Region, binding_words
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# On a limit: nearer than this part of the range; a bench sees no less.
ON_LIMIT = 1e-6
# How far beyond a range is looked, as a part of it, and what gain is worth a word.
BEYOND, WORTH_A_WORD = 0.05, 1e-4


def binding_limits(
    region: Region,
    settings: FloatArray,
    objective: Objective,
    limits: Sequence[tuple[AcceptLimit, float]],
) -> tuple[str, ...]:
    """Say which ends of ranges, limits and binding acceptance limits a recipe lies on.

    Args:
        region: The region.
        settings: Shape (k,), lab units.
        objective: What was maximised, with the binding limits.
        limits: The same limits with their scales.
    """
    values = objective.values(settings[None, :])[0]
    touched = [
        f"{limit.words()} is just met"
        for (limit, scale), side in zip(limits, objective.limits, strict=True)
        if abs(side.a + side.c * values[side.response]) <= ON_LIMIT
    ]
    probe = settings.copy()
    for j in objective.production.columns:
        probe[j] = _within(region.coding.axes[j], settings[j])
    return (*binding_words(region, probe, ON_LIMIT), *touched)


def _within(axis: Axis, value: float) -> float:
    """Bring a noise factor off the ends of its range, which are no limits of a recipe."""
    if isinstance(axis, ChoiceAxis):
        return 0.0
    assert isinstance(axis, NumericAxis)
    if axis.levels:
        return min(axis.levels, key=lambda level: abs(level - value))
    inside = 100.0 * ON_LIMIT * (axis.high - axis.low)
    return float(np.clip(value, axis.low + inside, axis.high - inside))


def edge_findings(region: Region, objective: Objective, best: Summit) -> tuple[Finding, ...]:
    """Say where the region ends before the gain does.

    A recipe at the end of a range is looked at a little beyond it: if the models promise more
    there, the range was too short, which only new runs can tell.
    """
    findings = []
    here = _merit(objective, best.settings)
    for j, axis in enumerate(region.coding.axes):
        if isinstance(axis, ChoiceAxis) or j in objective.production.columns:
            continue
        if np.isnan(best.settings[j]):
            continue
        for end, sign in ((region.implied[j][0], -1.0), (region.implied[j][1], 1.0)):
            # An end that other limits imply, or a share of 0 or 1, cannot be moved by itself.
            stated = axis.low if sign < 0 else axis.high
            physical = isinstance(axis, ShareAxis) and stated in (0.0, 1.0)
            width = axis.high - axis.low
            if physical or abs(end - stated) > ON_LIMIT * width:
                continue
            if abs(best.settings[j] - stated) > ON_LIMIT * max(width, ON_LIMIT):
                continue
            beyond = _moved(region, best.settings, j, sign * BEYOND * width)
            if _merit(objective, beyond) > here + WORTH_A_WORD:
                findings.append(_extend(axis, stated))
    return tuple(findings)


def _merit(objective: Objective, settings: FloatArray) -> float:
    return float(objective.score(objective.values(settings[None, :]))[0])


def _moved(region: Region, settings: FloatArray, j: int, by: float) -> FloatArray:
    """Move one setting; a share along Cox's direction, the others keeping their ratios."""
    moved = settings.copy()
    axes = region.coding.axes
    if isinstance(axes[j], ShareAxis):
        others = [i for i, a in enumerate(axes) if isinstance(a, ShareAxis) and i != j]
        rest = settings[others].sum()
        if rest > 0.0:
            moved[others] *= (rest - by) / rest
    moved[j] += by
    return moved


def _extend(axis: NumericAxis | ShareAxis, end: float) -> Finding:
    unit = f" {axis.unit}" if isinstance(axis, NumericAxis) and axis.unit else ""
    return Finding(
        level="caution",
        what=f"The compromise lies at the end of the range of '{axis.name}', {end:g}{unit}, "
        "and the models promise more beyond it.",
        evidence={"end": end},
        advice=f"Extend the range of '{axis.name}' with new runs; do not extrapolate.",
    )

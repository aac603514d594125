"""Effects of the settings as a formulator thinks of them, as contrasts of the coefficients.

A numeric factor: between the ends of its range, everything else in the middle. A choice: between
its levels. A share: along Cox's direction. Levels of other choices count alike.

Source:
    DESIGN.md, section 5, "Power".
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from doe.appraisal.contrasts import cox_ends
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis, level_range
from doe.model.expansion import Expansion
from doe.model.region import Region
from doe.model.terms import is_blend
from doe.model.vertices import overall_centroid
from doe.study.settings import FloatArray, frozen_array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SettingEffect:
    """The effect of one setting, as contrasts of the coefficients.

    Attributes:
        setting: Its name.
        contrasts: Shape (c, p): one row for a number or share, each level against the last for a
            choice.
        patterns: Values of the contrasts under an effect of one unit, one array a way it may come.
        pairs: Weights that turn the contrasts into the difference of each pair of levels.
    """

    setting: str
    contrasts: FloatArray
    patterns: tuple[FloatArray, ...]
    pairs: tuple[FloatArray, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "contrasts", frozen_array(self.contrasts))


def setting_effects(region: Region, expansion: Expansion) -> tuple[SettingEffect, ...]:
    """List the effects that a model holds, in the order of the settings."""
    coding = region.coding
    effects = []
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ChoiceAxis):
            effect = _choice(axis, j, region, expansion)
        elif isinstance(axis, NumericAxis):
            effect = _single(axis.name, _numeric(axis, j, region, expansion))
        elif is_blend(coding):
            effect = _single(axis.name, _share(axis, region, expansion))
        else:
            continue
        if np.abs(effect.contrasts).max(initial=0.0) > 0:
            effects.append(effect)
    return tuple(effects)


def _single(name: str, contrast: FloatArray) -> SettingEffect:
    return SettingEffect(
        setting=name, contrasts=contrast[None, :], patterns=(np.ones(1),), pairs=(np.ones(1),)
    )


def _numeric(axis: NumericAxis, j: int, region: Region, expansion: Expansion) -> FloatArray:
    rows = _middles(region)
    if axis.ranges:
        choice = region.coding.index(axis.ranges[0].choice)
        there = [level_range(axis, entry.level) is not None for entry in axis.ranges]
        rows = rows[[there[int(level)] for level in rows[:, choice]]]
    up, down = rows.copy(), rows.copy()
    up[:, j], down[:, j] = 1.0, -1.0
    return np.asarray((expansion.matrix(up) - expansion.matrix(down)).mean(axis=0))


def _share(axis: ShareAxis, region: Region, expansion: Expansion) -> FloatArray:
    rows = _middles(region)
    shares = [j for j, own in enumerate(region.coding.axes) if isinstance(own, ShareAxis)]
    up, down = rows.copy(), rows.copy()
    down[:, shares], up[:, shares] = cox_ends(axis.name, region)
    return np.asarray((expansion.matrix(up) - expansion.matrix(down)).mean(axis=0))


def _choice(axis: ChoiceAxis, j: int, region: Region, expansion: Expansion) -> SettingEffect:
    rows = _middles(region)
    X = expansion.matrix(rows)
    means = np.array([X[rows[:, j] == level].mean(axis=0) for level in range(len(axis.levels))])
    patterns, pairs = [], []
    for up, down in itertools.combinations(range(len(axis.levels)), 2):
        # The levels in between stay in the middle: the form that shows least.
        at = np.zeros(len(axis.levels))
        at[up], at[down] = 1.0, -1.0
        patterns.append((at[:-1] - at[-1]) / 2)
        pairs.append(at[:-1])
    return SettingEffect(
        setting=axis.name, contrasts=means[:-1] - means[-1],
        patterns=tuple(patterns), pairs=tuple(pairs),
    )  # fmt: skip


def _middles(region: Region) -> FloatArray:
    """Give the middle of the region at every combination of named levels, coded, shape (c, k)."""
    coding: Coding = region.coding
    q = len(coding.shares)
    levels = [
        range(len(axis.levels)) if isinstance(axis, ChoiceAxis) else [0.0] for axis in coding.axes
    ]
    rows = np.array(list(itertools.product(*levels)), dtype=np.float64)
    if q:
        rows[:, :q] = np.asarray(overall_centroid(region))[:, :q].mean(axis=0)
    return rows

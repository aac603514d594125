"""The recommended recipe and its alternatives beside the controls."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.choice.compromise import Compromise, Recipe
from analysis.fits.fit import Fit
from analysis.surface.against_control import AgainstControl, against_control
from analysis.surface.noise import Production, full_row
from doe.model.coding import Coding
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideControls:
    """What recipes gain on the controls; those of one response and control share the level.

    Attributes:
        best: Of the recommended recipe: one entry a response and control.
        alternatives: The same of each alternative, in their order.
    """

    best: tuple[AgainstControl, ...]
    alternatives: tuple[tuple[AgainstControl, ...], ...]


def compare_with_controls(
    found: Compromise, fits: Mapping[str, Fit], production: Production, *, level: float = 0.95
) -> BesideControls:
    """Set the recipes of a compromise beside every control, by Dunnett's comparison.

    Args:
        found: The compromise.
        fits: Models by response; those without controls are passed over.
        production: Where noise factors lie.
        level: Chance that the intervals of all recipes hold, for one response and control.
    """
    recipes = (found.best, *found.alternatives)
    of_recipe: list[list[AgainstControl]] = [[] for _ in recipes]
    for fit in fits.values():
        values = np.stack([_row(one, fit.coding, production) for one in recipes])
        for control in fit.with_controls.names if fit.with_controls else ():
            told = against_control(fit, values, control, production=production, level=level)
            for own, one in zip(of_recipe, told, strict=True):
                own.append(one)
    best, *others = (tuple(own) for own in of_recipe)
    return BesideControls(best=best, alternatives=tuple(others))


def _row(recipe: Recipe, coding: Coding, production: Production) -> FloatArray:
    row = full_row(recipe.settings, coding, production)
    # A noise choice has no mean; any of its levels will do, as it is averaged over.
    for i, j in enumerate(production.columns):
        if np.isnan(row[j]):
            row[j] = production.points[0, i]
    return row

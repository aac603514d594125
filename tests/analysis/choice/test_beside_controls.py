"""Recipes of a compromise beside the controls."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.choice.beside_controls import compare_with_controls
from analysis.choice.compromise import Compromise, Recipe
from analysis.fits.fitted_response import fit_response
from analysis.surface.against_control import against_control
from analysis.surface.noise import NO_NOISE
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of


def _recipe(dose: float) -> Recipe:
    return Recipe(settings={"dose": dose}, desirability=0.5, expected=())


def _found(*doses: float) -> Compromise:
    best, *others = (_recipe(dose) for dose in doses)
    return Compromise(
        best=best, unrounded=best, loss=0.0, unmet=(), binding=(), alternatives=tuple(others),
        view="", within_limits=False, findings=(),
    )  # fmt: skip


def test_every_recipe_is_compared_and_all_share_the_level() -> None:
    """Two controls and three recipes: the same as comparing the three by themselves."""
    rng = np.random.default_rng(2)
    study = study_of(factors=[range_factor("dose", 0.8, 2.4)])
    doses = (0.8, 1.2, 1.6, 2.0, 2.4, 1.6)
    rows = [{"dose": d, "y": 50 - 8 * d + rng.normal()} for d in doses]
    rows += [{"dose": None, "y": 40 + rng.normal()} for _ in range(4)]
    names = {7: "present formula", 8: "present formula", 9: "no additive", 10: "no additive"}
    kinds = ["design"] * 6 + ["control"] * 4
    data, coding = adopt(study, rows, "y", kinds=kinds, controls=names)
    fit = fit_response(data, coding, model="linear").fit

    told = compare_with_controls(_found(1.0, 1.5, 2.4), {"y": fit}, NO_NOISE, level=0.9)
    assert [one.control for one in told.best] == ["present formula", "no additive"]
    assert len(told.alternatives) == 2
    values = np.array([[1.0], [1.5], [2.4]])
    for i, control in enumerate(("present formula", "no additive")):
        apart = against_control(fit, values, control, level=0.9)
        together = [told.best[i], *(own[i] for own in told.alternatives)]
        assert together == list(apart)
        assert {one.candidates for one in together} == {3}
    alone = compare_with_controls(_found(1.0), {"y": fit}, NO_NOISE, level=0.9)
    assert alone.alternatives == ()
    assert np.ptp(alone.best[0].interval) < np.ptp(told.best[0].interval)
    assert alone.best[0].value == pytest.approx(told.best[0].value)

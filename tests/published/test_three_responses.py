"""Three responses of a chemical process: the greatest yield within the limits of the others.

Source: Montgomery, D. C., Design and Analysis of Experiments, 8th ed., Example 11.2 (data of Table
11.6 read, see tests/reference/montgomery-ex11.2-three-responses); the answers from memory: a yield
of 79.5 at 83.5 min and 177.1 °F and again at 86.6 min and 172.25 °F, with viscosity from 62 to 68
and molecular weight up to 3400. By the book's own equations viscosity is 68.6 there, so that the
places are held against the models, and the search within the limits against a dense grid
(calculated).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from analysis.choice.again import search_again
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import fit_response
from analysis.surface.predict import predict_response
from doe.study.brief import Study
from tests.analysis.choice.problems import brief
from tests.analysis.choice.searches import search_in
from tests.analysis.fits.adopted_table import adopt, reference_rows

CASE = "montgomery-ex11.2-three-responses"
FACTORS = [{"name": f"x{i}", "low": -1.4142, "high": 1.4142} for i in (1, 2)]
YIELD = {"name": "yield_", "aim": "high", "worst": 70.0, "best": 90.0}
LIMITS: list[dict[str, Any]] = [
    {"name": "viscosity", "accept": {"at_least": 62.0, "at_most": 68.0}},
    {"name": "mw", "accept": {"at_most": 3400.0}},
]
MODELS = {"yield_": "quadratic", "viscosity": "quadratic", "mw": "linear"}
PLACES = [(83.5, 177.1), (86.6, 172.25)]


@cache
def fits() -> dict[str, Fit]:
    """Fit the three responses as the book does."""
    found = {}
    for goal in (YIELD, *LIMITS):
        name = str(goal["name"])
        data, coding = adopt(_study([goal]), reference_rows(CASE), name)
        found[name] = fit_response(data, coding, model=MODELS[name]).fit
    return found


def _study(goals: list[dict[str, Any]]) -> Study:
    return brief(FACTORS, goals)


@pytest.mark.parametrize(("time", "temperature"), PLACES)
def test_yield_at_the_printed_places(time: float, temperature: float) -> None:
    """Printed: 79.5 at both."""
    coded = np.array([[(time - 85.0) / 5.0, (temperature - 175.0) / 5.0]])

    assert predict_response(fits()["yield_"], coded).value[0] == pytest.approx(79.5, abs=0.05)


def test_greatest_yield_within_limits() -> None:
    """No place of a grid of a hundredth of the half range does better; near the first printed."""
    search = search_in(_study([YIELD, *LIMITS]), fits(), within_limits=True)
    objective = search.objective()
    best = search_again(search, objective)[0]
    marks = np.linspace(-1.4142, 1.4142, 283)
    grid = np.stack([axis.ravel() for axis in np.meshgrid(marks, marks)], axis=1)
    values = objective.values(grid)
    dense = objective.overall(values)[objective.slack(values) >= 0.0].max()
    found = best.settings * 5.0 + [85.0, 175.0]

    assert dense <= best.score <= dense + 0.002
    np.testing.assert_allclose(found, PLACES[0], atol=0.5)

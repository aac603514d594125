"""Standard errors, prediction variance, power and degrees of freedom of plans with strata.

Against a calculation that shares no code with ours: tests/reference/appraisal-independent/, its
script and the versions beside the numbers.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from doe.appraisal.appraise import Appraisal, Asked, appraise_runs, terrain_of
from doe.appraisal.information import information_of
from doe.appraisal.profile import Terrain
from doe.appraisal.runs import PlanRuns, runs_of_plan
from doe.appraisal.sought import Sought
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.model.terms import make_model
from doe.study.adopt_table import adopt_table
from doe.study.brief import Study
from doe.study.tables import read_table
from tests.doe.layouts.briefs import CUT_SIMPLEX, RANGES, a_study

CASE = Path(__file__).parents[1] / "reference" / "appraisal-independent"
EXPECTED: dict[str, Any] = json.loads((CASE / "expected.json").read_text(encoding="utf-8"))
CONTROL = {"name": "present formula", "every": "day", "settings": {"dose": 1.5, "pH": 8.8}}
STUDIES = {
    "split-plot": (
        a_study([*RANGES[:2], {**RANGES[2], "set_per": "sample"}], control=[CONTROL]),
        "interactions",
    ),
    "blend": (a_study(RANGES[:1], CUT_SIMPLEX), "quadratic"),
}
# Two double-precision routes to the same covariance agree to about ten digits.
DIGITS = 1e-8


class _Case:
    """One plan of the reference, appraised."""

    def __init__(self, name: str) -> None:
        study, model = STUDIES[name]
        self.expected: dict[str, Any] = EXPECTED[name]
        self.runs: PlanRuns = runs_of_plan(_plan(name, study), study)
        named = make_model(model, coding_of(study))
        self.terrain: Terrain = terrain_of(region_of(study), named)
        asked = Asked(
            sought=(Sought(effect=EXPECTED["effect"], sd=1.0),),
            alpha=EXPECTED["alpha"],
            ratio=self.expected["ratio"],
        )
        self.found: Appraisal = appraise_runs(self.runs, named, self.terrain, asked)


def _plan(name: str, study: Study) -> Any:
    table = read_table((CASE / f"{name}.csv").read_bytes(), f"{name}.csv")
    plan, _, _ = adopt_table(table, study)
    return plan


@pytest.fixture(name="case", params=sorted(STUDIES), scope="module")
def _case(request: pytest.FixtureRequest) -> _Case:
    return _Case(request.param)


def test_standard_errors_agree(case: _Case) -> None:
    """Every coefficient, the intercept as the mean over the fixed days."""
    found = {told.name: told.std_error for told in case.found.terms}

    assert found == pytest.approx(case.expected["std_error"], rel=DIGITS)


def test_power_agrees(case: _Case) -> None:
    """Each term on the degrees of freedom of the stratum in which it varies."""
    found = {told.name: told.power for told in case.found.terms}

    for name, power in case.expected["power"].items():
        assert found[name] == pytest.approx(power, abs=1e-9), name


def test_degrees_of_freedom_agree(case: _Case) -> None:
    """By stratum, controls counted."""
    assert dict(case.found.freedom.residual) == case.expected["df"]


def test_prediction_variances_agree(case: _Case) -> None:
    """At single settings."""
    information = information_of(
        case.terrain.rows(case.runs.design_values), case.runs, case.expected["ratio"]
    )
    variance = information.variance_at(case.terrain.rows(np.array(case.expected["points"])))

    np.testing.assert_allclose(variance, case.expected["variance"], rtol=DIGITS)


def test_the_average_over_a_box_agrees() -> None:
    """Both are exact there."""
    case = _Case("split-plot")
    assert case.found.profile is not None

    assert case.found.profile.average == pytest.approx(case.expected["average"], rel=DIGITS)


def test_the_largest_of_a_model_of_interactions_is_at_a_corner() -> None:
    """The variance is convex along every single factor."""
    case = _Case("split-plot")
    assert case.found.profile is not None

    assert case.found.profile.largest == pytest.approx(case.expected["at_corners"], rel=DIGITS)


def test_the_average_over_a_cut_simplex_agrees() -> None:
    """Ours is exact; a grid of 400 × 400 midpoints is off by the cells its border cuts."""
    case = _Case("blend")
    assert case.found.profile is not None

    assert case.found.profile.average == pytest.approx(case.expected["average_by_grid"], rel=3e-3)

"""The tread compound as the handbook prints it, from its equations to its optimum.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 5.5.3.2.2, optimum
(−0.10, 0.15, −1.0) with D = 0.596; the table as printed there, see
tests/reference/nist-tire-tread-desirability/SOURCE.md.
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from analysis.choice.compromise import Compromise
from analysis.choice.search import choose_compromise
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import fit_response
from doe.model.region import region_of
from doe.study.brief import Study
from tests.analysis.choice.problems import brief
from tests.analysis.fits.adopted_table import adopt, computed, reference_rows

CASE = "nist-tire-tread-desirability"
GOALS = (
    {"name": "Y1", "aim": "high", "worst": 120, "best": 170},
    {"name": "Y2", "aim": "high", "worst": 1000, "best": 1300},
    {"name": "Y3", "aim": "target", "worst_low": 400, "best": 500, "worst_high": 600},
    {"name": "Y4", "aim": "target", "worst_low": 60, "best": 67.5, "worst_high": 75},
)
MODELS = {"Y1": "quadratic", "Y2": "quadratic", "Y3": "linear", "Y4": "quadratic"}


def _study(end: float, *goals: dict[str, object]) -> Study:
    return brief([{"name": f"x{i}", "low": -end, "high": end} for i in (1, 2, 3)], goals)


@cache
def _compromise(end: float) -> Compromise:
    fits: dict[str, Fit] = {}
    for goal in GOALS:
        name = str(goal["name"])
        data, coding = adopt(_study(end, dict(goal)), reference_rows(CASE), name)
        fits[name] = fit_response(data, coding, model=MODELS[name]).fit
    study = _study(end, *map(dict, GOALS))
    return choose_compromise(study, region_of(study), fits, rng=np.random.default_rng(1))


def test_optimum_in_the_cube() -> None:
    """Printed D = 0.596 at (−0.10, 0.15, −1.0)."""
    best = _compromise(1.0).best

    assert best.desirability == pytest.approx(0.596, abs=0.0005)
    assert best.desirability == pytest.approx(computed(CASE)["opt.fullprecision.cube1.D"], abs=1e-8)
    np.testing.assert_allclose(
        [float(best.settings[name]) for name in ("x1", "x2", "x3")],
        computed(CASE)["opt.fullprecision.cube1.x"],
        atol=2e-5,
    )
    for name, printed in (("x1", -0.10), ("x2", 0.15), ("x3", -1.0)):
        assert float(best.settings[name]) == pytest.approx(printed, abs=0.005)


def test_optimum_lies_on_the_edge_and_says_so() -> None:
    """The handbook stops at x3 = −1; the equations promise D = 0.638 at −1.633."""
    compromise = _compromise(1.0)

    assert any("x3" in sentence for sentence in compromise.binding)
    assert any("'x3'" in f.what and "do not extrapolate" in f.advice for f in compromise.findings)
    assert _compromise(1.633).best.desirability == pytest.approx(0.638, abs=0.001)

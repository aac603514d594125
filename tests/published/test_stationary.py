"""Stationary points of published second-order surfaces.

Sources:
    Lenth (2009), Journal of Statistical Software 32(7): chemical reaction of Myers, Montgomery and
    Anderson-Cook (2009), Table 7.6, in two blocks.
    Montgomery (2012), Design and Analysis of Experiments, 8th ed., Example 11.2, yield.
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.fit import Fit
from analysis.fits.fitted_response import fit_response
from analysis.surface.stationary import stationary_point
from tests.analysis.fits.adopted_table import (
    adopt,
    computed,
    published,
    range_factor,
    reference_rows,
    study_of,
)

REACTION = "rsm-chemreact"
YIELD = "montgomery-ex11.2-three-responses"
PROCESS = "mm-chemical-process"


def _fit(case: str, response: str, factors: list[dict[str, object]], block: str | None) -> Fit:
    data, coding = adopt(study_of(factors=factors), reference_rows(case), response, block=block)
    return fit_response(data, coding, model="quadratic").fit


def _time_and_temperature() -> list[dict[str, object]]:
    return [range_factor("time", 80.0, 90.0), range_factor("temp", 170.0, 180.0)]


def test_chemical_reaction_in_blocks() -> None:
    """Printed 0.3722954, 0.3343802; 86.86148, 176.67190; −0.9233027, −1.3186949."""
    point = stationary_point(_fit(REACTION, "yield_", _time_and_temperature(), "block"))
    printed = published(REACTION)
    found = {
        "so.xs.x1": point.at_coded[0],
        "so.xs.x2": point.at_coded[1],
        "so.xs.time": point.at[0],
        "so.xs.temp": point.at[1],
        "so.ev1": point.curvatures[0],
        "so.ev2": point.curvatures[1],
    }

    for name, value in found.items():
        expected, tolerance = printed[name]
        assert value == pytest.approx(expected, abs=tolerance), name
    assert point.kind == "maximum"
    assert point.inside


def test_yield_of_the_central_composite() -> None:
    """Printed 0.389, 0.306 coded; 86.95 minutes, 176.53 degrees; −1.4143."""
    point = stationary_point(_fit(YIELD, "yield_", _time_and_temperature(), None))
    printed = published(YIELD)
    found = {
        "yield.xs1": point.at_coded[0],
        "yield.xs2": point.at_coded[1],
        "yield.time": point.at[0],
        "yield.temp": point.at[1],
        "yield.lam2": point.curvatures[1],
    }

    for name, value in found.items():
        expected, tolerance = printed[name]
        assert value == pytest.approx(expected, abs=tolerance), name


@pytest.mark.parametrize("response", ["conversion", "activity"])
def test_saddles_of_the_chemical_process(response: str) -> None:
    """Against an independent canonical analysis of the same runs."""
    point = stationary_point(
        _fit(PROCESS, response, [range_factor(f"x{i}") for i in (1, 2, 3)], None)
    )

    np.testing.assert_allclose(point.at_coded, computed(PROCESS)[f"{response}.xs"], rtol=1e-5)
    np.testing.assert_allclose(point.curvatures, computed(PROCESS)[f"{response}.ev"], rtol=1e-5)
    assert point.kind == "saddle"

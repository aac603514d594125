"""The drift of a control along the order as done."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.fits.control_drift import control_drifts
from analysis.fits.fitted_response import fit_response
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of


def test_the_slope_and_its_interval_are_those_of_a_line() -> None:
    """Against the linear regression of a general library; a control of two runs has none."""
    rng = np.random.default_rng(5)
    study = study_of(
        factors=[range_factor("dose", 0.8, 2.4)], response={"name": "y", "scale": "log"}
    )
    doses = (0.8, 1.2, 1.6, 2.0, 2.4, 1.6)
    rows = [{"dose": d, "y": float(np.exp(5 - 0.3 * d + 0.02 * rng.normal()))} for d in doses]
    z = 4.6 + 0.03 * np.arange(5) + 0.01 * rng.normal(size=5)
    rows += [{"dose": None, "y": float(np.exp(value))} for value in z]
    rows += [{"dose": None, "y": 90.0}, {"dose": None, "y": 93.0}]
    names = {**dict.fromkeys(range(7, 12), "present formula"), 12: "standard", 13: "standard"}
    kinds = ["design"] * 6 + ["control"] * 7
    data, coding = adopt(study, rows, "y", kinds=kinds, controls=names)
    fit = fit_response(data, coding, model="linear").fit

    (told,) = control_drifts(data, fit, level=0.9)
    line = stats.linregress(data.order[6:11], z)
    reach = stats.t.ppf(0.95, 3) * line.stderr
    assert (told.control, told.n, told.df) == ("present formula", 5, 3)
    assert told.slope == pytest.approx(line.slope)
    assert told.p == pytest.approx(line.pvalue)
    assert told.change == pytest.approx(4 * line.slope)
    assert told.interval == pytest.approx((4 * (line.slope - reach), 4 * (line.slope + reach)))

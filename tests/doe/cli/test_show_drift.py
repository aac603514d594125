"""The drift of controls as the screen shows it."""

from __future__ import annotations

import math
from dataclasses import replace

from analysis.fits.control_drift import ControlDrift
from analysis.fits.fit import Scale
from analysis.fits.fitted_response import fit_response
from doe.cli.show_drift import show_drift
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of


def test_a_drift_is_shown_in_the_unit_or_in_per_cent() -> None:
    """On a logarithm ln 1.069 is 6.9 %; without controls nothing is said."""
    study = study_of(factors=[range_factor("dose", 0.8, 2.4)], response={"name": "y", "unit": "GU"})
    rows = [
        {"dose": d, "y": 50.0 - 3 * d + 0.3 * (i % 2)} for i, d in enumerate((0.8, 1.6, 2.4, 2))
    ]
    data, coding = adopt(study, rows, "y")
    fit = fit_response(data, coding, model="linear").fit
    change, low, high = math.log(1.069), math.log(0.95), math.log(1.202)
    drift = ControlDrift(
        control="present formula", n=8, slope=change / 7, change=change, interval=(low, high),
        level=0.95, df=6, p=0.216,
    )  # fmt: skip

    logged = show_drift({"y": (drift,)}, {"y": replace(fit, scale=Scale(name="log"))})
    assert "6.9  %" in logged
    assert "−5.0 to 20.2" in logged
    assert "0.067  GU" in show_drift({"y": (drift,)}, {"y": fit})
    assert show_drift({"y": ()}, {"y": fit}) == ""

"""The figure of a demand curve: what is handed to the axes, with units."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.figures.demand_curve import DemandPicture, draw_demand_curve
from analysis.figures.files import save_figures
from analysis.lab.demand_curve import DemandFit, fit_demand_curve
from analysis.lab.demand_profile import Interval

DOSES = np.geomspace(0.4, 3.2, 6)


@pytest.fixture(scope="module")
def fit() -> DemandFit:
    """Give a parabola in ln dose with its minimum at 1.3 %."""
    return fit_demand_curve(DOSES, 300 * np.exp(np.log(DOSES / 1.3) ** 2)).of("parabola")


def test_readings_curve_pick_and_units_are_drawn(fit: DemandFit) -> None:
    """Every reading stands where it was read; the axes say what and in which unit."""
    drawn = draw_demand_curve(
        DemandPicture(fit=fit, within_percent=5, interval=Interval(low=1.0, high=None, level=0.95),
                      suggested=(0.8, 2.0), off_scale=(0.2,))
    )  # fmt: skip
    axes = drawn.figure.axes[0]
    points = np.asarray(axes.collections[0].get_offsets())
    labels = [text.get_text() for text in drawn.figure.legends[0].get_texts()]

    assert points[:, 0] == pytest.approx(DOSES)
    assert points[:, 1] == pytest.approx(np.exp(fit.y))
    assert axes.get_xlabel() == "dose (% active on pigment)"
    assert axes.get_ylabel() == "viscosity (mPa·s)"
    assert "range suggested for the study" in labels
    assert "95 % interval of that dose" in labels
    assert f"{fit.pick(5):.3g}" in drawn.title


def test_the_same_curve_gives_the_same_bytes(fit: DemandFit) -> None:
    """A result may be made again without a change."""
    one, other = (
        save_figures({"a": draw_demand_curve(DemandPicture(fit=fit, within_percent=5)).figure})
        for _ in range(2)
    )

    assert one == other

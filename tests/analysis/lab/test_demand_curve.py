"""Demand curves: what a ladder can carry, what is picked, what is said."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.lab.demand_advice import demand_findings, suggest_range
from analysis.lab.demand_curve import fit_demand_curve
from doe.errors import FitError
from doe.study.settings import FloatArray

DOSES = np.geomspace(0.4, 3.2, 8)


def two_lines(doses: FloatArray, at: float = 1.2) -> FloatArray:
    """Give viscosity that falls by slope 1.3 in ln dose to a break, and rises by 0.8."""
    x = np.log(doses / at)
    return np.asarray(300 * np.exp(1.3 * np.maximum(-x, 0) + 0.8 * np.maximum(x, 0)))


def test_noiseless_lines_are_recovered() -> None:
    """Break, slopes, and the pick-off that follows by hand: D0·exp(-ln 1.05 / s1)."""
    fit = fit_demand_curve(DOSES, two_lines(DOSES)).of("two lines")

    assert list(fit.parameters.values()) == pytest.approx([np.log(300), 1.3, 0.8, 1.2], rel=1e-6)
    assert fit.pick(5) == pytest.approx(1.2 * np.exp(-np.log(1.05) / 1.3), rel=1e-6)


def test_least_doses_decide_what_is_fitted() -> None:
    """Five doses carry the parabola and the coverage; four the parabola alone; three nothing."""
    few = np.geomspace(0.5, 2.5, 5)

    names = {one.model.name for one in fit_demand_curve(few, two_lines(few)).fits}
    assert names == {"parabola", "coverage"}
    left = fit_demand_curve(few[:4], two_lines(few[:4])).left_out
    assert set(left) == {"fall and rise", "two lines", "coverage"}
    with pytest.raises(FitError, match="3 different doses"):
        fit_demand_curve(few[:3], two_lines(few[:3]))


def test_repeats_add_no_doses() -> None:
    """Six readings at three doses are three doses."""
    x = np.repeat([0.5, 1.0, 2.0], 2)
    with pytest.raises(FitError, match="3 different doses"):
        fit_demand_curve(x, two_lines(x))


def test_unit_of_viscosity_moves_no_dose() -> None:
    """A thousandfold viscosity shifts ln viscosity and nothing else."""
    noisy = two_lines(DOSES) * np.exp(0.05 * np.sin(7 * DOSES))
    one, other = (fit_demand_curve(DOSES, noisy * unit).best for unit in (1.0, 1e3))

    assert other.pick() == pytest.approx(one.pick(), rel=1e-6)


def test_minimum_above_the_doses_is_said() -> None:
    """A curve that only falls has no minimum in the doses tried, and no upper end."""
    doses = np.geomspace(0.2, 0.9, 7)
    curve = fit_demand_curve(doses, two_lines(doses) * np.exp(0.03 * np.sin(20 * doses)))
    fit = curve.of("two lines")
    said = " ".join(one.what for one in demand_findings(curve, fit, ()))

    assert not fit.has_minimum_inside
    assert "minimum lies outside the doses tried" in said
    assert "still falls at the highest dose" in said
    assert fit.pick_interval().high is None


def test_minimum_below_the_doses_is_said() -> None:
    """Doses all above the demand are the classic fault of a ladder."""
    doses = np.geomspace(1.5, 6, 7)
    curve = fit_demand_curve(doses, two_lines(doses))
    fit = curve.of("two lines")

    assert fit.pick() == doses[0]
    assert "only rises at the lowest dose" in demand_findings(curve, fit, ())[0].what


def test_few_readings_do_not_hide_a_closer_model() -> None:
    """AICc cannot pay for five parameters with eight readings; the reader is told."""
    viscosity = np.exp(5.6 + 4.3 * np.exp(-2.3 * DOSES) + 0.46 * np.maximum(0, DOSES - 1.7))
    curve = fit_demand_curve(DOSES, viscosity * np.exp(0.01 * np.cos(9 * DOSES)))

    assert curve.best.model.name != "fall and rise"
    said = [one.what for one in demand_findings(curve, curve.best, ())]
    assert any("'fall and rise' follows the readings much closer" in one for one in said)


def test_a_pot_that_gelled_between_thin_ones_is_odd() -> None:
    """Below the doses fitted it is a note, among them a caution."""
    curve = fit_demand_curve(DOSES, two_lines(DOSES))
    below = demand_findings(curve, curve.best, [(0.2, "gelled")])[-1]
    among = demand_findings(curve, curve.best, [(0.8, "gelled")])[-1]

    assert (below.level, among.level) == ("note", "caution")


def test_suggested_range_is_round_and_holds_the_pick() -> None:
    """From where viscosity is half above the minimum to half past it, in steps of the bench."""
    fit = fit_demand_curve(DOSES, two_lines(DOSES)).of("two lines")
    found = suggest_range(fit)
    exact = 1.2 * np.exp(-np.log(1.5) / 1.3), 1.5 * 1.2

    assert found.low <= exact[0] < found.low + 0.1
    assert found.high - 0.1 < exact[1] <= found.high + 1e-6
    assert suggest_range(fit, 0.25).low == 0.75


def test_a_parameter_at_the_end_of_the_search_is_told() -> None:
    """All surface covered by the first dose: K only has a least value, and the end is ours."""
    doses = np.geomspace(0.4, 3.2, 8)
    steep = fit_demand_curve(doses, np.exp(5.0 + 1.0 / doses)).of("coverage")
    plain = fit_demand_curve(doses, np.exp(5.0 + 3.0 / (1.0 + 2.0 * doses))).of("coverage")

    assert steep.is_at_search_end
    assert not plain.is_at_search_end

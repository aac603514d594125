"""Fits of flow curves: negative yield stress, choice of a model, what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.lab.flow_curve_fit import best_flow_fit, fit_flow_curve
from analysis.lab.flow_curves import FLOW_MODELS, FlowModel, flow_stress, interpolated_viscosity
from doe.errors import ResultsError

RATES = np.geomspace(1.0, 500.0, 8)


@pytest.mark.parametrize("model", ["Bingham", "Herschel-Bulkley", "Casson"])
@pytest.mark.parametrize("errors", ["relative", "even"])
def test_a_negative_yield_stress_becomes_none_and_is_said(model: FlowModel, errors: str) -> None:
    """A line that cuts below 0 has no physical yield stress: the rest is fitted without one."""
    stress = 2.0 * RATES**1.3 / (1.0 + 0.3 / RATES)
    fit = fit_flow_curve(RATES, stress, model, errors="even" if errors == "even" else "relative")

    assert fit.yield_stress == 0.0
    assert fit.yield_was_negative
    assert math.isnan(fit.yield_error)
    assert fit.df == len(RATES) - (2 if model == "Herschel-Bulkley" else 1)


def test_without_a_yield_stress_herschel_bulkley_is_the_power_law() -> None:
    """The reduced fit is the smaller model itself."""
    stress = 2.0 * RATES**0.8 * (1.0 - 0.2 / RATES)
    larger = fit_flow_curve(RATES, stress, "Herschel-Bulkley")
    smaller = fit_flow_curve(RATES, stress, "power law")

    assert larger.yield_was_negative
    assert larger.consistency == pytest.approx(smaller.consistency, rel=1e-9)
    assert larger.index == pytest.approx(smaller.index, rel=1e-9)


def test_five_shear_rates_are_needed() -> None:
    """Three parameters and some freedom to see whether the model holds."""
    with pytest.raises(ResultsError, match="4 shear rates"):
        fit_flow_curve(RATES[:4], RATES[:4], "Bingham")


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_stresses_that_are_not_above_zero_are_refused(bad: float) -> None:
    """No logarithm, and no reading: the instrument could not tell it from nothing."""
    stress = np.array([bad, *RATES[1:]])
    with pytest.raises(ResultsError, match="not above 0"):
        fit_flow_curve(RATES, stress, "Bingham")


def test_three_parameters_on_five_rates_do_not_compete() -> None:
    """AICc has no finite value there: n − k − 1 = 0 with the scatter counted."""
    rates = RATES[:5]
    stress = flow_stress("Herschel-Bulkley", rates, (5.0, 2.0, 0.5))

    assert fit_flow_curve(rates, stress, "Herschel-Bulkley").aicc == math.inf
    assert best_flow_fit(rates, stress).model != "Herschel-Bulkley"


@pytest.mark.parametrize(
    ("model", "parameters"),
    [
        ("power law", (0.0, 10.0, 0.4)),
        ("Bingham", (5.0, 0.2, 1.0)),
        ("Casson", (5.0, 0.2, 1.0)),
        ("Herschel-Bulkley", (5.0, 2.0, 0.5)),
    ],
)
def test_the_best_fit_finds_the_model_that_made_the_curve(
    model: FlowModel, parameters: tuple[float, float, float]
) -> None:
    """Without scatter, a smaller true model wins over a larger that also holds it."""
    fit = best_flow_fit(RATES, flow_stress(model, RATES, parameters))

    assert fit.model == model
    assert (fit.yield_stress, fit.consistency, fit.index) == pytest.approx(parameters, abs=1e-7)


def test_the_criterion_is_the_corrected_one_with_the_scatter_counted() -> None:
    """Hurvich & Tsai (1989): n ln(SS/n) + 2k + 2k(k + 1)/(n − k − 1), k = 3 for two parameters."""
    stress = flow_stress("Bingham", RATES, (5.0, 0.2, 1.0)) * (1.0 + 0.02 * np.cos(RATES))
    fit = fit_flow_curve(RATES, stress, "Bingham")
    squares = float(np.sum(np.log(fit.stress(RATES) / stress) ** 2))

    assert fit.aicc == pytest.approx(8.0 * math.log(squares / 8.0) + 6.0 + 24.0 / 4.0)


def test_scatter_lets_the_smaller_model_win() -> None:
    """A power law with 3 % scatter: the yield stress of the larger model is not worth its price.

    AICc errs in some of many draws; of forty it must be right in most.
    """
    rng = np.random.default_rng(20260114)
    stress = flow_stress("power law", RATES, (0.0, 10.0, 0.4))
    chosen = [
        best_flow_fit(RATES, stress * np.exp(0.03 * rng.standard_normal(8))).model
        for _ in range(40)
    ]

    assert chosen.count("power law") >= 32


def test_the_yield_interval_covers_the_truth_as_often_as_it_says() -> None:
    """95 % intervals over 120 curves: fewer than 88 % or none missed would be a wrong error."""
    rng = np.random.default_rng(20260115)
    stress = flow_stress("Bingham", RATES, (5.0, 0.2, 1.0))
    covered = 0
    for _ in range(120):
        fit = fit_flow_curve(RATES, stress * np.exp(0.03 * rng.standard_normal(8)), "Bingham")
        low, high = fit.yield_interval()
        covered += low <= 5.0 <= high

    assert 106 <= covered < 120


def test_every_model_is_offered_once() -> None:
    """The list of words in a brief is this list."""
    assert len(set(FLOW_MODELS)) == len(FLOW_MODELS) == 4


def test_between_points_nothing_is_stretched() -> None:
    """A power law is straight on log scales; outside the points there is no value."""
    stress = flow_stress("power law", RATES, (0.0, 10.0, 0.4))

    assert interpolated_viscosity(RATES, stress, 50.0) == pytest.approx(10.0 * 50.0**-0.6)
    assert math.isnan(interpolated_viscosity(RATES, stress, 0.5))

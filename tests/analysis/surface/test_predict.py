"""Predictions against formulas worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.fits.fit import Fit, Scale
from analysis.surface.noise import production_of
from analysis.surface.predict import (
    future_run,
    predict_averaged,
    predict_response,
    predict_values,
)
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.study.brief import Study
from tests.analysis.choice.problems import brief, fit_of

LINE = {"name": "dose", "low": 1.0, "high": 3.0}
ANY = {"name": "viscosity", "aim": "low", "best": 0, "worst": 1}


def _line(scale: Scale | None = None) -> tuple[Study, Fit]:
    """Write 10 + 2 x with Φ = diag(0.25, 0.5), σ² = 4 on 10 degrees of freedom."""
    study = brief([LINE], [ANY])
    fit = fit_of(
        coding_of(study),
        "viscosity",
        [10.0, 2.0],
        model="linear",
        scale=scale,
        sd=2.0,
        covariance=np.diag([0.25, 0.5]),
    )
    return study, fit


def test_value_and_both_intervals_of_a_line() -> None:
    """At x = 1: 12, variance 0.75 of the mean, 4.75 of a run, t on 10 degrees of freedom."""
    _, fit = _line()
    prediction = predict_response(fit, np.array([[3.0]]), level=0.9)
    t = stats.t.ppf(0.95, 10)

    assert prediction.value[0] == pytest.approx(12.0)
    np.testing.assert_allclose(
        prediction.mean_interval[0], 12 + t * np.sqrt(0.75) * np.array([-1, 1])
    )
    np.testing.assert_allclose(
        prediction.run_interval[0], 12 + t * np.sqrt(4.75) * np.array([-1, 1])
    )


def test_logarithms_come_back_as_medians() -> None:
    """Value and both ends are exponentials of those on the fitted scale."""
    _, plain = _line()
    _, logged = _line(Scale(name="log"))
    at = np.array([[1.5], [3.0]])
    on_scale, back = predict_response(plain, at), predict_response(logged, at)

    assert back.value_is == "median"
    np.testing.assert_allclose(back.value, np.exp(on_scale.value))
    np.testing.assert_allclose(back.mean_interval, np.exp(on_scale.mean_interval))
    np.testing.assert_allclose(back.run_interval, np.exp(on_scale.run_interval))


def test_strata_add_up_in_the_run_interval_by_satterthwaite() -> None:
    """Total 0.75 + 9 + 4 with degrees of freedom of each part; hand-worked."""
    _, fit = _line()
    fit = replace(
        fit,
        components={"batch": 9.0, "residual": 4.0},
        component_df={"batch": 5.0, "residual": 10.0},
    )
    prediction = predict_response(fit, np.array([[3.0]]))
    total = 0.75 + 9.0 + 4.0
    df = total**2 / (0.75**2 / 10 + 81.0 / 5 + 16.0 / 10)

    assert prediction.run_interval[0, 1] - 12.0 == pytest.approx(
        stats.t.ppf(0.975, df) * np.sqrt(total)
    )


def test_a_saturated_fit_has_values_and_no_intervals() -> None:
    """No degrees of freedom, NaN covariance."""
    _, fit = _line()
    fit = replace(
        fit,
        covariance=np.full((2, 2), np.nan),
        coefficient_df=np.zeros(2),
        components={"residual": np.nan},
        component_df={"residual": 0.0},
    )
    prediction = predict_response(fit, np.array([[3.0]]))

    assert prediction.value[0] == pytest.approx(12.0)
    assert np.isnan(prediction.mean_interval).all()
    assert np.isnan(prediction.run_interval).all()


def test_extrapolation_is_flagged_by_the_region() -> None:
    """Outside a range or a limit is outside; without a region the ranges decide."""
    study = brief([LINE], [ANY], limit=[{"sum": {"dose": 1.0}, "at_most": 2.5}])
    _, fit = _line()
    at = np.array([[1.0], [2.7], [3.5]])

    assert predict_response(fit, at).inside.tolist() == [1.0, 1.0, 0.0]
    assert predict_response(fit, at, region=region_of(study)).inside.tolist() == [1.0, 0.0, 0.0]


def test_the_future_run_is_said_in_words() -> None:
    """New batch, new day where days vary, as many readings as planned, blocks of the study."""
    _, fit = _line()

    assert future_run(fit) == "one new run in a new batch"
    assert "on a new day" in future_run(replace(fit, components={"day": 1.0, "residual": 1.0}))
    assert "the mean of 3 readings" in future_run(replace(fit, repeats=3))
    assert "blocks of this study" in future_run(replace(fit, block_effects={"day 1": 0.0}))


def _noisy(scale: Scale | None = None) -> tuple[Study, Fit]:
    """Write a quadratic in dose and a mill temperature of mean 35 and sd 4 over 25 to 45."""
    noise = {
        "name": "mill temperature",
        "low": 25,
        "high": 45,
        "noise": True,
        "production": {"mean": 36, "sd": 4},
    }
    study = brief([LINE, noise], [ANY])
    small = [0.2, 0.1, -0.3, 0.15, 0.05, 0.25]
    return study, fit_of(coding_of(study), "viscosity", small, scale=scale, sd=0.1)


def test_production_averages_a_square_exactly() -> None:
    """E(a + b z + c z²) = a + b m + c (m² + s²), z coded: m = 0.1, s = 0.4."""
    study, fit = _noisy()
    production = production_of(study, fit.coding)
    at = np.array([[2.6, 36.0]])
    ends = [predict_response(fit, np.array([[2.6, 35.0 + 10 * z]])).value[0] for z in (-1, 0, 1)]
    a, b, c = ends[1], (ends[2] - ends[0]) / 2, (ends[2] + ends[0]) / 2 - ends[1]
    expected = a + b * 0.1 + c * (0.01 + 0.16)

    assert predict_values(fit, at, production)[0] == pytest.approx(expected)
    assert predict_averaged(fit, at, production).value[0] == pytest.approx(expected)


def test_production_averages_a_median_over_the_normal_law() -> None:
    """Against 20 001 even quantiles of the production of mill temperature."""
    study, fit = _noisy(Scale(name="log"))
    production = production_of(study, fit.coding)
    z = stats.norm.ppf((np.arange(20_001) + 0.5) / 20_001, 36.0, 4.0)
    brute = predict_values(fit, np.column_stack([np.full(len(z), 2.6), z])).mean()

    assert predict_values(fit, np.array([[2.6, 36.0]]), production)[0] == pytest.approx(
        brute, rel=1e-5
    )


def test_uncertainty_of_an_average_follows_the_averaged_row() -> None:
    """On the identity scale its variance is x̄'Φx̄ exactly."""
    study, fit = _noisy()
    production = production_of(study, fit.coding)
    prediction = predict_averaged(fit, np.array([[2.0, 36.0]]), production)
    # Intercept, dose, z, dose × z, dose², z² at x = 0, z averaged: 1, 0, 0.1, 0, 0, 0.17.
    powers = [dict(column.term.powers) for column in fit.columns]
    by_power = {0: 1.0, 1: 0.1, 2: 0.17}
    row = np.array([0.0 if "dose" in p else by_power[p.get("mill temperature", 0)] for p in powers])
    sd = np.sqrt(row @ fit.covariance @ row)

    assert np.ptp(prediction.mean_interval[0]) / 2 == pytest.approx(stats.t.ppf(0.975, 10) * sd)

"""Flow-curve models and their fits: worked values, certified regressions, independent fits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit, minimize_scalar, nnls

from analysis.lab.flow_curve_fit import fit_flow_curve
from analysis.lab.flow_curves import FlowModel, flow_stress
from tests.analysis.fits.adopted_table import published, reference_rows

RATES = np.array([1.0, 2.5, 6.3, 16.0, 40.0, 100.0, 250.0, 500.0])
# Scatter of a few per cent, fixed so that the independent fits see the same data.
SCATTER = 1.0 + 0.03 * np.array([0.8, -1.1, 0.3, 1.2, -0.7, -0.4, 0.9, -0.6])


@pytest.mark.parametrize(
    ("model", "parameters", "rate", "viscosity"),
    [
        ("power law", (0.0, 10.0, 0.4), 50.0, 0.95635),
        ("Bingham", (5.0, 0.2, 1.0), 100.0, 0.250),
        ("Casson", (5.0, 0.2, 1.0), 100.0, 0.450),
        ("Herschel-Bulkley", (5.0, 2.0, 0.5), 100.0, 0.250),
    ],
)
def test_models_give_the_worked_apparent_viscosities(
    model: FlowModel, parameters: tuple[float, float, float], rate: float, viscosity: float
) -> None:
    """Source: forms from memory (Macosko 1994; Patton 1979), values calculated; Pa·s."""
    stress = flow_stress(model, np.array([rate]), parameters)[0]

    assert stress / rate == pytest.approx(viscosity, abs=5e-6)


def test_power_law_reaches_the_certified_regression_danwood() -> None:
    """Source: NIST StRD nonlinear, DanWood, from memory; all eleven printed digits."""
    rows = reference_rows("strd-nls-danwood")
    x, y = (np.array([float(row[name]) for row in rows]) for name in ("x", "y"))
    fit = fit_flow_curve(x, y, "power law", errors="even")
    found = {
        "b1.estimate": fit.consistency,
        "b1.sd": fit.consistency_error,
        "b2.estimate": fit.index,
        "b2.sd": fit.index_error,
        "rsd": fit.residual_sd,
        "rss": fit.residual_sd**2 * fit.df,
    }

    for name, (value, half_digit) in published("strd-nls-danwood").items():
        assert found[name] == pytest.approx(value, abs=half_digit * 1.001), name


def test_power_law_with_relative_errors_is_the_line_on_log_scales() -> None:
    """Second formulation: ln τ = ln K + n ln γ̇ by a straight line, with its standard errors."""
    stress = flow_stress("power law", RATES, (0.0, 10.0, 0.4)) * SCATTER
    fit = fit_flow_curve(RATES, stress, "power law")
    (slope, level), covariance = np.polyfit(np.log(RATES), np.log(stress), 1, cov=True)

    assert fit.index == pytest.approx(slope, rel=1e-10)
    assert fit.consistency == pytest.approx(math.exp(level), rel=1e-10)
    assert fit.index_error == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-8)
    # The error of K is that of ln K times K, by linear approximation.
    expected = math.exp(level) * math.sqrt(covariance[1, 1])
    assert fit.consistency_error == pytest.approx(expected, rel=1e-8)


def test_bingham_with_even_errors_is_the_plain_line() -> None:
    """Second formulation: τ = τ0 + η γ̇ by a straight line, with its standard errors."""
    stress = flow_stress("Bingham", RATES, (5.0, 0.2, 1.0)) * SCATTER
    fit = fit_flow_curve(RATES, stress, "Bingham", errors="even")
    (slope, level), covariance = np.polyfit(RATES, stress, 1, cov=True)

    assert fit.yield_stress == pytest.approx(level, rel=1e-9)
    assert fit.consistency == pytest.approx(slope, rel=1e-9)
    assert fit.yield_error == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-7)
    assert fit.consistency_error == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-7)


def test_casson_agrees_with_an_independent_fit_of_roots() -> None:
    """Second formulation: parameters √τ0 and √η, residuals of ln τ, numerical derivatives."""
    stress = flow_stress("Casson", RATES, (5.0, 0.2, 1.0)) * SCATTER
    fit = fit_flow_curve(RATES, stress, "Casson")
    (a, b), covariance = curve_fit(
        lambda rate, a, b: 2.0 * np.log(a + b * np.sqrt(rate)), RATES, np.log(stress), (1.0, 1.0)
    )

    assert fit.yield_stress == pytest.approx(a**2, rel=1e-6)
    assert fit.consistency == pytest.approx(b**2, rel=1e-6)
    assert fit.yield_error == pytest.approx(2.0 * a * math.sqrt(covariance[0, 0]), rel=1e-4)
    assert fit.consistency_error == pytest.approx(2.0 * b * math.sqrt(covariance[1, 1]), rel=1e-4)


def test_herschel_bulkley_agrees_with_an_independent_fit() -> None:
    """Independent optimiser: Levenberg-Marquardt with numerical derivatives, ln τ."""
    stress = flow_stress("Herschel-Bulkley", RATES, (5.0, 2.0, 0.5)) * SCATTER
    fit = fit_flow_curve(RATES, stress, "Herschel-Bulkley")
    found, covariance = curve_fit(
        lambda rate, tau0, k, n: np.log(tau0 + k * rate**n), RATES, np.log(stress), (4.0, 1.5, 0.6)
    )

    assert (fit.yield_stress, fit.consistency, fit.index) == pytest.approx(found, rel=1e-6)
    errors = (fit.yield_error, fit.consistency_error, fit.index_error)
    assert errors == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-4)


def test_herschel_bulkley_agrees_with_a_profile_over_the_index() -> None:
    """Second formulation, even errors: for each n a linear problem without negatives."""
    stress = flow_stress("Herschel-Bulkley", RATES, (5.0, 2.0, 0.5)) * SCATTER
    fit = fit_flow_curve(RATES, stress, "Herschel-Bulkley", errors="even")

    def distance(n: float) -> float:
        return float(nnls(np.column_stack([np.ones_like(RATES), RATES**n]), stress)[1])

    best = minimize_scalar(distance, bounds=(0.2, 1.0), method="bounded", options={"xatol": 1e-12})
    tau0, k = nnls(np.column_stack([np.ones_like(RATES), RATES**best.x]), stress)[0]

    assert fit.index == pytest.approx(best.x, rel=1e-6)
    assert fit.yield_stress == pytest.approx(tau0, rel=1e-6)
    assert fit.consistency == pytest.approx(k, rel=1e-6)
    assert fit.residual_sd * math.sqrt(fit.df) == pytest.approx(distance(best.x), rel=1e-9)

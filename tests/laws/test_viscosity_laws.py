"""Laws of viscosity, flow curves, fineness and grind kinetics."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.lab.efflux_cups import CUPS, kinematic_viscosity
from analysis.lab.fineness import hegman_of_micrometres, micrometres_of_hegman
from analysis.lab.flow_curve_fit import best_flow_fit, fit_flow_curve
from analysis.lab.flow_curves import FLOW_MODELS, FlowModel, flow_stress
from analysis.lab.grind_kinetics import APPROACHES, Approach, fit_grind
from analysis.lab.rotational import index_from_speeds, shear_thinning_index
from analysis.lab.stormer import krebs_units
from doe.study.flow_curve_file import read_flow_curves

RATES = np.geomspace(0.5, 800.0, 9)
TIMES = np.array([5.0, 10.0, 20.0, 35.0, 60.0])
MODELS = st.sampled_from(FLOW_MODELS)
YIELDS, CONSISTENCIES, INDICES = st.floats(0.5, 50.0), st.floats(0.05, 20.0), st.floats(0.25, 1.2)
SCATTERS = st.lists(st.floats(-0.05, 0.05), min_size=9, max_size=9)


@given(st.floats(70.0, 500.0), st.floats(70.0, 500.0))
def test_more_load_never_means_fewer_krebs_units(a: float, b: float) -> None:
    """The table rises, and so does what lies between its lines."""
    low, high = krebs_units(np.array(sorted((a, b))))

    assert low <= high


@given(st.sampled_from(sorted(CUPS)), st.floats(36.0, 300.0), st.floats(0.1, 50.0))
def test_a_longer_drain_time_means_a_higher_viscosity(cup: str, time: float, more: float) -> None:
    """All relations rise over the times of use."""
    shorter, longer = kinematic_viscosity(np.array([time, time + more]), CUPS[cup])

    assert shorter < longer


@given(st.floats(0.1, 2.0), st.floats(1.5, 50.0), st.floats(1.0, 1e4))
def test_two_speeds_recover_the_power_law(n: float, ratio: float, low: float) -> None:
    """η ∝ γ̇^(n − 1): any ratio of speeds gives n back; the unit of viscosity is irrelevant."""
    high = low * ratio ** (n - 1.0)
    a, b = np.array([low]), np.array([high])

    assert index_from_speeds(a, b, ratio)[0] == pytest.approx(n, abs=1e-9)
    assert shear_thinning_index(7.0 * a, 7.0 * b)[0] == pytest.approx(low / high)


@given(st.floats(0.0, 8.0), st.sampled_from(["exact", "rounded"]))
def test_hegman_round_trips(hegman: float, geometry: str) -> None:
    """Finer means higher Hegman and fewer micrometres, back and forth."""
    kind = "rounded" if geometry == "rounded" else "exact"
    depth = micrometres_of_hegman(np.array([hegman]), kind)

    assert hegman_of_micrometres(depth, kind)[0] == pytest.approx(hegman, abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(MODELS, YIELDS, CONSISTENCIES, INDICES, st.sampled_from(["relative", "even"]))
def test_a_curve_without_scatter_gives_its_parameters_back(
    model: FlowModel, yield_stress: float, consistency: float, index: float, errors: str
) -> None:
    """Whatever the weights: residuals vanish at the truth."""
    tau0 = 0.0 if model == "power law" else yield_stress
    n = index if model in ("power law", "Herschel-Bulkley") else 1.0
    stress = flow_stress(model, RATES, (tau0, consistency, n))
    fit = fit_flow_curve(RATES, stress, model, errors="even" if errors == "even" else "relative")

    np.testing.assert_allclose(fit.stress(RATES), stress, rtol=1e-6)
    assert fit.index == pytest.approx(n, rel=1e-4)


@settings(max_examples=25, deadline=None)
@given(SCATTERS, YIELDS, INDICES, st.floats(0.01, 100.0))
def test_a_fit_ignores_the_unit_of_stress_and_the_order_of_points(
    scatter: list[float], yield_stress: float, index: float, unit: float
) -> None:
    """Yield stress and consistency scale with the unit, the index and the choice stay."""
    stress = flow_stress("Herschel-Bulkley", RATES, (yield_stress, 1.0, index))
    stress = stress * np.exp(scatter)
    for model in FLOW_MODELS:
        plain = fit_flow_curve(RATES, stress, model)
        other = fit_flow_curve(RATES[::-1], unit * stress[::-1], model)

        np.testing.assert_allclose(other.stress(RATES), unit * plain.stress(RATES), rtol=1e-5)
        assert other.aicc == pytest.approx(plain.aicc, abs=1e-4)


@settings(max_examples=25, deadline=None)
@given(SCATTERS, YIELDS, CONSISTENCIES, INDICES)
def test_the_larger_model_never_fits_worse(
    scatter: list[float], yield_stress: float, consistency: float, index: float
) -> None:
    """Herschel-Bulkley holds the power law and Bingham; no yield stress is negative."""
    stress = flow_stress("Herschel-Bulkley", RATES, (yield_stress, consistency, index))
    stress = stress * np.exp(scatter)
    fits = {model: fit_flow_curve(RATES, stress, model) for model in FLOW_MODELS}
    squares = {model: fit.residual_sd**2 * fit.df for model, fit in fits.items()}
    best = best_flow_fit(RATES, stress)

    for smaller in ("power law", "Bingham"):
        assert squares["Herschel-Bulkley"] <= squares[smaller] * (1.0 + 1e-6) + 1e-15
    assert all(fit.yield_stress >= 0.0 for fit in fits.values())
    assert best.aicc <= min(fit.aicc for fit in fits.values()) + 1e-6


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(APPROACHES), st.floats(0.0, 60.0), st.floats(20.0, 60.0), st.floats(0.02, 0.3)
)
def test_a_batch_without_scatter_gives_its_kinetics_back(
    approach: Approach, start: float, gain: float, rate: float
) -> None:
    """Start, limit and rate, upwards and (with a free start) downwards."""
    x0 = start if approach == "first order" else 0.0
    done = rate * TIMES / (1 + rate * TIMES)
    if approach != "hyperbolic":
        done = 1.0 - np.exp(-rate * TIMES)
    for change in (gain, -gain) if approach == "first order" else (gain,):
        fit = fit_grind(TIMES, x0 + change * done, approach)

        assert fit.rate == pytest.approx(rate, rel=1e-5)
        assert fit.limit == pytest.approx(x0 + change, rel=1e-5, abs=1e-4)
        assert fit.value(np.array([fit.half_time]))[0] == pytest.approx(
            x0 + change / 2.0, rel=1e-4, abs=1e-4
        )


@settings(max_examples=25, deadline=None)
@given(st.floats(0.03, 0.2), st.floats(0.1, 100.0), st.floats(-50.0, 50.0))
def test_a_rate_ignores_unit_and_zero_of_the_response(
    rate: float, unit: float, shift: float
) -> None:
    """Kinetics of µm, of Hegman or of per cent have one rate."""
    value = 100.0 - 40.0 * np.exp(-rate * TIMES) + np.array([0.3, -0.4, 0.2, 0.3, -0.4])
    plain = fit_grind(TIMES, value, "first order")
    other = fit_grind(TIMES, unit * value + shift, "first order")

    assert other.rate == pytest.approx(plain.rate, rel=1e-5)
    assert other.limit == pytest.approx(unit * plain.limit + shift, rel=1e-5, abs=1e-5)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0.01, 1e4), min_size=2, max_size=6, unique=True),
    st.integers(1, 99),
    st.sampled_from([("Pa", 1.0), ("mPa", 1000.0)]),
)
def test_a_file_gives_back_the_curve_that_was_written(
    rates: list[float], run: int, unit: tuple[str, float]
) -> None:
    """Long and wide forms agree, in any order of lines."""
    name, factor = unit
    points = [(rate, 1.0 + rate / 10.0) for rate in rates]
    long = f"run,shear rate (1/s),shear stress ({name})\n" + "".join(
        f"{run},{rate!r},{stress * factor!r}\n" for rate, stress in points
    )
    wide = f"shear rate (1/s);run {run} ({name})\n" + "".join(
        f"{rate!r};{stress * factor!r}\n" for rate, stress in reversed(points)
    )

    for text in (long, wide):
        (curve,) = read_flow_curves(text.encode(), "flow.csv")
        assert curve.run == run
        assert curve.x == tuple(sorted(rates))
        assert curve.y == pytest.approx([1.0 + rate / 10.0 for rate in sorted(rates)])

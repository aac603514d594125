"""From flow curves to responses: model, units, what is said."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.lab.computing.viscosity import COMPUTE
from analysis.lab.flow_curves import FLOW_MODELS, FlowModel, flow_stress
from analysis.lab.raw_unit import Computed, OptionValues, RawUnit
from doe.methods.registry import METHODS
from doe.study.curves import Curve

RATES = np.geomspace(1.0, 500.0, 8)


def _done(
    method: str, options: OptionValues, model: FlowModel = "Bingham",
    parameters: tuple[float, float, float] = (5.0, 0.2, 1.0), rates: np.ndarray = RATES,
) -> Computed:  # fmt: skip
    stress = flow_stress(model, rates, parameters)
    curve = Curve(run=1, x=tuple(rates.tolist()), y=tuple(stress.tolist()))
    return COMPUTE[method](RawUnit(label="run 1", curves={"": curve}), options)


def _said(done: Computed) -> str:
    return " ".join(finding.what for finding in done.findings)


def test_yield_stress_is_given_in_pascal_and_as_a_sign_of_flocculation() -> None:
    """With its interval in the evidence, and the model that was taken."""
    done = _done("yield stress", {"model": "auto"})

    assert done.value == pytest.approx(5.0)
    assert "sign of flocculation" in _said(done)
    assert "auto took Bingham, the model of least AICc" in _said(done)
    assert any(finding.level == "caution" for finding in done.findings)
    assert any("low end (95 %), Pa" in finding.evidence for finding in done.findings)


def test_a_named_model_is_taken_without_a_choice() -> None:
    """All runs judged by one model compare."""
    done = _done("yield stress", {"model": "Casson"})

    assert "AICc" not in _said(done)
    assert done.value is not None
    assert done.value < 5.0  # Casson bends to a smaller yield stress on Bingham's line


def test_plastic_viscosity_is_in_millipascal_seconds() -> None:
    """0.2 Pa·s are 200 mPa·s."""
    assert _done("plastic viscosity", {"model": "Bingham"}).value == pytest.approx(200.0)


def test_consistency_and_index_come_from_the_power_models() -> None:
    """K 2 Pa·sⁿ, n 0.5 with a yield stress of 5 Pa: Herschel-Bulkley is found."""
    args = ("Herschel-Bulkley", (5.0, 2.0, 0.5))

    assert _done("consistency index", {"model": "auto"}, *args).value == pytest.approx(2.0)
    assert _done("flow index", {"model": "auto"}, *args).value == pytest.approx(0.5)


def test_apparent_viscosity_is_read_off_the_model() -> None:
    """Bingham 5 Pa and 0.2 Pa·s at 100 1/s: 250 mPa·s."""
    done = _done("apparent viscosity at a shear rate", {"rate": 100.0, "model": "Bingham"})

    assert done.value == pytest.approx(250.0)
    assert all(finding.level == "note" for finding in done.findings)


def test_a_shear_rate_beyond_the_curve_is_doubted_or_has_no_value_between_points() -> None:
    """A model may be stretched and says so; points may not."""
    asked = {"rate": 5000.0, "model": "Bingham"}
    stretched = _done("apparent viscosity at a shear rate", asked)
    points = _done("apparent viscosity at a shear rate", asked | {"model": "between points"})

    assert stretched.value is not None
    assert "stretched" in _said(stretched)
    assert points.value is None


def test_a_model_that_misses_the_curve_is_doubted() -> None:
    """A power law over a strong yield stress scatters by more than 10 %."""
    done = _done("flow index", {"model": "power law"}, parameters=(50.0, 0.5, 1.0))

    assert "does not follow" in _said(done)


def test_too_few_shear_rates_give_no_value_but_a_reason() -> None:
    """Four points hold no three parameters."""
    done = _done("yield stress", {"model": "auto"}, rates=RATES[:4])

    assert done.value is None
    assert "too few shear rates" in _said(done)


def test_a_power_law_has_no_yield_stress() -> None:
    """0, with a word on why."""
    done = _done("yield stress", {"model": "power law"})

    assert done.value == 0.0
    assert "counts as 0" in _said(done)


FALLING = ((1.0, 2.0, 5.0, 10.0, 20.0), (5.0, 4.0, 3.0, 2.0, 1.0))
_METHODS = (
    "yield stress", "plastic viscosity", "consistency index", "flow index",
    "apparent viscosity at a shear rate",
)  # fmt: skip


def _of(
    method: str, x: tuple[float, ...], y: tuple[float, ...], **options: float | str
) -> Computed:
    curve = Curve(run=1, x=x, y=y)
    return COMPUTE[method](RawUnit(label="run 1", curves={"": curve}), {"rate": 5.0, **options})


@pytest.mark.parametrize("method", _METHODS)
@pytest.mark.parametrize("stress", [FALLING[1], (3.0,) * 5, (1e6, 1e4, 1e2, 1.0, 0.01)])
def test_a_stress_that_does_not_rise_gives_no_value_but_a_reason(
    method: str, stress: tuple[float, ...]
) -> None:
    """Slip or shear bands: no flow model falls, and a search for one runs off to infinity."""
    done = _of(method, FALLING[0], stress)

    assert done.value is None
    assert "does not rise" in _said(done)


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ((1.0, 2.0, 5.0, 10.0, 20.0), (1e300, 2e300, 3e300, 4e300, 5e300)),
        ((1.0, 2.0, 5.0, 10.0, 20.0), (0.0, 1.0, 2.0, 3.0, 4.0)),
        ((1.0, 1.01, 1.02, 1.03, 1.04), (1.0, 2.0, 3.0, 4.0, 5.0)),
    ],
)
@pytest.mark.parametrize("method", _METHODS)
def test_numbers_that_cannot_be_give_no_value_but_a_reason(
    method: str, x: tuple[float, ...], y: tuple[float, ...]
) -> None:
    """Huge stresses, one of zero, rates that hardly differ."""
    done = _of(method, x, y)

    assert done.value is None
    assert done.findings


@pytest.mark.parametrize("method", _METHODS)
@pytest.mark.parametrize("model", ["auto", "Bingham", "Casson", "power law", "Herschel-Bulkley"])
@pytest.mark.parametrize("stress", [(1.0, 1.0, 1.0, 1.0, 1e6), (5.0, 3.0, 1.0, 3.0, 5.5)])
def test_a_curve_that_no_model_follows_is_doubted_and_breaks_nothing(
    method: str, model: str, stress: tuple[float, ...]
) -> None:
    """A jump, and a dip on the way: a value with a doubt, or none."""
    done = _of(method, FALLING[0], stress, model=model)

    assert any(finding.level == "caution" for finding in done.findings)


@pytest.mark.parametrize("method", _METHODS)
def test_one_model_judges_all_runs_unless_the_brief_asks_for_auto(method: str) -> None:
    """A response means one thing: a model picked run by run makes it jump between runs."""
    options = {one.name: one.default for one in METHODS[method].options if one.default is not None}
    said = {
        _said(_done(method, {"rate": 5.0, **options}, model, (5.0, 2.0, 0.5))).split(":")[0]
        for model in FLOW_MODELS
    }

    assert options["model"] != "auto"
    assert not any("auto" in one for one in said)
    assert all(f"the flow model is {options['model']}" in one for one in said)

"""Laws of forms: what a bent model must do for any shape, coefficients and settings."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.choice.desirability import Aim
from analysis.choice.objective import make_objective
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import fit_response
from analysis.fits.forms.bendable import WantedForm
from analysis.fits.forms.fitting import fit_with_form
from analysis.surface.noise import NO_NOISE
from analysis.surface.predict import predict_response
from doe.model.bend import FORMS, Bend, FormName
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.model.matrix import Expansion, compile_model
from doe.model.terms import Model, make_model
from tests.analysis.fits.forms.kinetics import kinetics, kinetics_study

_SHAPES: dict[FormName, tuple[float, ...]] = {
    "first order": (0.7,),
    "coverage": (0.9,),
    "plateau": (1.5,),
    "two lines": (1.5, 0.4),
    "parabola": (1.8,),
}
_STEP = 1e-6


def _coding(spacing: Literal["even", "log"]) -> Coding:
    return Coding(
        axes=(
            ShareAxis(name="a", low=0.0, high=1.0),
            ShareAxis(name="b", low=0.0, high=1.0),
            NumericAxis(name="dose", unit="%", low=0.5, high=4.0, spacing=spacing),
            NumericAxis(name="pH", unit="", low=8.0, high=9.0),
            ChoiceAxis(name="mill", levels=("bead", "roll", "ball")),
        )
    )


def _without_squares(coding: Coding) -> Model:
    model = make_model("quadratic", coding)
    kept = tuple(term for term in model.terms if dict(term.powers).get("dose", 0) < 2)
    return replace(model, terms=kept)


def _bent(
    form: FormName, spacing: Literal["even", "log"], rng: np.random.Generator
) -> tuple[Expansion, Expansion, np.ndarray]:
    """Give a bent model without and with its shape columns, and its coefficients."""
    coding = _coding(spacing)
    bend = Bend(factor="dose", form=form, shape=_SHAPES[form], low=0.5, high=4.0)
    model = replace(_without_squares(coding), bend=bend)
    plain = compile_model(coding, model)
    b = rng.normal(size=len(plain.columns))
    holding = ["dose" in column.term.names for column in plain.columns]
    known = replace(model, bend=bend.of_shape(np.array(bend.shape), b[holding]))
    return plain, compile_model(coding, known), b


def _settings(n: int, rng: np.random.Generator) -> np.ndarray:
    return np.column_stack([rng.random((n, 2)), rng.uniform(-1, 1, (n, 2)), rng.integers(0, 3, n)])


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(FORMS), st.sampled_from(["even", "log"]), st.integers(0, 99))
def test_the_gradient_of_a_bent_model_is_that_of_small_steps(
    form: FormName, spacing: Literal["even", "log"], seed: int
) -> None:
    """The search climbs along it, and the shape columns are averaged along it, too."""
    rng = np.random.default_rng(seed)
    _, expansion, _ = _bent(form, spacing, rng)
    coded = _settings(5, rng)
    slopes = expansion.gradient(coded)
    for k in range(4):
        step = np.zeros(5)
        step[k] = _STEP
        moved = (expansion.matrix(coded + step) - expansion.matrix(coded - step)) / (2 * _STEP)

        np.testing.assert_allclose(slopes[:, k], moved, atol=2e-6 * np.abs(slopes).max())


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(FORMS), st.sampled_from(["even", "log"]), st.integers(0, 99))
def test_the_column_of_a_shape_is_the_slope_of_the_value_along_it(
    form: FormName, spacing: Literal["even", "log"], seed: int
) -> None:
    """What the delta method needs: the uncertainty of the shape enters by this column."""
    rng = np.random.default_rng(seed)
    plain, expansion, b = _bent(form, spacing, rng)
    coded = _settings(5, rng)
    columns = expansion.matrix(coded)[:, len(b) :]
    coding, model = plain.coding, _without_squares(plain.coding)
    for j in range(len(_SHAPES[form])):
        ends = []
        for side in (1.0, -1.0):
            shape = np.array(_SHAPES[form])
            shape[j] += side * _STEP
            bend = Bend(factor="dose", form=form, shape=tuple(shape), low=0.5, high=4.0)
            ends.append(compile_model(coding, replace(model, bend=bend)).matrix(coded) @ b)

        np.testing.assert_allclose(columns[:, j], (ends[0] - ends[1]) / (2 * _STEP), atol=1e-6)


@settings(max_examples=10, deadline=None)
@given(st.sampled_from(["first order", "coverage"]), st.integers(0, 99))
def test_a_form_without_bend_is_the_straight_axis(form: FormName, seed: int) -> None:
    """As the rate, or the strength of adsorption, nears 0, the model nears that without a form."""
    rng = np.random.default_rng(seed)
    coding = _coding("even")
    model, coded = _without_squares(coding), _settings(6, rng)
    bend = Bend(factor="dose", form=form, shape=(1e-7,), low=0.5, high=4.0)
    bent = compile_model(coding, replace(model, bend=bend)).matrix(coded)

    np.testing.assert_allclose(bent, compile_model(coding, model).matrix(coded), atol=1e-6)


@pytest.mark.parametrize("form", FORMS)
def test_many_settings_at_once_bend_as_one_by_one(form: FormName) -> None:
    """Large tables are laid out another way."""
    rng = np.random.default_rng(5)
    _, expansion, _ = _bent(form, "log", rng)
    coded = _settings(2000, rng)

    np.testing.assert_allclose(
        expansion.matrix(coded)[:9], expansion.matrix(coded[:9]), rtol=1e-12, atol=1e-14
    )


@cache
def _fits() -> dict[str, Fit]:
    """Give one response with a form of the time, one with a form of the dose, one with none."""
    study = kinetics_study(scale="log")
    data, coding = kinetics(batches=False, study=study)
    plain = fit_response(data, coding, model="quadratic")
    wanted = (
        WantedForm(factor="grind time", forms=("first order",)),
        WantedForm(factor="dose", forms=("coverage",)),
    )
    fits = [plain.fit, *(fit_with_form(data, coding, plain, one).fit for one in wanted)]
    return {f"y{i}": replace(fit, response=f"y{i}") for i, fit in enumerate(fits)}


@settings(max_examples=10, deadline=None)
@given(st.floats(0.85, 3.15), st.floats(5.5, 59.5))
def test_the_search_sees_a_form_as_predict_does_and_climbs_along_it(
    dose: float, time: float
) -> None:
    """Values to the last digit, slopes along the coded settings as those of small steps."""
    fits = _fits()
    aims = [Aim(response=name, ramps=((-1.0, 0.02),), importance=1.0, shape=1.0) for name in fits]
    objective = make_objective(fits, aims, [], NO_NOISE)
    here = np.array([[dose, time]])
    half = np.array([1.2, 27.5])
    values, slopes = objective.slopes(here, np.eye(2)[None])
    for i, fit in enumerate(fits.values()):
        assert values[0, i] == pytest.approx(predict_response(fit, here).value[0], rel=1e-13)
    for k in range(2):
        step = np.zeros(2)
        step[k] = 1e-5 * half[k]
        moved = (objective.values(here + step) - objective.values(here - step)) / 2e-5

        np.testing.assert_allclose(slopes[0, :, k], moved[0], rtol=1e-6, atol=1e-6)

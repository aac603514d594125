"""Polynomial and forms side by side: AICc, errors of units left out, what is said of both."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.optimize import curve_fit

from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.forms.bendable import OF_DOSE, WantedForm, forms_of
from analysis.fits.forms.comparing import compare_forms
from analysis.fits.forms.findings import bias_finding, form_findings
from analysis.fits.forms.fitting import Shaped, fit_with_form, shaped
from analysis.fits.forms.values import (
    AICC_MARGIN,
    ERROR_MARGIN,
    ComparedForm,
    FormComparison,
    is_better,
)
from analysis.lab.response_data import ResponseData
from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.matrix import model_matrix
from tests.analysis.fits.forms.kinetics import kinetics, kinetics_study

TIME = WantedForm(factor="grind time", forms=("first order",))


@cache
def _compared(*, batches: bool) -> tuple[ResponseData, Coding, FittedResponse]:
    data, coding = kinetics(batches=batches)
    plain = fit_response(data, coding, model="quadratic")
    return data, coding, compare_forms(data, coding, plain, plain, [TIME])


def _form(fitted: FittedResponse) -> FormComparison:
    assert fitted.form is not None
    return fitted.form


def test_the_polynomial_stays_in_use_until_somebody_takes_the_form() -> None:
    """A better form is told, never taken by itself."""
    _, _, fitted = _compared(batches=True)

    assert fitted.fit.model.bend is None
    assert _form(fitted).in_use == "polynomial"
    assert _form(fitted).better is not None


@pytest.mark.parametrize(("batches", "left_out"), [(True, "batch"), (False, "run")])
def test_whole_batches_are_left_out_where_there_are_any(batches: bool, left_out: str) -> None:
    """A new batch is what is predicted; without batches, a new run."""
    assert _form(_compared(batches=batches)[2]).left_out == left_out


def test_the_polynomials_error_of_runs_left_out_is_the_root_of_press() -> None:
    """Known in closed form, e / (1 − h), for least squares."""
    data, _, fitted = _compared(batches=False)
    press = fitted.assessment.press
    assert press is not None

    found = _form(fitted).compared[0].left_out_rmse
    assert found == pytest.approx((press / len(data)) ** 0.5, rel=1e-9)


def test_a_form_finds_its_shape_anew_without_what_is_left_out() -> None:
    """Run by run against scipy's curve_fit on the other runs."""
    data, _, fitted = _compared(batches=False)
    dose, time = data.actual.values.T
    y = np.array([run[0] for run in data.repeats])

    def curve(x: np.ndarray, *b: float) -> np.ndarray:
        d, t = x
        k, *c = b
        gone = np.exp(-k * t)
        return c[0] + c[1] * d + c[2] * d**2 + (c[3] + c[4] * d) * gone

    start = [0.07, 85.0, 5.0, -1.0, -45.0, 0.0]
    missed = []
    for i in range(len(y)):
        kept = np.arange(len(y)) != i
        b, _ = curve_fit(curve, (dose[kept], time[kept]), y[kept], p0=start, xtol=1e-12, ftol=1e-12)
        missed.append(y[i] - curve((dose[i], time[i]), *b))

    found = _form(fitted).compared[1].left_out_rmse
    assert found == pytest.approx(float(np.sqrt(np.mean(np.square(missed)))), rel=1e-5)


def test_the_finding_says_both_measures_and_how_to_take_the_form() -> None:
    """In the words of the screen, with the unit of the error."""
    _, _, fitted = _compared(batches=True)
    (told,) = form_findings("strength", fitted)

    assert told.level == "note"
    assert "AICc lower by" in told.what
    assert "error of a batch left out" in told.what
    assert "% instead of" in told.what
    assert "stays in use" in told.what
    assert 'fit --form "grind time: first order"' in told.advice


def test_a_form_that_the_readings_do_not_ask_for_is_not_offered() -> None:
    """Readings made by the line that the polynomial holds."""
    data, coding = kinetics(batches=False, rate=1e-4)
    plain = fit_response(data, coding, model="quadratic")
    fitted = compare_forms(data, coding, plain, plain, [TIME])

    assert form_findings("strength", fitted) == ()


@pytest.mark.parametrize(
    ("aicc", "error", "verdict"),
    [
        (50 - AICC_MARGIN, 1.0 - ERROR_MARGIN, True),
        (50 - AICC_MARGIN + 0.01, 0.5, False),
        (10, 1.0 - ERROR_MARGIN + 0.001, False),
        (None, 0.5, False),
        (10, None, False),
    ],
)
def test_both_measures_must_clear_their_margins(
    aicc: float | None, error: float | None, verdict: bool
) -> None:
    """Neither alone calls a form better."""
    plain = ComparedForm(form="polynomial", aicc=50.0, left_out_rmse=1.0)
    form = ComparedForm(form="dose: coverage", aicc=aicc, left_out_rmse=error)

    assert is_better(form, plain) is verdict


def test_too_few_settings_are_said_instead_of_a_number() -> None:
    """Three times tell no first-order approach beside a height and a fall."""
    data, coding = kinetics(batches=False, times=(5.0, 20.0, 60.0))
    plain = fit_response(data, coding, model="quadratic")
    form = _form(compare_forms(data, coding, plain, plain, [TIME])).compared[1]

    assert form.aicc is None
    assert form.why_not == (
        "the runs have 3 different settings of grind time, and this form needs 4"
    )


def test_a_form_that_cannot_be_fitted_is_refused_with_its_reason() -> None:
    """Asked for by name, so that it is an error."""
    data, coding = kinetics(batches=False, times=(5.0, 20.0, 60.0))
    plain = fit_response(data, coding, model="quadratic")

    with pytest.raises(FitError, match="3 different settings of grind time"):
        fit_with_form(data, coding, plain, TIME)


def test_a_straight_line_tells_no_rate() -> None:
    """The search ends at its end, and no number is made of that."""
    data, coding = kinetics(batches=False, rate=1e-7, sd=0.0)
    values = [
        (run[0] + 0.1 * t,) for run, (_, t) in zip(data.repeats, data.actual.values, strict=True)
    ]
    data = replace(data, repeats=tuple(values))
    plain = fit_response(data, coding, model="linear")

    with pytest.raises(FitError, match="lower than these settings can tell"):
        fit_with_form(data, coding, plain, TIME)


def test_of_several_forms_the_lowest_aicc_is_taken() -> None:
    """`dose: demand curve` leaves the choice to the readings."""
    data, coding = kinetics(batches=False)
    plain = fit_response(data, coding, model="quadratic")
    fitted = fit_with_form(data, coding, plain, WantedForm(factor="dose", forms=OF_DOSE))
    known: dict[str, float] = {}
    for form in OF_DOSE:
        one = shaped(data, coding, plain, form, "dose")
        if isinstance(one, Shaped) and one.aicc is not None:
            known[form] = one.aicc

    assert fitted.fit.model.bend is not None
    assert fitted.fit.model.bend.form == min(known, key=lambda form: known[form])


def test_a_bent_fit_takes_squares_of_its_factor_out_and_counts_its_shape() -> None:
    """Six terms less the square, more the rate; the rows of the table are as many."""
    data, coding = kinetics(batches=False)
    plain = fit_response(data, coding, model="quadratic")
    fitted = fit_with_form(data, coding, plain, TIME)
    rows = fitted.assessment.coefficients

    assert [row.label for row in rows] == [
        "intercept", "dose", "grind time", "dose × grind time", "dose²", "grind time: rate",
    ]  # fmt: skip
    assert [row.is_shape for row in rows] == [False] * 5 + [True]
    assert fitted.assessment.residual_df == len(data) - 6
    assert fitted.assessment.aicc == pytest.approx(_form(fitted).compared[1].aicc, abs=1e-8)
    tested = {row.source for row in fitted.assessment.anova if row.kind == "partial"}
    assert "shape of grind time" not in tested


def test_the_value_is_the_formulas_own() -> None:
    """At the shape found, predictions are those of curve_fit's formula and parameters."""
    data, coding = kinetics(batches=False)
    plain = fit_response(data, coding, model="linear")
    fit = fit_with_form(data, coding, plain, TIME).fit
    dose, time = data.actual.values.T
    y = np.array([run[0] for run in data.repeats])

    def curve(x: np.ndarray, k: float, a: float, b: float, c: float) -> np.ndarray:
        return a + b * x[0] + c * np.exp(-k * x[1])

    b, V = curve_fit(curve, (dose, time), y, p0=[0.07, 80, 1, -40], xtol=1e-14, ftol=1e-14)
    at = np.array([[1.0, 7.0], [2.5, 33.0]])
    rows = model_matrix(at, coding, fit.model)
    np.testing.assert_allclose(rows @ fit.coefficients, curve(at.T, *b), rtol=1e-7)
    gone = np.exp(-b[0] * at[:, 1])
    g = np.column_stack([-b[3] * at[:, 1] * gone, np.ones(2), at[:, 0], gone])
    errors = np.sqrt(np.einsum("np,pq,nq->n", rows, fit.covariance, rows))
    np.testing.assert_allclose(errors, np.sqrt(np.einsum("np,pq,nq->n", g, V, g)), rtol=1e-4)


@pytest.mark.parametrize(("spacing", "n"), [("even", 1), ("log", 0)])
def test_bias_is_told_of_an_evenly_spaced_dose_from_scarce_to_plenty(spacing: str, n: int) -> None:
    """0.8 to 3.2 % is fourfold; in its logarithm the dose needs no word."""
    study = kinetics_study(spacing="log" if spacing == "log" else "even")
    data, coding = kinetics(batches=False, study=study)
    plain = fit_response(data, coding, model="quadratic")
    told = bias_finding(study, coding, {"strength": plain})

    assert len(told) == n
    for one in told:
        assert "bias" in one.what
        assert 'spacing = "log"' in one.advice
        assert "dose: demand curve" in one.advice


def test_a_dose_from_none_is_not_asked_for_its_logarithm() -> None:
    """Nought has none; the form is the cure that is left."""
    study = kinetics_study(low=0.0)
    data, coding = kinetics(batches=False, study=study)
    plain = fit_response(data, coding, model="quadratic")
    (told,) = bias_finding(study, coding, {"strength": plain})

    assert "log" not in told.advice
    assert told.advice.startswith("Look at fit --form")


def test_bias_is_not_told_where_a_form_bends_the_dose() -> None:
    """That is one of the two cures."""
    study = kinetics_study()
    data, coding = kinetics(batches=False, study=study)
    plain = fit_response(data, coding, model="quadratic")
    bent = fit_with_form(data, coding, plain, WantedForm(factor="dose", forms=("coverage",)))

    assert bias_finding(study, coding, {"strength": bent}) == ()


def test_grind_time_and_dose_are_what_is_tried_by_itself() -> None:
    """Kinetics for the one, demand curves for the other."""
    study = kinetics_study()
    _, coding = kinetics(batches=False, study=study)

    assert [(one.factor, one.forms) for one in forms_of(study, coding)] == [
        ("grind time", ("first order",)), ("dose", OF_DOSE),
    ]  # fmt: skip

"""Forms of one factor against nls, nlme and lme of R: shapes, predictions and their errors.

Source: R 4.2.2 with nlme 3.1.162, script, data and numbers in tests/reference/forms-nls-nlme; data
of R itself (Loblolly: Kung 1986; Puromycin: Treloar 1974) and the worked ladder of the trade brief
(invented). Tolerances: 1e-5 of an estimate, 1e-4 of an error, what the references' searches leave.
"""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
from scipy import stats

from analysis.fits.contrasts import contrast_df
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.forms.bendable import WantedForm
from analysis.fits.forms.fitting import fit_with_form
from analysis.lab.response_data import ResponseData
from analysis.surface.predict import predict_response
from doe.model.bend import FormName
from doe.model.coding import Coding
from doe.model.matrix import model_matrix
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

CASE = Path(__file__).parents[1] / "reference" / "forms-nls-nlme"
ESTIMATE, ERROR = 1e-5, 1e-4
EXPECTED: dict[str, float] = {
    one["id"]: one["value"]
    for one in json.loads((CASE / "expected.json").read_text(encoding="utf-8"))["values"]
}
DOSES = np.array([0.4, 0.7, 1.0, 1.3, 1.6, 2.0, 2.5, 3.2])
VISCOSITY = np.array([1533.4, 661.5, 429.4, 344.8, 314.4, 330.4, 400.9, 549.1])


def _rows(name: str) -> list[dict[str, Any]]:
    with (CASE / f"data-{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _fitted(
    data: ResponseData, coding: Coding, factor: str, form: FormName, model: str = "linear"
) -> FittedResponse:
    plain = fit_response(data, coding, model=model)
    return fit_with_form(data, coding, plain, WantedForm(factor=factor, forms=(form,)))


@cache
def _loblolly(*, seeds: bool) -> FittedResponse:
    study = study_of(
        factors=[range_factor("age", 3, 25, unit="min", set_per="sample")],
        response={"name": "height", "unit": "ft"},
    )
    rows = [row for row in _rows("loblolly") if not seeds or row["kept"] == "1"]
    data, coding = adopt(study, rows, "height")
    if seeds:
        data = replace(data, batch=tuple(int(row["Seed"]) for row in rows))
    return _fitted(data, coding, "age", "first order")


@cache
def _puromycin() -> FittedResponse:
    study = study_of(
        factors=[
            range_factor("conc", 0.02, 1.1, unit="ppm"),
            {"name": "state", "levels": ["treated", "untreated"]},
        ],
        response={"name": "rate"},
    )
    data, coding = adopt(study, _rows("puromycin"), "rate")
    return _fitted(data, coding, "conc", "coverage", "interactions")


def _ladder(form: FormName) -> FittedResponse:
    study = study_of(
        factors=[range_factor("dose", 0.4, 3.2, unit="%", role="dose")],
        response={"name": "viscosity", "unit": "mPa·s", "scale": "log"},
    )
    rows = [{"dose": d, "viscosity": v} for d, v in zip(DOSES, VISCOSITY, strict=True)]
    data, coding = adopt(study, rows, "viscosity")
    return _fitted(data, coding, "dose", form)


def _agrees(found: float, name: str, part: float) -> None:
    assert found == pytest.approx(EXPECTED[name], rel=part)


@pytest.mark.parametrize(("way", "seeds"), [("nls", False), ("reml", True)])
def test_a_first_order_approach_agrees_with_nls_and_lme(way: str, seeds: bool) -> None:
    """Rate, its error, scatter; with seeds a shift of each by REML, unbalanced."""
    fitted = _loblolly(seeds=seeds)
    assert fitted.form is not None
    (rate,) = fitted.form.shape

    _agrees(rate.value, f"loblolly {way} k", ESTIMATE)
    _agrees(fitted.fit.residual_sd, f"loblolly {way} sigma", ESTIMATE)
    if not seeds:
        assert rate.std_error is not None
        _agrees(rate.std_error, "loblolly nls k se", ERROR)
    else:
        _agrees(fitted.fit.components["batch"] ** 0.5, "loblolly reml shift", ESTIMATE)


@pytest.mark.parametrize(("way", "seeds"), [("nls", False), ("reml", True)])
def test_predictions_carry_the_uncertainty_of_the_rate(way: str, seeds: bool) -> None:
    """The delta method's error, from the gradient along all parameters.

    In strata the reference's error is that before what Kenward and Roger add.
    """
    fit = _loblolly(seeds=seeds).fit
    ages = (4, 12, 24)
    settings = np.array([[float(age)] for age in ages])
    found = predict_response(fit, settings)
    for i, age in enumerate(ages):
        _agrees(float(found.value[i]), f"loblolly {way} value {age}", ESTIMATE)
    if not seeds:
        half = (found.mean_interval[:, 1] - found.mean_interval[:, 0]) / 2
        for i, age in enumerate(ages):
            error = float(half[i]) / float(stats.t.ppf(0.975, 81))
            _agrees(error, f"loblolly nls se {age}", ERROR)
    else:
        assert fit.adjustment is not None
        rows = model_matrix(settings, fit.coding, fit.model)
        errors = np.sqrt(np.einsum("np,pq,nq->n", rows, fit.adjustment.unadjusted, rows))
        for i, age in enumerate(ages):
            _agrees(float(errors[i]), f"loblolly reml se {age}", ERROR)
        assert np.all(np.isfinite(contrast_df(fit, rows)))


def test_the_interval_of_a_rate_is_that_of_its_profile() -> None:
    """RSS(k) ≤ RSS (1 + F / df), all else by lm."""
    fitted = _loblolly(seeds=False)
    assert fitted.form is not None
    low, high = fitted.form.shape[0].interval
    assert low is not None
    assert high is not None

    _agrees(low, "loblolly nls k low", ESTIMATE)
    _agrees(high, "loblolly nls k high", ESTIMATE)


@pytest.mark.parametrize(("way", "parameters"), [("nls", 4), ("ml", 5)])
def test_aicc_of_a_form_counts_its_shape(way: Literal["nls", "ml"], parameters: int) -> None:
    """From R's log-likelihood, with three coefficients and one variance, or two."""
    fitted = _loblolly(seeds=way == "ml")
    n = len(fitted.fit.runs)
    k = parameters
    expected = -2 * EXPECTED[f"loblolly {way} logLik"] + 2 * k + 2 * k * (k + 1) / (n - k - 1)
    assert fitted.assessment.aicc == pytest.approx(expected, abs=1e-6)


def test_coverage_with_a_choice_agrees_with_nls() -> None:
    """One strength for both states, each with its own height and fall."""
    fitted = _puromycin()
    assert fitted.form is not None
    (strength,) = fitted.form.shape
    _agrees(strength.value, "puromycin K", ESTIMATE)
    assert strength.std_error is not None
    _agrees(strength.std_error, "puromycin K se", ERROR)
    settings = np.array([[0.05, 0.0], [0.3, 0.0], [0.9, 1.0], [0.3, 1.0]])
    _predictions_agree(fitted, settings, "puromycin")


@pytest.mark.parametrize(
    ("form", "letter"), [("parabola", "Dm"), ("two lines", "D0")]
)  # fmt: skip
def test_demand_curves_agree_with_nls(form: FormName, letter: str) -> None:
    """The ladder's ln viscosity; the error of ln dose is that of the dose over it."""
    fitted = _ladder(form)
    assert fitted.form is not None
    dose, *more = fitted.form.shape
    _agrees(dose.value, f"{form} {letter}", ESTIMATE)
    assert dose.std_error is not None
    _agrees(dose.std_error / dose.value, f"{form} ln {letter} se", ERROR)
    for one in more:
        assert one.std_error is not None
        _agrees(one.value, f"{form} {one.name}", ESTIMATE)
        _agrees(one.std_error, f"{form} {one.name} se", ERROR)
    _predictions_agree(fitted, np.array([[0.6], [2.2]]), form)


def test_a_plateau_agrees_with_nls() -> None:
    """The treated cells of Puromycin over ln concentration."""
    study = study_of(factors=[range_factor("conc", 0.02, 1.1, unit="ppm")])
    rows = [
        {"conc": row["conc"], "y": row["rate"]}
        for row in _rows("puromycin")
        if row["state"] == "treated"
    ]
    fitted = _fitted(*adopt(study, rows, "y"), "conc", "plateau")
    assert fitted.form is not None
    (at,) = fitted.form.shape
    _agrees(at.value, "plateau D0", ESTIMATE)
    assert at.std_error is not None
    _agrees(at.std_error / at.value, "plateau ln D0 se", ERROR)
    rss = fitted.fit.residual_sd**2 * fitted.assessment.residual_df
    _agrees(rss, "plateau rss", ESTIMATE)


def _predictions_agree(fitted: FittedResponse, settings: np.ndarray, name: str) -> None:
    fit = fitted.fit
    rows = model_matrix(settings, fit.coding, fit.model)
    values = rows @ fit.coefficients
    errors = np.sqrt(np.einsum("np,pq,nq->n", rows, fit.covariance, rows))
    for i, (value, error) in enumerate(zip(values, errors, strict=True), start=1):
        _agrees(float(value), f"{name} value {i}", ESTIMATE)
        _agrees(float(error), f"{name} se {i}", ERROR)

"""A straight drift fitted beside the model, against general libraries with the column added."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm

from analysis.fits.drift_correction import told_of_drift
from analysis.fits.fitted_response import FittedResponse, fit_response, table_of
from analysis.fits.likelihood.any_response import fit_any_response
from analysis.fits.order_slope import to_correct
from analysis.fits.selection import reduce_fit
from analysis.fits.without_runs import refitting
from analysis.lab.response_data import ResponseData
from analysis.lab.without_runs import without_runs
from doe.model.coding import Coding
from doe.model.terms import make_model
from doe.study.settings import FloatArray
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of
from tests.analysis.fits.batches import split_plot

SLOPE = 0.12


def drifting(slope: float = SLOPE) -> tuple[ResponseData, Coding]:
    """Make twelve runs of a plan, a control after every third, and a drift that all share."""
    rng = np.random.default_rng(4)
    study = study_of(factors=[range_factor("x"), range_factor("w")], response={"name": "y"})
    rows, kinds, controls = [], [], {}
    places = rng.permutation([(a, b) for a in (-1, 0, 1) for b in (-1, 1)] * 2)
    for place, (x, w) in enumerate(places):
        if place % 3 == 0:
            controls[len(rows) + 1] = "present formula"
            rows.append({"x": None, "w": None, "y": 8.0})
            kinds.append("control")
        rows.append({"x": x, "w": w, "y": 5 + x - 0.5 * w})
        kinds.append("design")
    for i, row in enumerate(rows):
        row["y"] += slope * (i + 1) + 0.1 * rng.standard_normal()
    return adopt(study, rows, "y", kinds=kinds, controls=controls)


def columns_of(data: ResponseData) -> FloatArray:
    """Write the columns out anew: 1, x, w, x·w, control, order less its middle."""
    own = np.array([name is None for name in data.control], dtype=np.float64)
    x, w = np.nan_to_num(data.actual.values.T)
    order = np.array(data.order)
    return np.column_stack(
        [own, own * x, own * w, own * x * w, 1 - own, order - (order.min() + order.max()) / 2]
    )


def test_least_squares_is_that_of_a_general_library_with_the_column_added() -> None:
    """Estimates, errors, degrees of freedom, slope and its interval; statsmodels OLS."""
    data, coding = drifting()
    fit = fit_response(to_correct(data), coding, model="interactions").fit
    y = np.array([run[0] for run in data.repeats])
    other = sm.OLS(y, columns_of(data)).fit()

    assert fit.coefficients == pytest.approx(other.params[:4], rel=1e-9)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(other.bse[:4], rel=1e-9)
    assert fit.coefficient_df == pytest.approx([other.df_resid] * 4)
    assert fit.control_means["present formula"][0] == pytest.approx(other.params[4])
    assert fit.drift is not None
    assert fit.drift.slope == pytest.approx(other.params[5])
    assert fit.drift.interval(0.95) == pytest.approx(tuple(other.conf_int(0.05)[5]))
    assert fit.drift.p == pytest.approx(other.pvalues[5])


def test_the_drift_has_a_row_of_its_own_in_the_analysis_of_variance() -> None:
    """The partial row tests the slope: F is the square of its t."""
    data, coding = drifting()
    fitted = fit_response(to_correct(data), coding, model="interactions")
    drift = fitted.fit.drift
    (row,) = [
        row for row in fitted.assessment.anova
        if row.source == "drift along the order" and row.kind == "partial"
    ]  # fmt: skip
    turn = [row for row in fitted.assessment.anova if row.kind == "sequential"]

    assert drift is not None
    assert row.f == pytest.approx((drift.slope / drift.std_error) ** 2)
    parts = {row.source: row.ss for row in turn}
    whole = parts.pop("total")
    within = parts.pop("lack of fit", 0.0) + parts.pop("pure error", 0.0)
    assert sum(parts.values()) == pytest.approx(whole)
    assert within == pytest.approx(parts["residual"])


def test_restricted_likelihood_is_that_of_a_general_library() -> None:
    """Batches of three samples; estimates and variances of statsmodels MixedLM to 1e-4."""
    plain, coding = split_plot()
    data = to_correct(plain)
    fitted = fit_response(data, coding, model="quadratic")
    fit = fitted.fit
    surface = fit_response(plain, coding, model="quadratic").fit
    assert fit.method == surface.method == "reml"
    assert fit.drift is not None
    table, _, _ = table_of(plain, coding, make_model("quadratic", coding))
    X = np.column_stack([table.matrix, np.array(data.order) - fit.drift.middle])
    # A hundredfold: the library takes any variance below 0.01 for one at its bound.
    y = 100 * np.log([run[0] for run in data.repeats])
    other = sm.MixedLM(y, X, groups=np.array(data.batch)).fit(reml=True, method="powell")

    estimates = np.asarray(other.fe_params) / 100
    assert fit.coefficients == pytest.approx(estimates[:-1], rel=1e-4, abs=1e-5)
    assert fit.drift.slope == pytest.approx(estimates[-1], rel=1e-3, abs=1e-6)
    assert fit.components["residual"] == pytest.approx(other.scale / 1e4, rel=1e-3)
    assert fitted.assessment.p == X.shape[1]


def test_shifting_every_reading_along_the_order_moves_nothing_but_the_slope() -> None:
    """Predictions are for the middle, whatever the drift; by either way of fitting."""
    for (plain, coding), model, shift in (
        (drifting(), "interactions", lambda value, by: value + by),
        (split_plot(), "quadratic", lambda value, by: value * np.exp(by)),
    ):
        data = to_correct(plain)
        middle = data.drift_middle or 0.0
        moved = replace(data, repeats=tuple(
            tuple(float(shift(value, 0.07 * (place - middle))) for value in run)
            for run, place in zip(data.repeats, data.order, strict=True)
        ))  # fmt: skip
        a = fit_response(data, coding, model=model).fit
        b = fit_response(moved, coding, model=model).fit
        assert a.drift is not None
        assert b.drift is not None

        assert b.coefficients == pytest.approx(a.coefficients, rel=1e-5, abs=1e-6)
        assert b.drift.slope - a.drift.slope == pytest.approx(0.07, rel=1e-5)


def test_fits_again_keep_the_correction_and_its_middle() -> None:
    """Leaving a run out, and leaving terms out, by the long way and by the short."""
    plain, coding = drifting()
    data = to_correct(plain)
    fitted = fit_response(data, coding, model="interactions")
    without = refitting(data, coding, fitted).without([2])
    anew = fit_response(without_runs(data, [2]), coding, model="interactions").fit
    reduced = reduce_fit(data, coding, fitted)

    assert without is not None
    assert without.coefficients == pytest.approx(anew.coefficients)
    assert anew.drift is not None
    assert anew.drift.middle == data.drift_middle
    assert reduced.fit.drift is not None
    assert "x × w" not in [row.label for row in reduced.assessment.coefficients]


def _told(slope: float, *, corrected: bool) -> FittedResponse:
    data, coding = drifting(slope)
    data = to_correct(data) if corrected else data
    return told_of_drift(data, coding, fit_response(data, coding, model="interactions"))


def test_a_clear_drift_says_how_to_ask_for_its_correction() -> None:
    """And a control that stays where it is says nothing."""
    loud, quiet = _told(SLOPE, corrected=False), _told(0.0, corrected=False)

    assert "--correct-drift" in loud.findings[-1].advice
    assert not any("--correct-drift" in one.advice for one in quiet.findings)


def test_a_correction_says_that_it_is_made_and_what_it_moves() -> None:
    """Coefficients that move by more than their own error; a slope of chance is a caution."""
    loud, quiet = _told(SLOPE, corrected=True), _told(0.0, corrected=True)

    assert loud.drift is not None
    assert loud.findings[-1].level == "note"
    assert "corrected for a straight drift" in loud.findings[-1].what
    for one in loud.drift.moved:
        assert abs(one.after - one.before) > one.std_error
    assert quiet.findings[-1].level == "caution"
    assert "--no-correct-drift" in quiet.findings[-1].advice


def test_a_rating_is_not_corrected_and_says_so() -> None:
    """Its likelihood holds no drift: it is fitted as it would be, with a sentence."""
    study = study_of(
        factors=[range_factor("x")],
        response={"name": "y", "unit": "rating 0-5", "kind": "rating", "aim": "low"},
    )
    rows = [{"x": x, "y": y} for x, y in zip([-1, 0, 1] * 6, [0, 1, 2, 1, 2, 3] * 3, strict=True)]
    data, coding = adopt(study, rows, "y")
    fitted = fit_any_response(to_correct(data), coding, model="linear")
    plain = fit_any_response(data, coding, model="linear")

    assert fitted.fit.drift is None
    assert fitted.fit.coefficients == pytest.approx(plain.fit.coefficients)
    assert "is not corrected for drift" in fitted.findings[-1].what

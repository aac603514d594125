"""A response whose runs share batches, from its data to findings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.fits.contrasts import contrast_df, contrast_f, run_variance_df
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.selection import reduce_model
from analysis.lab.response_data import Blocking, ResponseData
from analysis.surface.predict import predict_response
from doe.model.matrix import model_matrix
from doe.model.terms import make_model
from tests.analysis.fits.batches import DOSES, split_plot


@pytest.fixture(scope="module")
def fitted() -> FittedResponse:
    """Eight batches of three samples."""
    data, coding = split_plot()
    return fit_response(data, coding, model="quadratic")


def _said(fitted: FittedResponse) -> str:
    return " | ".join(finding.what for finding in fitted.findings)


def test_each_term_is_tested_in_its_own_stratum(fitted: FittedResponse) -> None:
    """Doses by the 5 df left among batches, times by the 13 within them."""
    known = fitted.assessment
    rows = {row.source: row for row in known.anova if row.kind == "partial"}

    assert known.terms_vary["dose²"] == rows["dose²"].stratum == "batch"
    assert rows["dose × time"].stratum == rows["time"].stratum == "residual"
    assert rows["dose"].den_df == pytest.approx(5)
    assert rows["time"].den_df == pytest.approx(13)


def test_sequential_rows_take_terms_in_turn(fitted: FittedResponse) -> None:
    """In an orthogonal table a sequential test is the partial one; sums add up to the total."""
    rows = fitted.assessment.anova
    turn = {row.source: row for row in rows if row.kind == "sequential"}
    last = {row.source: row for row in rows if row.kind == "partial"}
    parts = sum(turn[name].ss for name in (*last, "residual"))

    assert turn["time"].f == pytest.approx(last["time"].f)
    assert turn["total"].ss == pytest.approx(parts)


def test_lack_of_fit_is_judged_by_stratum(fitted: FittedResponse) -> None:
    """Five doses, three of them made twice: 2 df against 3; within: 7 against 6."""
    found = {one.stratum: one for one in fitted.assessment.lack_of_fit}

    assert (found["batch"].df, found["residual"].df) == (2, 7)
    assert found["batch"].den_df == pytest.approx(3)
    assert found["residual"].den_df == pytest.approx(6)


def test_a_curve_between_batches_shows_as_lack_of_fit_there() -> None:
    """The linear model misses a hump in the dose, and only there."""
    data, coding = split_plot(batch_sd=0.02, sd=0.02)
    hump = [np.exp(1.5 * (0.8 - abs(float(row["dose"] or 0) - 1.6)))
            for row in (data.planned.row(i) for i in range(len(data)))]  # fmt: skip
    bent = replace(
        data, repeats=tuple((y[0] * h,) for y, h in zip(data.repeats, hump, strict=True))
    )
    fitted = fit_response(bent, coding, model="linear")
    found = {one.stratum: one for one in fitted.assessment.lack_of_fit}

    assert found["batch"].p is not None
    assert found["batch"].p < 0.001
    assert found["residual"].p is not None
    assert found["residual"].p > 0.05
    assert "The model misses more between batches" in _said(fitted)


def test_runs_left_out_agree_with_fits_without_them(fitted: FittedResponse) -> None:
    """PRESS of a run and of a batch against coefficients of the other rows at the same ratio."""
    data, coding = split_plot()
    y = np.log([run[0] for run in data.repeats])
    X = model_matrix(data.actual.values, coding, fitted.fit.model)
    parts = fitted.fit.components
    batch = np.array(data.batch)
    V = np.eye(len(y)) + parts["batch"] / parts["residual"] * (batch[:, None] == batch)

    def press(groups: list[np.ndarray]) -> float:
        total = 0.0
        for out in groups:
            kept = ~out
            W = np.linalg.inv(V[np.ix_(kept, kept)])
            b = np.linalg.solve(X[kept].T @ W @ X[kept], X[kept].T @ W @ y[kept])
            total += float(((y[out] - X[out] @ b) ** 2).sum())
        return total

    every = np.arange(len(y))
    known = fitted.assessment
    assert known.press == pytest.approx(press([every == i for i in every]))
    assert known.press_by_unit == pytest.approx(press([batch == i for i in np.unique(batch)]))
    assert known.unit_left_out == "batch"


def test_a_run_that_went_wrong_is_found_beside_its_batch_mates() -> None:
    """Deleted residuals allow for what the batch has in common."""
    data, coding = split_plot()
    repeats = list(data.repeats)
    repeats[10] = (repeats[10][0] * 1.6,)
    fitted = fit_response(replace(data, repeats=tuple(repeats)), coding, model="linear")

    assert [one.run for one in fitted.assessment.outliers] == [data.run[10]]


def test_leverages_and_residuals_reduce_to_the_usual_ones_without_scatter_of_batches() -> None:
    """Where the component is 0, every check is that of least squares."""
    data, coding = split_plot(batch_sd=0.0, seed=5)
    mixed = fit_response(data, coding, model="quadratic").assessment
    alone = replace(data, batch=tuple(range(1, len(data) + 1)))
    plain = fit_response(alone, coding, model="quadratic").assessment

    assert mixed.components[0].is_zero
    for name in ("studentised", "leverage", "cook", "fitted"):
        np.testing.assert_allclose(
            [getattr(row, name) for row in mixed.runs], [getattr(row, name) for row in plain.runs]
        )
    assert mixed.press == pytest.approx(plain.press)
    assert mixed.r2 == pytest.approx(plain.r2)
    assert mixed.box_cox is not None
    assert plain.box_cox is not None
    assert mixed.box_cox.power == pytest.approx(plain.box_cox.power, abs=0.2)


def test_a_zero_component_is_kept_with_its_limit() -> None:
    """It stays in the model: intervals keep the batches' degrees of freedom."""
    data, coding = split_plot(batch_sd=0.0, seed=5)
    fitted = fit_response(data, coding, model="linear")
    row = fitted.assessment.components[0]

    assert fitted.fit.components["batch"] == 0.0
    assert row.interval is not None
    assert row.interval[0] == 0.0 < row.interval[1]
    dose = next(one for one in fitted.assessment.coefficients if one.term == "dose")
    assert dose.df < fitted.assessment.n - 3
    assert "estimated as 0. It stays in the model" in _said(fitted)


def test_predictions_carry_the_scatter_of_a_new_batch(fitted: FittedResponse) -> None:
    """Variance x'Φx + Σσ², Satterthwaite df by slopes of both parts, as calculated here anew."""
    fit = fitted.fit
    values = np.array([[1.6, 30.0]])
    prediction = predict_response(fit, values)
    rows = model_matrix(values, fit.coding, fit.model)
    variance = float((rows @ fit.covariance @ rows.T).item()) + sum(fit.components.values())
    half = float(stats.t.ppf(0.975, run_variance_df(fit, rows)[0])) * variance**0.5

    assert prediction.predict_for == "one new run in a new batch"
    np.testing.assert_allclose(
        np.log(prediction.run_interval[0]), np.log(prediction.value[0]) + half * np.array([-1, 1])
    )
    ratio = np.log(prediction.mean_interval[0, 1] / prediction.value[0])
    mean_sd = float((rows @ fit.covariance @ rows.T).item()) ** 0.5
    assert ratio == pytest.approx(stats.t.ppf(0.975, contrast_df(fit, rows)[0]) * mean_sd)


def test_a_joint_test_of_one_row_is_its_t_test(fitted: FittedResponse) -> None:
    """F is t squared, on the same df."""
    fit = fitted.fit
    L = np.eye(6)[[1]]
    row = fitted.assessment.coefficients[1]
    test = contrast_f(fit, L)

    assert row.t is not None
    assert test.f == pytest.approx(row.t**2)
    assert test.den_df == pytest.approx(row.df)
    assert test.p == pytest.approx(row.p)


def test_least_squares_beside_it_says_where_it_would_mislead(fitted: FittedResponse) -> None:
    """Its error of the dose is too small by the runs that a batch only repeats."""
    found = {one.label: one for one in fitted.assessment.misleading}

    assert found["dose"].plain_error < found["dose"].std_error
    assert "Plain least squares" in _said(fitted)
    assert "Told by batches only: 'dose', 'dose²'. They rest on 8 batches" in _said(fitted)


def test_too_few_batches_for_their_terms_end_in_a_sentence() -> None:
    """Three doses in three batches: levels and doses without errors, times with."""
    data, coding = split_plot(doses=DOSES[:3])
    fitted = fit_response(data, coding, model="quadratic")
    errors = {row.label: row.std_error for row in fitted.assessment.coefficients}

    assert errors["dose"] is None
    assert errors["dose²"] is None
    assert errors["intercept"] is None
    assert errors["time"] is not None
    assert errors["dose × time"] is not None
    assert np.isnan(fitted.fit.components["batch"])
    prediction = predict_response(fitted.fit, np.array([[1.6, 30.0]]))
    assert np.isfinite(prediction.value).all()
    assert np.isnan(prediction.run_interval).all()
    assert "as many terms that differ between batches as there are batches" in _said(fitted)


def test_few_batches_are_cautioned() -> None:
    """Two df among batches."""
    data, coding = split_plot(doses=DOSES[:4])
    assert "Only 2 degrees of freedom are left among batches" in _said(
        fit_response(data, coding, model="linear")
    )


def test_one_batch_alone_is_said() -> None:
    """Nothing tells how batches differ; what can be fitted is."""
    data, coding = split_plot(doses=(1.6,), times=(15.0, 20.0, 25.0, 30.0, 40.0, 45.0))
    fitted = fit_response(data, coding, model="linear", drop=("dose",))

    assert fitted.fit.method == "ols"
    assert "All runs come from one batch" in _said(fitted)


def test_a_constant_response_in_batches_is_told() -> None:
    """No variance to share out."""
    data, coding = split_plot(scale="identity")
    flat = replace(data, repeats=tuple((5.0,) for _ in data.repeats))
    fitted = fit_response(flat, coding, model="linear")

    assert fitted.fit.coefficients[0] == 5.0
    assert "The response does not vary" in _said(fitted)


def test_as_many_coefficients_as_runs_give_coefficients_only() -> None:
    """Nothing is left for any stratum."""
    data, coding = split_plot(doses=DOSES[:3], times=(15.0, 45.0))
    fitted = fit_response(data, coding, model="quadratic", drop=("time²", "dose²"))
    assert fitted.fit.method == "reml"
    full = fit_response(data, coding, model="interactions", drop=())
    assert full.fit.n == 6
    rows = _take(data, [0, 1, 2, 5])
    saturated = fit_response(rows, coding, model="interactions")

    assert all(row.std_error is None for row in saturated.assessment.coefficients)
    assert "as many coefficients as runs" in _said(saturated)


def test_runs_that_went_missing_do_no_harm(fitted: FittedResponse) -> None:
    """Unequal batches, one of a single sample: fractional df, all numbers there."""
    data, coding = split_plot()
    kept = [i for i in range(len(data)) if i not in (1, 2, 9, 17)]
    some = fit_response(_take(data, kept), coding, model="quadratic")

    assert all(row.std_error is not None for row in some.assessment.coefficients)
    assert some.assessment.coefficients[1].df % 1 > 1e-6
    assert fitted.assessment.coefficients[1].df == pytest.approx(5)


def test_days_and_batches_are_told_apart() -> None:
    """A nested chain of three, and the words for a new day."""
    data, coding = split_plot()
    labels = tuple(f"{(batch or 1) // 2}" for batch in data.batch)
    blocking = Blocking(
        name="day", of=labels, effect="random", planned=False, because="there are 4 or more of them"
    )
    fitted = fit_response(replace(data, block=labels, blocking=blocking), coding, model="linear")

    assert list(fitted.fit.components) == ["day", "batch", "residual"]
    prediction = predict_response(fitted.fit, np.array([[1.6, 30.0]]))
    assert prediction.predict_for == "one new run in a new batch, on a new day"


def test_selection_drops_what_does_nothing_and_keeps_what_acts() -> None:
    """ML AICc decides; the steps carry Kenward-Roger p."""
    data, coding = split_plot()
    model = make_model("quadratic", coding)
    scale = fit_response(data, coding, model="quadratic").fit.scale
    for by in ("best", "backward", "p"):
        smaller, steps = reduce_model(data, coding, model, scale=scale, by=by)
        names = [step.terms for step in steps]
        assert ("time²",) in names
        assert ("dose²",) in names
        assert all(step.p is not None and step.p > 0.1 for step in steps)
        assert len(smaller.terms) == 4


def _take(data: ResponseData, kept: list[int]) -> ResponseData:
    units = ("batch", "day", "sample", "panel", "block")
    names = ("run", "repeats", "kind", "control", *units, "order")
    parts = {name: tuple(getattr(data, name)[i] for i in kept) for name in names}
    rows = np.array(kept)
    return replace(data, planned=data.planned.take(rows), actual=data.actual.take(rows), **parts)

"""Whole responses by likelihood: gelled split-plots, ratings, counts, and their sentences."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.miscmodels.ordinal_model import OrderedModel

from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.likelihood.any_response import fit_any_response
from analysis.fits.likelihood.outcome import LikelihoodResponse
from analysis.surface.predict import predict_response
from doe.errors import FitError
from doe.model.matrix import model_matrix
from doe.model.terms import make_model
from doe.study.settings import FloatArray
from tests.analysis.fits.likelihood.split_plot import (
    TRUTH,
    data_of,
    log_viscosity,
    plan,
    read_up_to,
)


def _said(fitted: FittedResponse) -> str:
    return " | ".join(finding.what for finding in fitted.findings)


def _by_likelihood(lines: list[dict[str, Any]], **response: Any) -> LikelihoodResponse:
    data, coding = data_of(lines, **response)
    fitted = fit_any_response(data, coding, model="linear")
    assert isinstance(fitted, LikelihoodResponse)
    return fitted


def test_gelled_samples_of_a_split_plot_bias_what_leaves_them_out() -> None:
    """Twelve invented studies, a quarter of samples gelled: bias well apart, by the same draws."""
    rng = np.random.default_rng(11)
    likelihood, left_out = [], []
    for _ in range(12):
        z = log_viscosity(rng, batch_sd=0.3, sd=0.15)
        fitted = _by_likelihood(read_up_to(np.exp(z), float(np.exp(7.0))))
        assert fitted.facts.left_out is not None
        likelihood.append(fitted.fit.coefficients - TRUTH)
        left_out.append(fitted.facts.left_out.coefficients - TRUTH)
    gap = np.array(likelihood) - np.array(left_out)
    t = gap.mean(axis=0) / (gap.std(axis=0, ddof=1) / 12**0.5)
    # Leaving out pulls the middle, dose and pH towards low viscosity in every study.
    assert (t[:3] > 4).all()
    reach = 3 * np.std(likelihood, axis=0, ddof=1) / 12**0.5
    assert (np.abs(np.mean(likelihood, axis=0)) < reach).all()


def test_family_method_strata_and_words_of_a_gelled_split_plot() -> None:
    """What the contract and the screen show."""
    z = log_viscosity(np.random.default_rng(3), batch_sd=0.3, sd=0.15)
    fitted = _by_likelihood(read_up_to(np.exp(z), 1100.0, gels=True))
    assert (fitted.fit.family, fitted.fit.method) == ("censored", "ml")
    assert fitted.assessment.strata == ("batch", "residual")
    assert fitted.fit.n == 36
    said = _said(fitted)
    assert "Gelled runs count as above" in said
    assert "would mislead" in said
    assert "left out of this fit" not in said
    assert {row.source for row in fitted.assessment.anova} == {"dose", "pH", "grind time"}
    # Twelve batches less three columns set by them; three batches read nothing on the scale.
    assert fitted.assessment.coefficients[1].df == 9 - 3
    # Of the 23 within, the readings off the scale take a part.
    assert 10 < fitted.assessment.coefficients[3].df < 23


def test_predictions_go_on_from_a_fit_with_readings_off_the_scale() -> None:
    """A new run lies in wider limits than the true value; median on the log scale."""
    z = log_viscosity(np.random.default_rng(3), batch_sd=0.3, sd=0.15)
    fitted = _by_likelihood(read_up_to(np.exp(z), 1100.0))
    found = predict_response(fitted.fit, np.array([[1.6, 8.75, 30.0], [2.4, 9.5, 15.0]]))
    assert found.value_is == "median"
    width = found.run_interval[:, 1] / found.run_interval[:, 0]
    assert (width > found.mean_interval[:, 1] / found.mean_interval[:, 0]).all()
    assert found.value[1] > 1100.0


def test_nothing_off_the_scale_stays_with_the_usual_fit() -> None:
    """The branch is taken only where it is needed."""
    z = log_viscosity(np.random.default_rng(3), batch_sd=0.3, sd=0.15)
    data, coding = data_of(read_up_to(np.exp(z), 1e9))
    here = fit_any_response(data, coding, model="linear")
    there = fit_response(data, coding, model="linear")
    assert not isinstance(here, LikelihoodResponse)
    np.testing.assert_array_equal(here.fit.coefficients, there.fit.coefficients)


def test_everything_above_the_scale_is_refused_in_a_sentence() -> None:
    """Nothing tells how far above."""
    data, coding = data_of(read_up_to(np.full(36, 9e3), 5e3))
    with pytest.raises(FitError, match=r"above 5000 .* in all 36 runs.*nothing to model"):
        fit_any_response(data, coding, model="linear")


def test_one_level_gelled_throughout_is_held_and_said() -> None:
    """All batches at high pH gel: the coefficient of pH has no end."""
    z = log_viscosity(np.random.default_rng(5), batch_sd=0.1, sd=0.1)
    high = plan().settings.column("pH") > 9
    lines = read_up_to(np.where(high, 1e9, np.exp(z)), 2000.0)
    fitted = _by_likelihood(lines)
    assert "pH" in fitted.facts.held
    assert "Nothing in these runs limits the size of 'pH'" in _said(fitted)
    assert np.isfinite(fitted.fit.coefficients).all()


def test_unequal_repeats_with_one_above_share_their_run() -> None:
    """Two readings of a run above the same end say no more than one."""
    z = log_viscosity(np.random.default_rng(3), batch_sd=0.3, sd=0.15)
    lines = read_up_to(np.exp(z), 1100.0)
    twice = [{**line, "repeat": 2} for line in lines if line.get("flag") == "above"]
    one, two = _by_likelihood(lines), _by_likelihood([*lines, *twice])
    np.testing.assert_allclose(one.fit.coefficients, two.fit.coefficients, rtol=1e-6)
    np.testing.assert_allclose(one.fit.covariance, two.fit.covariance, rtol=1e-5)


def _unlike_batches(n: int) -> FloatArray:
    return np.random.default_rng(n).logistic(size=36)


def _rating_lines(seed: int) -> list[dict[str, Any]]:
    z = log_viscosity(np.random.default_rng(seed), batch_sd=0.0, sd=0.0)
    latent = 3 * (z - TRUTH[0]) + _unlike_batches(seed)
    classes = np.digitize(latent, [-1.5, 0.0, 1.5]) + 1
    return [{"run": i + 1, "value": float(c)} for i, c in enumerate(classes)]


def _without_batches(lines: list[dict[str, Any]], **response: Any) -> Any:
    from dataclasses import replace

    data, coding = data_of(lines, **response)
    return replace(data, batch=(None,) * len(data)), coding


RATED = {"kind": "rating", "aim": "low", "best": 1, "worst": 4, "accept": {"at_most": 2}}


def test_ratings_agree_with_an_independent_library() -> None:
    """Statsmodels' ordered logit; the value is the probability of classes 1 and 2."""
    data, coding = _without_batches(_rating_lines(2), scale="identity", **RATED)
    fitted = fit_any_response(data, coding, model="linear")
    X = model_matrix(data.actual.values, coding, make_model("linear", coding))[:, 1:]
    y = np.array([run[0] for run in data.repeats])
    other = OrderedModel(y, X, distr="logit").fit(method="bfgs", disp=False, gtol=1e-9)
    # logit P(class ≤ 2) = θ_2 − x'β.
    np.testing.assert_allclose(fitted.fit.coefficients[1:], -other.params[:3], rtol=1e-5)
    np.testing.assert_allclose(
        np.sqrt(np.diag(fitted.fit.covariance))[1:], other.bse[:3], rtol=1e-4
    )
    assert fitted.fit.family == "ordinal"
    assert fitted.fit.classes is not None
    at = np.array([[1.6, 8.75, 30.0], [2.4, 9.5, 15.0]])
    rows = model_matrix(at, coding, make_model("linear", coding))
    by_class = fitted.fit.classes.probabilities(rows)
    np.testing.assert_allclose(by_class, other.predict(rows[:, 1:]), rtol=1e-5)
    found = predict_response(fitted.fit, at)
    np.testing.assert_allclose(found.value, by_class[:, :2].sum(axis=1), rtol=1e-9)
    assert (found.mean_interval >= 0).all()
    assert (found.mean_interval <= 1).all()


def test_turning_a_rating_round_turns_its_surface() -> None:
    """Mirrored: rating 5 − y with `at least` gives the same probabilities."""
    lines = _rating_lines(2)
    turned = [{**line, "value": 5 - line["value"]} for line in lines]
    mirrored = {"kind": "rating", "aim": "high", "accept": {"at_least": 3}}
    one = fit_any_response(*_without_batches(lines, **RATED), model="linear")
    two = fit_any_response(*_without_batches(turned, **mirrored), model="linear")
    np.testing.assert_allclose(one.fit.coefficients, two.fit.coefficients, rtol=1e-6)


def test_ratings_that_a_straight_cut_parts_are_held_and_said() -> None:
    """Class by dose alone: Albert and Anderson's separation."""
    dose = plan().settings.column("dose")
    lines = [{"run": i + 1, "value": 1.0 if d < 1.6 else 2.0} for i, d in enumerate(dose)]
    fitted = _by_likelihood(lines, kind="rating", aim="low", best=1, worst=2)
    assert "dose" in fitted.facts.held
    assert np.isfinite(fitted.fit.coefficients).all()
    assert "Nothing in these runs limits the size of 'dose'" in _said(fitted)


def test_one_class_only_is_refused_in_a_sentence() -> None:
    """No model for what does not vary."""
    data, coding = data_of([{"run": i, "value": 3.0} for i in range(1, 37)], kind="rating")
    with pytest.raises(FitError, match="every run is in one class"):
        fit_any_response(data, coding, model="linear")


@pytest.mark.parametrize("alpha", [0.0, 1.0])
def test_counts_agree_with_an_independent_library(alpha: float) -> None:
    """Statsmodels' Poisson, and its negative binomial where counts scatter more."""
    rng = np.random.default_rng(8)
    mean = np.exp(log_viscosity(rng, batch_sd=0.0, sd=0.0) - 4.5)
    shared = rng.gamma(1 / alpha, alpha, 36) if alpha else np.ones(36)
    y = rng.poisson(mean * shared)
    lines = [{"run": i + 1, "value": float(c)} for i, c in enumerate(y)]
    data, coding = _without_batches(lines, kind="count", scale="identity")
    fitted = fit_any_response(data, coding, model="linear")
    X = model_matrix(data.actual.values, coding, make_model("linear", coding))
    if alpha:
        start = np.append(sm.Poisson(y, X).fit(disp=False).params, 0.5)
        rough = sm.NegativeBinomial(y, X).fit(
            start_params=start, method="nm", disp=False, maxiter=20000, maxfun=20000,
            xtol=1e-10, ftol=1e-13,
        )  # fmt: skip
        other = sm.NegativeBinomial(y, X).fit(
            start_params=rough.params, method="newton", disp=False
        )
        assert "negative binomial" in _said(fitted)
    else:
        other = sm.Poisson(y, X).fit(method="newton", disp=False)
        assert "as Poisson" in _said(fitted)
    np.testing.assert_allclose(fitted.fit.coefficients, other.params[:4], rtol=1e-5)
    np.testing.assert_allclose(np.sqrt(np.diag(fitted.fit.covariance)), other.bse[:4], rtol=1e-4)
    assert fitted.assessment.log_likelihood == pytest.approx(other.llf, rel=1e-9)
    assert fitted.fit.family == "count"


def test_counts_made_twice_are_counted_together() -> None:
    """Two counts of a run are one of double exposure, not a mean."""
    rng = np.random.default_rng(8)
    mean = np.exp(log_viscosity(rng, batch_sd=0.0, sd=0.0) - 4.5)
    y = rng.poisson(mean, (2, 36))
    lines = [
        {"run": i + 1, "repeat": j + 1, "value": float(y[j, i])} for i in range(36) for j in (0, 1)
    ]
    data, coding = _without_batches(lines, kind="count")
    fitted = fit_any_response(data, coding, model="linear")
    X = model_matrix(data.actual.values, coding, make_model("linear", coding))
    other = sm.GLM(y.sum(axis=0), X, family=sm.families.Poisson(), exposure=np.full(36, 2.0)).fit()
    np.testing.assert_allclose(fitted.fit.coefficients, other.params, rtol=1e-6)


def test_errors_of_batches_are_those_of_least_squares_on_batch_means_where_all_is_read() -> None:
    """The factor that raises variances is exact for a balanced split-plot read in full."""
    from analysis.fits.likelihood.censored import CensoredRows, fit_censored
    from analysis.fits.likelihood.layout import freedom_of
    from analysis.fits.likelihood.outcome import inflated

    z = log_viscosity(np.random.default_rng(3), batch_sd=0.3, sd=0.15)
    X = np.column_stack([np.ones(36), (plan().settings.values - [1.6, 8.75, 30]) / [0.8, 0.75, 15]])
    batch = tuple(str(i // 3) for i in range(36))
    found = fit_censored(CensoredRows(design=X, low=z, high=z, weight=np.ones(36), batch=batch))
    freedom = freedom_of(X, batch)
    errors = np.sqrt(np.diag(inflated(found.covariance[:4, :4], freedom)))
    means = sm.OLS(z.reshape(12, 3).mean(axis=1), X[::3, :3]).fit()
    np.testing.assert_allclose(errors[:3], means.bse, rtol=1e-6)
    within = sm.OLS(z, np.column_stack([np.kron(np.eye(12), np.ones((3, 1))), X[:, 3]])).fit()
    assert errors[3] == pytest.approx(within.bse[12], rel=1e-6)
    assert stats.t.isf(0.025, freedom.df[0]) == pytest.approx(stats.t.isf(0.025, 9))

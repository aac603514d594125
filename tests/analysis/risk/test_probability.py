"""Probabilities against closed forms, and against plain loops over a split-plot study."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.fits.fit import Fit, Scale
from analysis.fits.likelihood.parts import CountPart, OrdinalPart
from analysis.fits.together import coefficients_together, responses_together
from analysis.risk.draws import DrawPlan, Estimate, normal_blocks
from analysis.risk.model import RiskModel, make_risk_model
from analysis.risk.posterior import Shared
from analysis.risk.probability import assess_risk, draw_batches, probability_at
from analysis.surface.predict import predict_response
from doe.errors import OptimumError
from doe.model.coding import coding_of
from doe.model.matrix import model_matrix
from doe.study.settings import FloatArray
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.risk.small_studies import (
    DOSES,
    TIMES,
    certain,
    correlated,
    line_brief,
    two_in_batches,
)

PLAN = DrawPlan(draws=8_192, seed=3)
AT = np.array([2.0])


def _chances(model: RiskModel, at: FloatArray = AT) -> tuple[Estimate, Estimate]:
    """Give the joint probability of tested and of true values."""
    drawn = draw_batches(model, at, PLAN)
    tested, true = (model.met(one).all(axis=1) for one in (drawn.tested, drawn.true))
    return drawn.estimate(np.asarray(tested)), drawn.estimate(np.asarray(true))


def _within(found: Estimate, wanted: float) -> bool:
    """Allow four of the estimate's own errors; 16 scramblings know theirs to a fifth."""
    return abs(found.value - wanted) <= 4.0 * found.error


def test_a_line_with_normal_scatter_has_a_closed_form() -> None:
    """Y ~ N(10 + 2 z, 2² 0.15² + 0.4²) at the middle: Φ of the margin. Source: calculated."""
    study, coding = line_brief({"y": {"at_most": 10.5}}, scatter_sd=0.15)
    model = make_risk_model(study, coding, {"y": certain(coding, "y", [10.0, 2.0], 0.4)})
    found = _chances(model)[0]

    assert found.error < 0.002
    assert _within(found, stats.norm.cdf(0.5 / np.hypot(2 * 0.15, 0.4)))


def test_the_error_that_is_stated_is_the_error_that_is_made() -> None:
    """Over 12 seeds the misses are as large as stated, two thirds of them within one error."""
    study, coding = line_brief({"y": {"at_most": 10.5}}, scatter_sd=0.15)
    model = make_risk_model(study, coding, {"y": certain(coding, "y", [10.0, 2.0], 0.4)})
    wanted = stats.norm.cdf(0.5 / np.hypot(2 * 0.15, 0.4))
    ratios = []
    for seed in range(12):
        drawn = draw_batches(model, AT, DrawPlan(draws=1024, seed=seed))
        found = drawn.estimate(model.met(drawn.tested)[:, 0])
        ratios.append((found.value - wanted) / found.error)
    assert 0.5 < float(np.std(ratios)) < 1.7


def test_a_log_spaced_dose_scatters_by_equal_ratios() -> None:
    """Y = 10 + 2 ln(x)/ln√3 coded, ln x ~ N(ln 1.7, (0.2/1.7)²). Source: calculated."""
    study, coding = line_brief({"y": {"at_most": 10.2}}, scatter_sd=0.2, spacing="log")
    model = make_risk_model(study, coding, {"y": certain(coding, "y", [10.0, 2.0], 0.3)})
    found = _chances(model, np.array([1.7]))[0]
    slope = 2.0 / (np.log(3.0) / 2.0)
    mean = 10.0 + slope * (np.log(1.7) - np.log(3.0) / 2.0)
    wanted = stats.norm.cdf((10.2 - mean) / np.hypot(slope * 0.2 / 1.7, 0.3))

    assert _within(found, wanted)


@pytest.mark.parametrize("rho", [-0.9, 0.0, 0.7])
def test_two_normals_that_go_together(rho: float) -> None:
    """Against the bivariate normal distribution of scipy."""
    limits = {"a": {"at_most": 10.3}, "b": {"at_most": 5.2}}
    study, coding = line_brief(limits)
    fits = {"a": certain(coding, "a", [10.0, 2.0], 0.4), "b": certain(coding, "b", [5.0, 1.0], 0.2)}
    shared = Shared(together={"residual": correlated("residual", "ab", [0.4, 0.2], rho)})
    found = _chances(make_risk_model(study, coding, fits, shared))[0]
    margins = np.array([0.3 / 0.4, 0.2 / 0.2])
    wanted = stats.multivariate_normal.cdf(margins, cov=[[1.0, rho], [rho, 1.0]])

    assert _within(found, wanted)


@pytest.mark.parametrize("df", [3.0, 10.0])
@pytest.mark.parametrize("at", [1.0, 2.6])
def test_a_response_by_least_squares_is_t_about_its_prediction(df: float, at: float) -> None:
    """P(y below the upper end of its 95 % run interval) = 0.975, whatever the settings.

    Law of the posterior predictive of a normal linear model, Zellner (1971), chapter 3; memory.
    """
    _, coding = line_brief({"y": {"at_most": 0.0}})
    fit = fit_of(
        coding, "y", [10.0, 2.0], model="linear", sd=2.0, covariance=np.diag([0.25, 0.5]), df=df
    )
    prediction = predict_response(fit, np.array([[at]]))
    low, high = prediction.run_interval[0]
    for accept, wanted in (({"at_most": float(high)}, 0.975), ({"at_least": float(low)}, 0.975)):
        study, _ = line_brief({"y": accept})
        model = make_risk_model(study, coding, {"y": fit})
        assert _within(_chances(model, np.array([at]))[0], wanted)
    drawn = draw_batches(model, np.array([at]), PLAN)
    found = np.quantile(drawn.tested, [0.025, 0.975])
    np.testing.assert_allclose(found, [low, high], atol=0.012 * (high - low))


@pytest.mark.parametrize("name", ["thinness", "gloss"])
def test_in_strata_a_response_is_nearly_t_and_never_surer(name: str) -> None:
    """Between 0.965 and 0.976 of new batches lie below the upper end of the 95 % run interval.

    Satterthwaite's t has one scale for two variances; drawn apart they have the wider tails of
    Behrens and Fisher. Source: calculated.
    """
    fit = two_in_batches()[1][name].fit
    at = np.array([2.4, 45.0])
    upper = float(predict_response(fit, at[None, :]).run_interval[0, 1])
    study = brief(
        [{"name": "dose", "low": 0.8, "high": 2.4}, {"name": "time", "low": 15, "high": 45}],
        [{"name": name, "accept": {"at_most": upper}}],
    )
    found = _chances(make_risk_model(study, fit.coding, {name: fit}), at)[0]
    assert 0.965 < found.value < 0.976


def test_true_values_leave_out_what_is_known_to_be_the_test() -> None:
    """A third of σ² is test: true values scatter by the other two. Source: calculated."""
    study, coding = line_brief({"y": {"at_most": 10.5}})
    fit = certain(coding, "y", [10.0, 2.0], 0.6)
    shared = Shared(test_share={"y": 1.0 / 3.0})
    chances = _chances(make_risk_model(study, coding, {"y": fit}, shared))
    for found, variance in zip(chances, (0.36, 0.24), strict=True):
        assert _within(found, stats.norm.cdf(0.5 / variance**0.5))


def test_models_on_the_same_runs_err_together() -> None:
    """With one model on one table the predictive correlates by ρ: Cov = (x'(X'X)⁻¹x + 1) Σ.

    Zellner (1971), chapter 8, from memory; here for certain variances.
    """
    study, coding = line_brief({"a": {"at_most": 0.0}, "b": {"at_most": 0.0}})
    Q = np.diag([0.4, 0.9])
    fits = {
        name: fit_of(
            coding, name, [0.0, 0.0], model="linear", sd=sd, covariance=Q * sd**2, df=np.inf
        )
        for name, sd in (("a", 2.0), ("b", 0.5))
    }
    rho = 0.6
    shared = Shared(
        together={"residual": correlated("residual", "ab", [2.0, 0.5], rho)},
        coefficients={("a", "b", "residual"): Q},
    )
    model = make_risk_model(study, coding, fits, shared)
    # Both below their own mean: 1/4 + arcsin(ρ)/2π (Sheppard 1899).
    wanted = 0.25 + np.arcsin(rho) / (2.0 * np.pi)
    for found in _chances(model, np.array([3.0])):
        assert _within(found, wanted)


def test_a_split_plot_study_agrees_with_plain_loops() -> None:
    """Draw batch by batch, from mean squares, on the runs themselves: no formula in common.

    The loop draws Wishart matrices for the two variances of a stratum, where the module lets
    single variances go together by ρ²: the errors of 3,000 loops hide what that may differ by.
    """
    data, fitted = two_in_batches()
    study = brief(
        [
            {"name": "dose", "low": 0.8, "high": 2.4, "scatter_sd": 0.15},
            {"name": "time", "low": 15, "high": 45, "unit": "min", "tolerance": 6.0},
        ],
        [
            {"name": "thinness", "accept": {"at_most": 6.95}},
            {"name": "gloss", "accept": {"at_least": 38.0}},
        ],
    )
    coding = coding_of(study)
    together = responses_together(data, fitted)
    shared = Shared(together=together, coefficients=coefficients_together(data, fitted))
    fits = {name: one.fit for name, one in fitted.items()}
    at = np.array([1.6, 30.0])
    found = _chances(make_risk_model(study, coding, fits, shared), at)

    y = np.stack([np.ravel(data[name].repeats) for name in fits], axis=1)
    wanted = _loops(y, fits, together["batch"].correlation, together["residual"].correlation, at)
    error = (wanted * (1 - wanted) / LOOPS) ** 0.5
    assert 0.2 < wanted[0] < 0.9
    assert abs(found[0].value - wanted[0]) < 4 * error[0]
    assert abs(found[1].value - wanted[1]) < 4 * error[1]


LOOPS = 3_000


def _loops(
    y: FloatArray, fits: Mapping[str, Fit], R_batch: FloatArray, R_own: FloatArray, at: FloatArray
) -> FloatArray:
    """Draw production batches one by one: share that meets both limits, tested and true."""
    rng = np.random.default_rng(8)
    per, b = len(TIMES), len(DOSES)
    Z = np.repeat(np.eye(b), per, axis=0)
    settings = np.stack([np.repeat(DOSES, per), np.tile(TIMES, b)], axis=1)
    X = [model_matrix(settings, fit.coding, fit.model) for fit in fits.values()]
    # Balanced: least squares are the estimates, mean squares tell the strata.
    A = [np.linalg.pinv(x) for x in X]
    left = np.stack([y[:, i] - X[i] @ (A[i] @ y[:, i]) for i in range(2)], axis=1)
    means = Z.T @ left / per
    inside = left - Z @ means
    between_df = [b - 2, b - 2]
    within_df = [b * per - b - (x.shape[1] - 2) for x in X]
    ms_between = per * (means**2).sum(axis=0) / between_df
    ms_within = (inside**2).sum(axis=0) / within_df
    roots = [np.linalg.cholesky(R) for R in (R_batch, R_own)]
    met = np.zeros(2)
    for _ in range(LOOPS):
        squares = [
            (rng.standard_normal((max(df), 2)) @ root.T) ** 2
            for df, root in zip((between_df, within_df), roots, strict=True)
        ]
        lam = [ms_between[i] * between_df[i] / squares[0][: between_df[i], i].sum() for i in (0, 1)]
        own = [ms_within[i] * within_df[i] / squares[1][: within_df[i], i].sum() for i in (0, 1)]
        sd_own = np.sqrt(own)
        sd_batch = np.sqrt([max(lam[i] - own[i], 0.0) / per for i in (0, 1)])
        noise = Z @ (rng.standard_normal((b, 2)) @ roots[0].T * sd_batch)
        noise += rng.standard_normal((b * per, 2)) @ roots[1].T * sd_own
        made = np.array([[rng.normal(at[0], 0.15), rng.normal(at[1], 3.0)]])
        new_batch = roots[0] @ rng.standard_normal(2) * sd_batch
        new_own = roots[1] @ rng.standard_normal(2) * sd_own
        true = np.array(
            [
                (model_matrix(made, fit.coding, fit.model) @ (A[i] @ (y[:, i] + noise[:, i])))[0]
                for i, fit in enumerate(fits.values())
            ]
        )
        true = true + new_batch
        for k, value in enumerate((true + new_own, true)):
            met[k] += value[0] <= 6.95 and value[1] >= 38.0
    return met / LOOPS


def test_a_tested_rating_is_accepted_as_often_as_its_probability_says() -> None:
    """With nothing uncertain the joint probability is the logistic itself. Source: calculated."""
    study = brief(
        [{"name": "dose", "low": 1.0, "high": 3.0}],
        [{"name": "y", "kind": "rating", "accept": {"at_most": 1}}],
    )
    coding = coding_of(study)
    part = OrdinalPart(
        classes=(0.0, 2.0), surfaces=np.array([[0.8, 0.3]]), covariances=np.zeros((1, 2, 2)),
        accepted=np.array([True, False]),
    )  # fmt: skip
    fit = replace(
        certain(coding, "y", [0.8, 0.3], 0.0),
        scale=Scale(name="logit", bounds=(0.0, 1.0)), family="ordinal", method="ml", classes=part,
    )  # fmt: skip
    model = make_risk_model(study, coding, {"y": fit})
    tested, true = _chances(model)

    assert _within(tested, 1 / (1 + np.exp(-0.8)))
    assert true.value == 1.0
    risk = assess_risk(model, AT, DrawPlan(draws=1024))
    assert risk.per_response[0].expected == pytest.approx(1 / (1 + np.exp(-0.8)))


@pytest.mark.parametrize("alpha", [0.0, 0.4])
def test_a_tested_count_scatters_by_its_own_law(alpha: float) -> None:
    """Mean of two counts about 3: Poisson, or negative binomial, of their sum. Calculated."""
    study = brief(
        [{"name": "dose", "low": 1.0, "high": 3.0}],
        [{"name": "y", "kind": "count", "accept": {"at_most": 4}}],
    )
    coding = coding_of(study)
    fit = replace(
        certain(coding, "y", [np.log(3.0), 0.0], 0.0),
        scale=Scale(name="log"), family="count", method="ml", repeats=2,
        counts=CountPart(overdispersion=alpha),
    )  # fmt: skip
    found = _chances(make_risk_model(study, coding, {"y": fit}))[0]
    wanted = stats.poisson.cdf(8, 6.0)
    if alpha:
        wanted = stats.nbinom.cdf(8, 1 / alpha, (1 / alpha) / (1 / alpha + 6.0))
    assert _within(found, wanted)


def test_a_fit_without_anything_to_judge_it_by_is_left_out() -> None:
    """As many terms as runs: no scatter is known, and the others go on without it."""
    study, coding = line_brief({"a": {"at_most": 10.5}, "b": {"at_most": 1.0}})
    good = certain(coding, "a", [10.0, 2.0], 0.4)
    bad = replace(
        certain(coding, "b", [0.0, 0.0], 1.0),
        covariance=np.full((2, 2), np.nan), component_df={"residual": 0.0},
    )  # fmt: skip
    model = make_risk_model(study, coding, {"a": good, "b": bad})

    assert model.names == ("a",)
    assert "nothing is left to tell the scatter by" in model.left_out["b"]
    with pytest.raises(OptimumError, match="no limit whose risk can be told"):
        make_risk_model(study, coding, {"b": bad})


def test_the_same_seed_gives_the_same_digits_and_searches_see_the_same_number() -> None:
    """The quick way at one recipe is the whole way's own mean over its blocks."""
    study, coding = line_brief({"y": {"at_most": 10.5}}, scatter_sd=0.15)
    model = make_risk_model(study, coding, {"y": certain(coding, "y", [10.0, 2.0], 0.4)})
    plan = DrawPlan(draws=1024, seed=5)
    first, second = (assess_risk(model, AT, plan) for _ in range(2))
    quick = [probability_at(model, AT, z) for z in normal_blocks(plan, model.columns)]

    assert first.probability == second.probability
    assert first.contributions == second.contributions
    assert np.mean([one[0] for one in quick]) == pytest.approx(first.probability.value, abs=1e-12)

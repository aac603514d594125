"""Laws of risk: what holds whatever the study."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.fits.together import coefficients_together
from analysis.risk.contributions import mean_of_known
from analysis.risk.draws import DrawPlan
from analysis.risk.model import RiskModel, make_risk_model
from analysis.risk.posterior import Shared
from analysis.risk.probability import draw_batches
from analysis.risk.response_part import make_part
from analysis.risk.stated import scatter_of
from analysis.surface.predict import predict_response
from doe.model.coding import coding_of
from doe.study.brief import Study
from doe.study.settings import FloatArray
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.risk.small_studies import correlated, two_in_batches

PLAN = DrawPlan(draws=2_048, seed=7)


def _drawn_study(seed: int, slack: float) -> tuple[Study, RiskModel, FloatArray]:
    """Draw a package, two factors and two models whose scatter goes together."""
    rng = np.random.default_rng(seed)
    additives = [
        {"name": f"additive {i}", "low": 0.1, "high": 0.8, "weighing_percent": float(w)}
        for i, w in enumerate(rng.uniform(0.0, 3.0, 3))
    ]
    factors = [
        {"name": "dose", "role": "dose", "low": 1.0, "high": 3.0, "spacing": "log"},
        {"name": "pH", "low": 8.0, "high": 9.5, "scatter_sd": float(rng.uniform(0, 0.2))},
    ]
    bare = brief(factors, [{"name": "a"}, {"name": "b"}], additives)
    coding = coding_of(bare)
    p = 10  # three shares, each with both factors, and the pair of factors
    fits = {
        name: fit_of(coding, name, rng.standard_normal(p), model="interactions", df=6.0)
        for name in ("a", "b")
    }
    at = np.array([0.3, 0.5, 0.2, 1.7, 8.8])
    goals = [
        {"name": name, "accept": {"at_most": float(predict_response(f, at[None]).value[0]) + slack}}
        for name, f in fits.items()
    ]
    study = brief(factors, goals, additives)
    rho = float(rng.uniform(-1, 1))
    shared = Shared(
        together={"residual": correlated("residual", "ab", [1.0, 1.0], rho)},
        coefficients={("a", "b", "residual"): 0.1 * np.eye(p)},
    )
    return study, make_risk_model(study, coding, fits, shared), at


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 10_000))
def test_joint_probability_lies_between_its_bounds(seed: int) -> None:
    """No more than the least single one, no less than Bonferroni leaves.

    And a wider limit is met at least as often, draw by draw.
    """
    met = {}
    for slack in (0.3, 0.9):
        _, model, at = _drawn_study(seed, slack)
        drawn = draw_batches(model, at, PLAN)
        assert np.isfinite(drawn.tested).all()
        single = model.met(drawn.tested)
        joint = single.all(axis=1)
        assert joint.mean() <= single.mean(axis=0).min()
        assert joint.mean() >= 1.0 - (1.0 - single.mean(axis=0)).sum() - 1e-12
        met[slack] = joint
    assert (met[0.9] >= met[0.3]).all()


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_shares_keep_their_sum_and_no_draw_is_the_recipe(seed: int) -> None:
    """Whatever is weighed wrong, shares add to 1; with nothing drawn the settings are as set."""
    study, model, at = _drawn_study(seed, 0.5)
    scatter = scatter_of(study, model.coding)
    z = np.random.default_rng(seed).standard_normal((50, len(scatter.sources)))
    made = scatter.settings(at, z)
    np.testing.assert_allclose(made[:, :3].sum(axis=1), 1.0, atol=1e-12)
    assert (made[:, :3] >= 0.0).all()
    np.testing.assert_allclose(scatter.settings(at, 0.0 * z[:1])[0], at, rtol=1e-14)


@pytest.mark.parametrize("name", ["thinness", "gloss"])
def test_a_response_hangs_together_with_itself_as_its_own_fit_says(name: str) -> None:
    """The same readings under two names: A G A' of the pair is ∂Φ/∂σ² of Kenward and Roger."""
    data, fitted = two_in_batches()
    twice = coefficients_together(
        {"one": data[name], "two": data[name]}, {"one": fitted[name], "two": fitted[name]}
    )
    known = fitted[name].fit.adjustment
    assert known is not None
    for k, stratum in enumerate(known.strata):
        size = np.abs(known.slopes[k]).max()
        np.testing.assert_allclose(twice["one", "two", stratum], known.slopes[k], atol=1e-8 * size)


def test_coefficients_of_two_responses_have_a_covariance() -> None:
    """In each stratum the joint matrix of both has no negative direction."""
    data, fitted = two_in_batches()
    pairs = coefficients_together(data, fitted)
    one, other = (make_part(fitted[name].fit) for name in ("thinness", "gloss"))
    for k, stratum in enumerate(one.strata):
        M = pairs["thinness", "gloss", stratum]
        joint = np.block([[one.spread[k], M], [M.T, other.spread[k]]])
        # Coefficients that are told within batches alone have no part in those of the batch.
        told = np.diag(joint) > 1e-12 * np.diag(joint).max()
        size = np.sqrt(np.diag(joint)[told])
        values = np.linalg.eigvalsh(joint[np.ix_(told, told)] / np.outer(size, size))
        assert values[0] > -1e-8


def test_means_pass_over_what_is_not_known() -> None:
    """A recipe that cannot be made has no value; a column without any gives 0."""
    values = np.array([[1.0, np.nan], [3.0, np.inf]])
    np.testing.assert_array_equal(mean_of_known(values), [2.0, 0.0])

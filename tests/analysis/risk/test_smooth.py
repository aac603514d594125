"""The smooth joint probability against what counting gives, and against closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.fits.fit import Scale
from analysis.fits.likelihood.parts import CountPart, OrdinalPart
from analysis.fits.together import coefficients_together, responses_together
from analysis.risk.draws import DrawPlan
from analysis.risk.model import RiskModel, make_risk_model
from analysis.risk.posterior import Shared
from analysis.risk.probability import draw_batches
from analysis.risk.smooth import make_chance
from doe.model.coding import coding_of
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.risk.small_studies import certain, correlated, line_brief, two_in_batches

FEW = DrawPlan(draws=1024, scramblings=8, seed=5)
MANY = DrawPlan(draws=16_384, seed=3)


def split_plot_model(gloss: float = 38.0) -> RiskModel:
    """Two responses over batches of three samples, settings that scatter, limits on three sides."""
    data, fitted = two_in_batches()
    study = brief(
        [
            {"name": "dose", "low": 0.8, "high": 2.4, "scatter_sd": 0.15},
            {"name": "time", "low": 15, "high": 45, "unit": "min", "tolerance": 6.0},
        ],
        [
            {"name": "thinness", "accept": {"at_most": 6.95, "at_least": 6.0}},
            {"name": "gloss", "accept": {"at_least": gloss}},
        ],
    )
    shared = Shared(
        together=responses_together(data, fitted),
        coefficients=coefficients_together(data, fitted),
    )
    fits = {name: one.fit for name, one in fitted.items()}
    return make_risk_model(study, coding_of(study), fits, shared)


@pytest.mark.parametrize("tested", [True, False])
def test_a_split_plot_study_gives_the_probability_that_counting_gives(tested: bool) -> None:
    """The same batches, integrated over their last normal draws instead of counted."""
    model, at = split_plot_model(), np.array([1.8, 22.0])
    drawn = draw_batches(model, at, MANY)
    met = model.met(drawn.tested if tested else drawn.true).all(axis=1)
    counted = drawn.estimate(np.asarray(met))
    found = make_chance(model, FEW).estimate(at, tested=tested)
    assert 0.1 < counted.value < 0.9
    assert abs(found.value - counted.value) < 4.0 * np.hypot(found.error, counted.error)
    # A sixteenth of the draws and still no less sure.
    assert found.error < 2.0 * counted.error


def test_two_certain_normals_need_hardly_any_draws() -> None:
    """Bivariate normal of scipy, by 128 draws to four digits."""
    study, coding = line_brief({"a": {"at_most": 10.3}, "b": {"at_least": 5.2}})
    fits = {"a": certain(coding, "a", [10.0, 2.0], 0.4), "b": certain(coding, "b", [5.0, 1.0], 0.2)}
    shared = Shared(together={"residual": correlated("residual", "ab", [0.4, 0.2], 0.7)})
    model = make_risk_model(study, coding, fits, shared)
    found = make_chance(model, DrawPlan(draws=128, scramblings=2)).probability(np.array([[2.0]]))
    wanted = stats.multivariate_normal.cdf([0.75, -1.0], cov=[[1.0, -0.7], [-0.7, 1.0]])
    assert found[0] == pytest.approx(wanted, abs=1e-4)


def test_differences_between_neighbours_have_the_slope_of_the_closed_form() -> None:
    """dP/dx of Φ((10.5 − 10 − 2z)/sd), steps of a thousandth; counted draws would jump."""
    study, coding = line_brief({"y": {"at_most": 10.5}})
    model = make_risk_model(study, coding, {"y": certain(coding, "y", [10.0, 2.0], 0.4)})
    x = 2.0 + 1e-3 * np.arange(-2, 3)
    p = make_chance(model, DrawPlan(draws=64, scramblings=1)).probability(x[:, None])
    slope = stats.norm.pdf(0.5 / 0.4) * -2.0 / 0.4
    assert np.diff(p) / 1e-3 == pytest.approx(slope, rel=0.02)


def test_a_hopeless_recipe_still_tells_which_way_is_better() -> None:
    """Forty standard deviations beyond the limit the deviate goes on, and rises towards it."""
    study, coding = line_brief({"y": {"at_most": -10.0}})
    model = make_risk_model(study, coding, {"y": certain(coding, "y", [10.0, 2.0], 0.4)})
    deviate = make_chance(model, FEW).deviate(np.array([[1.0], [2.0], [3.0]]))
    assert deviate == pytest.approx([-45.0, -50.0, -55.0], rel=0.01)


def test_limits_beyond_the_end_of_a_scale_are_always_or_never_met() -> None:
    """A logarithm cannot fall below 0, whatever its limit says."""
    for accept, wanted in (({"at_least": 0.0}, 1.0), ({"at_most": -1.0}, 0.0)):
        study, coding = line_brief({"y": accept})
        fit = fit_of(
            coding, "y", [0.0, 1.0], model="linear", sd=0.5, covariance=np.zeros((2, 2)),
            df=np.inf, scale=Scale(name="log"),
        )  # fmt: skip
        chance = make_chance(make_risk_model(study, coding, {"y": fit}), FEW)
        assert chance.probability(np.array([[2.0]]))[0] == pytest.approx(wanted, abs=1e-12)


@pytest.mark.parametrize("alpha", [0.0, 0.4])
def test_counts_and_ratings_are_told_by_their_own_law(alpha: float) -> None:
    """Mean of two counts between limits, and the logistic; nothing else uncertain. calculated."""
    study = brief(
        [{"name": "dose", "low": 1.0, "high": 3.0}],
        [
            {"name": "specks", "kind": "count", "accept": {"at_most": 3, "at_least": 1}},
            {"name": "look", "kind": "rating", "accept": {"at_most": 1}},
        ],
    )
    coding = coding_of(study)
    counted = replace(
        certain(coding, "specks", [0.8, 0.3], 0.0), scale=Scale(name="log"), family="count",
        method="ml", counts=CountPart(overdispersion=alpha), repeats=2,
    )  # fmt: skip
    rated = replace(
        certain(coding, "look", [0.8, 0.3], 0.0), scale=Scale(name="logit", bounds=(0.0, 1.0)),
        family="ordinal", method="ml",
        classes=OrdinalPart(
            classes=(0.0, 2.0), surfaces=np.array([[0.8, 0.3]]), covariances=np.zeros((1, 2, 2)),
            accepted=np.array([True, False]),
        ),
    )  # fmt: skip
    chance = make_chance(make_risk_model(study, coding, {"specks": counted, "look": rated}), FEW)
    total = 2.0 * np.exp(0.8)
    law = stats.nbinom(1 / alpha, 1 / (1 + alpha * total)) if alpha else stats.poisson(total)
    wanted = (law.cdf(6) - law.cdf(1)) / (1.0 + np.exp(-0.8))
    at = np.array([[2.0]])
    assert chance.probability(at)[0] == pytest.approx(wanted, rel=1e-9)
    assert chance.probability(at, tested=False)[0] == pytest.approx(1.0)

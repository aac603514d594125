"""Which source contributes most: parts of variance and of risk against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.fits.fit import Scale
from analysis.risk.contributions import drawn_variance
from analysis.risk.draws import DrawPlan
from analysis.risk.model import make_risk_model
from analysis.risk.posterior import Shared
from analysis.risk.probability import assess_risk
from analysis.risk.transmitted import transmitted_variance
from doe.model.coding import coding_of
from doe.model.matrix import model_columns
from doe.model.terms import make_model
from tests.analysis.choice.problems import brief, fit_of

PLAN = DrawPlan(draws=2_048, seed=2)
A = {"name": "a", "low": -1.0, "high": 1.0}


def test_filtration_rate_of_a_robust_design() -> None:
    """Var = 136.42 − 195.88 c + 179.66 s − 150.58 c s + 82.08 c² + 69.06 s², temperature as noise.

    Montgomery, Design and Analysis of Experiments, pilot plant filtration rate with temperature
    hard to control, from memory and re-derived: y = 70.06 + 10.81 t + 4.94 c + 7.31 s − 9.06 c t +
    8.31 s t, σ_t = 1, σ² = 19.51. Tolerance: what its rounded coefficients leave of 136.42.
    """
    study = brief(
        [
            {**A, "name": "t", "noise": True, "production": {"mean": 0.0, "sd": 1.0}},
            {**A, "name": "c"},
            {**A, "name": "s"},
        ],
        [{"name": "rate", "accept": {"at_least": 50.0}}],
    )
    coding = coding_of(study)
    known = {"": 70.06, "t": 10.81, "c": 4.94, "s": 7.31, "ct": -9.06, "st": 8.31}
    columns = model_columns(make_model("interactions", coding), coding)
    b = [known.get("".join(sorted(column.term.names)), 0.0) for column in columns]
    p = len(columns)
    fit = fit_of(
        coding, "rate", b, model="interactions", sd=19.51**0.5, covariance=np.zeros((p, p)),
        df=np.inf,
    )  # fmt: skip
    model = make_risk_model(study, coding, {"rate": fit})
    for c, s in ((0.0, 0.0), (1.0, 0.0), (0.0, -1.0), (1.0, -1.0), (0.5, 0.7)):
        printed = 136.42 - 195.88 * c + 179.66 * s - 150.58 * c * s + 82.08 * c**2 + 69.06 * s**2
        found = transmitted_variance(model, np.array([np.nan, c, s]))[0]
        assert found.variance == pytest.approx(printed, abs=0.08)
        drawn = drawn_variance(model, np.array([np.nan, c, s]), PLAN)
        # Linear in the noise: formula and draws agree.
        assert drawn.variance[0] == pytest.approx(found.variance, rel=0.01)


def test_a_source_costs_what_the_closed_form_says() -> None:
    """Y ~ N(10, 0.3² + 0.2² + 0.5² + 0.1²): without each Φ of the margin over the rest."""
    study = brief(
        [{**A, "scatter_sd": 0.3}, {**A, "name": "b", "scatter_sd": 0.1}],
        [{"name": "y", "accept": {"at_most": 10.6}}],
    )
    coding = coding_of(study)
    fit = fit_of(
        coding, "y", [10.0, 1.0, 2.0], model="linear", sd=0.5, df=np.inf,
        covariance=np.diag([0.01, 0.0, 0.0]),
    )  # fmt: skip
    model = make_risk_model(study, coding, {"y": fit}, Shared(test_share={"y": 0.36}))
    risk = assess_risk(model, np.zeros(2), PLAN)
    variances = {
        "setting of a": 0.09, "setting of b": 0.04, "batch": 0.16, "test": 0.09, "models": 0.01,
    }  # fmt: skip
    whole = sum(variances.values())
    found = {one.source: one for one in risk.contributions}

    assert set(found) == set(variances)
    assert risk.contributions[0].source == "batch"
    for name, variance in variances.items():
        one, share = found[name], found[name].shares["y"]
        wanted = stats.norm.cdf(0.6 / (whole - variance) ** 0.5)
        assert abs(one.probability_without - wanted) < 4 * one.gain.error + 0.003
        assert share.by_formula == pytest.approx(variance / whole, rel=1e-6)
        assert share.alone == pytest.approx(variance / whole, abs=0.02)
        assert share.in_all == pytest.approx(variance / whole, abs=0.01)


def test_curvature_shows_where_the_formula_sees_none() -> None:
    """Y = a² at its bottom: nothing by formula, Var(a²) = 2 σ⁴ by draws, and σ² of strata."""
    study = brief([{**A, "scatter_sd": 0.4}], [{"name": "y", "accept": {"at_most": 1.0}}])
    coding = coding_of(study)
    fit = fit_of(
        coding, "y", [0.0, 0.0, 1.0], model="quadratic", sd=0.1, df=np.inf,
        covariance=np.zeros((3, 3)),
    )  # fmt: skip
    model = make_risk_model(study, coding, {"y": fit})
    by_formula = transmitted_variance(model, np.zeros(1))[0]
    drawn = drawn_variance(model, np.zeros(1), DrawPlan(draws=16_384, seed=2))

    assert by_formula.by_source["setting of a"] == pytest.approx(0.0, abs=1e-12)
    assert by_formula.variance == pytest.approx(0.01)
    assert drawn.variance[0] == pytest.approx(2 * 0.4**4 + 0.01, rel=0.02)
    assert drawn.in_all[0, 0] == pytest.approx(2 * 0.4**4 / (2 * 0.4**4 + 0.01), abs=0.02)


def test_slopes_are_taken_back_to_the_unit_of_the_response() -> None:
    """On the logarithm Var(y) = y² Var(ln y) to first order (GUM, 5.1.6). Source: calculated."""
    study = brief([{**A, "scatter_sd": 0.2}], [{"name": "y", "accept": {"at_most": 40.0}}])
    coding = coding_of(study)
    fit = fit_of(
        coding, "y", [3.0, 0.5], model="linear", sd=0.04, scale=Scale(name="log"), df=np.inf,
        covariance=np.zeros((2, 2)),
    )  # fmt: skip
    model = make_risk_model(study, coding, {"y": fit})
    found = transmitted_variance(model, np.zeros(1))[0]
    assert found.sd == pytest.approx(np.exp(3.0) * np.hypot(0.5 * 0.2, 0.04), rel=1e-6)

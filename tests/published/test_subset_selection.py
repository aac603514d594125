"""Best subsets of the cement data, and the weights of models that are nearly as good.

Sources:
    Draper and Smith (1998), Applied Regression Analysis, 3rd ed., chapter 15: residual sums of
    squares of all 15 regressions (from memory). Burnham and Anderson (2002), Model Selection and
    Multimodel Inference, 2nd ed., section 3.2: order, AICc differences and weights of the models of
    the same data (from memory). Weights by hand: exp(−Δ/2) over their sum (calculated).
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.fits.candidates import candidates_of
from analysis.fits.fit import Scale
from analysis.fits.fitted_response import fit_response, table_of
from analysis.fits.near_models import average_at, near_models
from analysis.fits.ranking import Ranked, rank_models
from analysis.fits.selection import reduce_model
from doe.model.matrix import model_matrix
from doe.model.terms import Model, make_model, term_label
from tests.analysis.fits.adopted_table import adopt, range_factor, reference_rows, study_of

CEMENT = "hald-cement-vif"
NAMES = ("x1", "x2", "x3", "x4")
RESIDUAL_SS = {
    ("x4",): 883.87, ("x2",): 906.34, ("x1",): 1265.69, ("x3",): 1939.40, ("x1", "x2"): 57.90,
    ("x1", "x4"): 74.76, ("x3", "x4"): 175.74, ("x1", "x2", "x4"): 47.97,
    ("x1", "x2", "x3"): 48.11, ("x1", "x3", "x4"): 50.84, ("x2", "x3", "x4"): 73.81,
    ("x1", "x2", "x3", "x4"): 47.86,
}  # fmt: skip
# Differences of AICc and weights among all models, the best first.
NEAR = (
    (("x1", "x2"), 0.0, 0.567),
    (("x1", "x2", "x4"), 3.13, 0.119),
    (("x1", "x2", "x3"), 3.16, 0.116),
    (("x1", "x4"), 3.32, 0.107),
    (("x1", "x3", "x4"), 3.88, 0.081),
)


def _factors(model: Model) -> tuple[str, ...]:
    return tuple(term_label(term) for term in model.terms if term.powers)


@pytest.fixture(scope="module")
def ranked() -> Ranked:
    """All models of the cement data, linear in their own units."""
    study = study_of(factors=[range_factor(name, 0, 80) for name in NAMES])
    data, coding = adopt(study, reference_rows(CEMENT), "y")
    full = make_model("linear", coding)
    return rank_models(
        candidates_of(data, coding, Scale(), table_of(data, coding, full)[0]), full, coding
    )


def test_residual_sums_of_squares_are_the_printed_ones(ranked: Ranked) -> None:
    """From AICc back to the sum: n ln(RSS/n) is what is left after the constant and the penalty."""
    n = 13
    found = {}
    for model, aicc in ranked.models:
        k = len(model.terms) + 1
        fit = aicc - 2 * k - 2 * k * (k + 1) / (n - k - 1) - n * (math.log(2 * math.pi) + 1)
        found[_factors(model)] = n * math.exp(fit / n)

    assert ranked.seen == 16
    for factors, printed in RESIDUAL_SS.items():
        assert found[factors] == pytest.approx(printed, abs=0.006)


def test_order_and_weights_are_the_printed_ones(ranked: Ranked) -> None:
    """Five models within 7 of the best; the printed weights are over all 15 with a factor."""
    first = ranked.models[0][1]
    total = sum(math.exp((first - aicc) / 2) for _, aicc in ranked.models)
    near = near_models(ranked)

    assert len(near) == len(NEAR)
    for one, (factors, difference, weight) in zip(near, NEAR, strict=True):
        assert _factors(one.model) == factors
        assert one.aicc - first == pytest.approx(difference, abs=0.006)
        assert math.exp((first - one.aicc) / 2) / total == pytest.approx(weight, abs=0.0015)
    by_hand = [math.exp(-difference / 2) for _, difference, _ in NEAR]
    assert [one.weight for one in near] == pytest.approx(
        [part / sum(by_hand) for part in by_hand], abs=0.002
    )


def test_average_and_its_error_by_hand(ranked: Ranked) -> None:
    """Section 4.3.1: Σ w ŷ, and Σ w √(var + (ŷ − ȳ)²), from fits of each model alone."""
    study = study_of(factors=[range_factor(name, 0, 80) for name in NAMES])
    data, coding = adopt(study, reference_rows(CEMENT), "y")
    at = np.array([[10.0, 50.0, 10.0, 30.0]])
    near = near_models(ranked)
    values, errors = [], []
    for one in near:
        fit = fit_response(data, coding, model=one.model).fit
        row = model_matrix(at, coding, one.model)[0]
        values.append(float(row @ fit.coefficients))
        errors.append(float(row @ fit.covariance @ row) ** 0.5)
    weights = [one.weight for one in near]
    mean = sum(w * v for w, v in zip(weights, values, strict=True))
    error = sum(
        w * math.hypot(e, v - mean) for w, v, e in zip(weights, values, errors, strict=True)
    )
    averaged = average_at(near, coding, at)

    assert averaged.value[0] == pytest.approx(mean, rel=1e-9)
    assert averaged.std_error[0] == pytest.approx(error, rel=1e-9)


def test_the_best_model_is_chosen_whatever_the_way_down() -> None:
    """Backward comes to x1 and x2 by way of x1, x2 and x4; so does looking at all models."""
    study = study_of(factors=[range_factor(name, 0, 80) for name in NAMES])
    data, coding = adopt(study, reference_rows(CEMENT), "y")
    full = make_model("linear", coding)
    for by in ("best", "backward"):
        model, steps = reduce_model(data, coding, full, scale=Scale(), by=by)
        assert _factors(model) == ("x1", "x2")
        assert [step.terms for step in steps] == [("x3",), ("x4",)]

"""Two-response compromises: the printing process of Box and Draper, mean against scatter.

Sources: models of Vining, G. and Myers, R. (1990), Journal of Quality Technology 22, 38-45, of the
data in Box and Draper (1987); answers in the cube of Lin, D. and Tu, W. (1995), Journal of Quality
Technology 27, 34-39 (least mean squared error from the target of 500), and of Del Castillo, E. and
Montgomery, D. (1993), Journal of Quality Technology 25, 199-204 (least scatter at a mean of 500).
All numbers from memory; that both answers follow from the coefficients to their printed digits
speaks for the memory. Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from analysis.choice.dominance import matched_within
from analysis.choice.frontier import Frontier, find_frontier
from doe.model.coding import coding_of
from doe.model.matrix import model_columns
from doe.model.terms import make_model
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.choice.searches import search_in

MEAN = {
    "intercept": 327.6, "x1": 177.0, "x2": 109.4, "x3": 131.5, "x1^2": 32.0, "x2^2": -22.4,
    "x3^2": -29.1, "x1:x2": 66.0, "x1:x3": 75.5, "x2:x3": 43.6,
}  # fmt: skip
SCATTER = {
    "intercept": 34.9, "x1": 11.5, "x2": 15.3, "x3": 29.2, "x1^2": 4.2, "x2^2": -1.3,
    "x3^2": 16.8, "x1:x2": 7.7, "x1:x3": 5.1, "x2:x3": 14.1,
}  # fmt: skip
FACTORS = [{"name": f"x{i}", "low": -1.0, "high": 1.0} for i in (1, 2, 3)]
GOALS = [
    {"name": "mean", "aim": "target", "worst_low": 400.0, "best": 500.0, "worst_high": 600.0},
    {"name": "scatter", "aim": "low", "worst": 80.0, "best": 30.0},
]
LEAST_ERROR, AT_TARGET = (494.44, 44.43), (500.0, 45.097)


@cache
def frontier() -> Frontier:
    """The recipes that nothing beats in distance from the target and in scatter."""
    study = brief(FACTORS, GOALS)
    coding = coding_of(study)
    columns = model_columns(make_model("quadratic", coding), coding)
    fits = {}
    for name, model in (("mean", MEAN), ("scatter", SCATTER)):
        given = [model[named(column.term.powers)] for column in columns]
        fits[name] = fit_of(coding, name, given)
    found = find_frontier(search_in(study, fits))
    assert found is not None
    return found


def named(powers: tuple[tuple[str, int], ...]) -> str:
    """Name a term as the tables above do."""
    parts = [name if power == 1 else f"{name}^{power}" for name, power in powers]
    return ":".join(parts) or "intercept"


def heights(mean: float, scatter: float) -> np.ndarray:
    """Put an answer on the two ramps."""
    return np.array([[1.0 - abs(mean - 500.0) / 100.0, (80.0 - scatter) / 50.0]])


@pytest.mark.parametrize("answer", [LEAST_ERROR, AT_TARGET])
def test_published_compromises_lie_on_the_frontier(answer: tuple[float, float]) -> None:
    """Matched in both responses, and beaten in none by more than the digits printed."""
    here = heights(*answer)

    assert matched_within(here, frontier().heights)[0] <= 0.01
    assert (frontier().heights - here).min(axis=1).max() <= 0.0005 + 0.005 / 50.0


def test_least_scatter_at_the_target() -> None:
    """Printed: 45.097 at (1.000, 0.1184, −0.2590), where the models give a mean of 500.15.

    So the printed digits are cut, not rounded, and one unit of the last is allowed; a general
    optimiser gives 45.09771 at (1, 0.11862, −0.25982) (calculated).
    """
    best = frontier().anchors[0]

    assert frontier().values[best, 0] == pytest.approx(500.0, abs=1e-3)
    assert frontier().values[best, 1] == pytest.approx(45.097, abs=0.001)
    assert frontier().values[best, 1] == pytest.approx(45.09771, abs=1e-5)
    np.testing.assert_allclose(frontier().settings[best], [1.0, 0.1184, -0.2590], atol=1e-3)


def test_least_mean_squared_error_on_the_frontier() -> None:
    """Printed: 2005.14 at (1.00, 0.07, −0.25), mean 494.44, scatter 44.43."""
    mean, scatter = frontier().values.T
    error = (mean - 500.0) ** 2 + scatter**2
    best = int(np.argmin(error))

    assert error[best] == pytest.approx(2005.14, abs=0.5)
    assert error.min() >= 2005.14 - 0.005
    np.testing.assert_allclose(frontier().settings[best], [1.0, 0.07, -0.25], atol=0.02)

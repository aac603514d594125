"""Efficiencies, leverage and degrees of freedom against a handbook table and closed forms.

Source: NIST/SEMATECH e-Handbook 5.5.2.1, Tables 5.1-5.2 (tests/reference/nist-d-optimal-example/).
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from doe.appraisal.information import information_of, leverages
from doe.appraisal.runs import PlanRuns, runs_of_values
from doe.model.strata import Stratum
from doe.study.settings import FloatArray

CASE = Path(__file__).parents[2] / "reference" / "nist-d-optimal-example"
PUBLISHED = {v["id"]: v for v in json.loads((CASE / "expected.json").read_text())["values"]}
ROWS = list(csv.DictReader((CASE / "data.csv").read_text(encoding="utf-8").splitlines()))
FACTORIAL = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], dtype=float)


def _matrix(which: str) -> FloatArray:
    """Expand the handbook's model: intercept, three main effects and the square of the first."""
    x = np.array([[float(r[c]) for c in ("x1", "x2", "x3")] for r in ROWS if r["set"] == which])
    return np.column_stack([np.ones(len(x)), x, x[:, 0] ** 2])


def _agrees(value: float, entry: str) -> bool:
    published = PUBLISHED[entry]
    return bool(abs(value - published["value"]) <= published["tolerance"])


def test_d_efficiency_is_the_printed_one() -> None:
    """0.6825575."""
    X = _matrix("design")

    assert _agrees(information_of(X, runs_of_values(X)).d_efficiency, "D")


def test_a_efficiency_is_one_over_the_printed_criterion() -> None:
    """2.2 = trace((X'X/n)^-1)/p."""
    X = _matrix("design")

    assert _agrees(1 / information_of(X, runs_of_values(X)).a_efficiency, "A")


def test_variances_over_the_candidates_are_the_printed_ones() -> None:
    """Average 4.6625 a run, G 1 over the twenty candidates, 0.645497 at all twelve runs."""
    X = _matrix("design")
    information = information_of(X, runs_of_values(X))
    variance = information.variance_at(_matrix("candidate"))
    n, p = X.shape

    assert _agrees(float(variance.mean()) * n, "I")
    assert _agrees(p / (n * float(variance.max())), "G")
    assert all(_agrees(float(error), "std_pred") for error in information.variance_at(X) ** 0.5)


def test_fixed_blocks_cost_no_precision_when_orthogonal() -> None:
    """A 2³ in two blocks by its three-factor product: main effects as without blocks."""
    X = np.column_stack([np.ones(8), FACTORIAL])
    blocks = Stratum(name="day", unit=(FACTORIAL.prod(axis=1) > 0).astype(np.int64), is_fixed=True)

    with_blocks = information_of(X, runs_of_values(FACTORIAL, blocks))
    without = information_of(X, runs_of_values(FACTORIAL))

    np.testing.assert_allclose(
        with_blocks.covariance[1:, 1:], without.covariance[1:, 1:], atol=1e-12
    )


def test_a_factor_that_follows_the_blocks_cannot_be_told() -> None:
    """A factor that changes from day to day only, with days as fixed blocks."""
    X = np.column_stack([np.ones(8), FACTORIAL])
    blocks = Stratum(name="day", unit=(FACTORIAL[:, 0] > 0).astype(np.int64), is_fixed=True)

    found = information_of(X, runs_of_values(FACTORIAL, blocks))

    assert found.estimable == (True, False, True, True)
    assert found.d_efficiency == 0.0


def test_a_batch_factor_pays_for_the_scatter_between_batches() -> None:
    """Split-plot 2 × 2, 4 batches of 2: variance of a batch effect (ρ + ½)/4, within 1/8."""
    dose = np.repeat([-1.0, 1.0, -1.0, 1.0], 2)
    time = np.tile([-1.0, 1.0], 4)
    X = np.column_stack([np.ones(8), dose, time])
    batch = Stratum(name="batch", unit=np.repeat([1, 2, 3, 4], 2))

    found = information_of(X, runs_of_values(X[:, 1:], batch), 3.0)

    np.testing.assert_allclose(np.diag(found.covariance), [3.5 / 4, 3.5 / 4, 1 / 8], rtol=1e-12)


def test_columns_that_cannot_be_told_apart_are_named() -> None:
    """Two equal columns: neither is estimable, the rest is."""
    x = np.array([-1.0, 1.0, -1.0, 1.0])
    X = np.column_stack([np.ones(4), x, x, [-1.0, -1.0, 1.0, 1.0]])

    found = information_of(X, runs_of_values(X))

    assert found.estimable == (True, False, False, True)
    assert not found.is_full


def test_leverage_is_the_diagonal_of_the_hat_matrix() -> None:
    """Against X (X'X)^-1 X' written out."""
    X = _matrix("design")
    hat = X @ np.linalg.inv(X.T @ X) @ X.T

    leverage = leverages(X, runs_of_values(X), 1.0)

    np.testing.assert_allclose(leverage, np.diag(hat), atol=1e-12)
    assert leverage.sum() == pytest.approx(5.0)


def test_controls_and_blocks_are_estimated_beside_the_model() -> None:
    """Two controls, unevenly over three fixed days: the inverse of everything fitted together."""
    rng = np.random.default_rng(3)
    day = np.array([1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 3])
    control = ("", "", "", "old", "", "", "", "new", "", "", "old", "old", "new")
    is_design = np.array([name == "" for name in control])
    X = np.column_stack([np.ones(8), rng.normal(size=8)])
    runs = PlanRuns(
        values=np.zeros((13, 1)),
        run=tuple(range(1, 14)),
        control=control,
        units=(Stratum(name="day", unit=day, is_fixed=True),),
    )
    whole = np.zeros((13, 6))
    whole[is_design, :2] = X
    whole[:, 2] = [name == "old" for name in control]
    whole[:, 3] = [name == "new" for name in control]
    whole[:, 4] = (day == 1).astype(float) - (day == 3)
    whole[:, 5] = (day == 2).astype(float) - (day == 3)

    found = information_of(X, runs)

    np.testing.assert_allclose(found.covariance, np.linalg.inv(whole.T @ whole)[:2, :2], rtol=1e-10)
    hat = whole @ np.linalg.inv(whole.T @ whole) @ whole.T
    np.testing.assert_allclose(leverages(X, runs, 1.0), np.diag(hat), atol=1e-10)


def test_leverage_under_random_batches_is_that_of_generalised_least_squares() -> None:
    """Martin (1992): the diagonal of X (X'V^-1 X)^-1 X'V^-1, written out."""
    rng = np.random.default_rng(4)
    batch = np.repeat([1, 2, 3, 4], 3)
    X = np.column_stack([np.ones(12), rng.normal(size=12), rng.normal(size=4)[batch - 1]])
    V = np.eye(12) + 2.5 * (batch[:, None] == batch[None, :])
    W = np.linalg.inv(V)
    hat = X @ np.linalg.inv(X.T @ W @ X) @ X.T @ W
    runs = runs_of_values(X, Stratum(name="batch", unit=batch))

    np.testing.assert_allclose(leverages(X, runs, 2.5), np.diag(hat), atol=1e-10)

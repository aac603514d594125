"""The exchange of rows against printed optimal designs and their criteria.

Sources: NIST/SEMATECH e-Handbook 5.5.2.1 (tests/reference/nist-d-optimal-example); Wheeler's notes
on algorithmic design (tests/reference/algdesign-exact-designs). A search must do at least as well
as what is printed; tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from doe.layouts.optimal.criterion import criterion_value, make_criterion
from doe.layouts.optimal.exchange import Search, best_rows
from doe.study.settings import FloatArray

REFERENCE = Path(__file__).parents[1] / "reference"


def _quadratic(x: FloatArray) -> FloatArray:
    k = x.shape[1]
    pairs = [x[:, i] * x[:, j] for i in range(k) for j in range(i, k)]
    return np.column_stack([np.ones(len(x)), x, *pairs])


def test_the_search_reaches_the_handbook_d_optimal_plan() -> None:
    """Twelve of twenty candidates, three main effects and one square: D = 0.6825575."""
    table = pd.read_csv(REFERENCE / "nist-d-optimal-example" / "data.csv")
    x = table.loc[table["set"] == "candidate", ["x1", "x2", "x3"]].to_numpy(dtype=np.float64)
    X = np.column_stack([np.ones(len(x)), x, x[:, 0] ** 2])
    found = best_rows(X, 12, make_criterion("D", X), Search(starts=20, seed=1))

    assert abs(-found.value - 0.6825575) <= 0.5e-7


def test_the_search_reaches_the_printed_quadratic_plans_on_five_levels() -> None:
    """Fifteen runs of a quadratic in three factors on −2 … 2: D ≥ 3.675919, I ≤ 8.096772."""
    X = _quadratic(np.array(list(product(range(-2, 3), repeat=3)), dtype=np.float64))
    search = Search(starts=60, seed=3)
    d = best_rows(X, 15, make_criterion("D", X), search)
    i = best_rows(X, 15, make_criterion("I", X), search)

    assert -d.value >= 3.675919 - 0.5e-6
    # The source scales by the number of runs: I is the mean of f'(X'X/N)^-1 f.
    assert 15 * i.value <= 8.096772 + 0.5e-6


def test_the_search_reaches_the_printed_plan_of_a_blend() -> None:
    """Eight blends of the {3,3} lattice for a Scheffé quadratic: D = 0.03623366."""
    steps = np.arange(4) / 3.0
    lattice = np.array([p for p in product(steps, repeat=3) if abs(sum(p) - 1) < 1e-9])
    pairs = [lattice[:, i] * lattice[:, j] for i in range(3) for j in range(i + 1, 3)]
    X = np.column_stack([lattice, *pairs])
    found = best_rows(X, 8, make_criterion("D", X), Search(starts=30, seed=5))

    assert -found.value >= 0.03623366 - 0.5e-8


def test_the_criterion_agrees_with_its_definition() -> None:
    """D, A and I by normal equations on a small plan, where those are harmless."""
    rng = np.random.default_rng(2)
    X, region = rng.normal(size=(9, 4)), rng.normal(size=(50, 4))
    inverse = np.linalg.inv(X.T @ X)

    np.testing.assert_allclose(
        criterion_value(make_criterion("I", region), X),
        np.mean([row @ inverse @ row for row in region]),
        rtol=1e-10,
    )
    np.testing.assert_allclose(criterion_value(make_criterion("A", region), X), np.trace(inverse))
    np.testing.assert_allclose(
        -criterion_value(make_criterion("D", region), X), np.linalg.det(X.T @ X) ** 0.25 / 9
    )

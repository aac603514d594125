"""Efficiencies and prediction variance against a handbook table and closed forms.

Source: NIST/SEMATECH e-Handbook 5.5.2.1, Tables 5.1-5.2 (tests/reference/nist-d-optimal-example/).
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from doe.appraisal.precision import (
    a_criterion,
    g_efficiency,
    information_of,
    prediction_variance,
    pure_error_df,
    region_variance,
)
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.model.terms import make_model
from doe.study.settings import FloatArray
from tests.doe.layouts.briefs import RANGES, a_study

CASE = Path(__file__).parents[2] / "reference" / "nist-d-optimal-example"
PUBLISHED = {v["id"]: v for v in json.loads((CASE / "expected.json").read_text())["values"]}
ROWS = list(csv.DictReader((CASE / "data.csv").read_text(encoding="utf-8").splitlines()))


def _matrix(which: str) -> FloatArray:
    """Expand the handbook's model: intercept, three main effects and the square of the first."""
    x = np.array([[float(r[c]) for c in ("x1", "x2", "x3")] for r in ROWS if r["set"] == which])
    return np.column_stack([np.ones(len(x)), x, x[:, 0] ** 2])


def _agrees(value: float, entry: str) -> bool:
    published = PUBLISHED[entry]
    return bool(abs(value - published["value"]) <= published["tolerance"])


def test_d_efficiency_is_the_printed_one() -> None:
    """0.6825575."""
    assert _agrees(information_of(_matrix("design")).d_efficiency, "D")


def test_a_efficiency_is_the_printed_one() -> None:
    """2.2."""
    assert _agrees(a_criterion(_matrix("design")), "A")


def test_g_efficiency_is_the_printed_one() -> None:
    """1, over the twenty candidates."""
    assert _agrees(g_efficiency(_matrix("design"), _matrix("candidate")), "G")


def test_average_variance_over_the_candidates_is_the_printed_one() -> None:
    """4.6625 a run, over the twenty candidates."""
    X = _matrix("design")
    variance = prediction_variance(_matrix("candidate"), information_of(X).covariance)

    assert _agrees(float(variance.mean()) * len(X), "I")


def test_standard_error_of_prediction_is_the_printed_one() -> None:
    """0.645497 at all twelve runs."""
    X = _matrix("design")
    errors = np.sqrt(prediction_variance(X, information_of(X).covariance))

    assert all(_agrees(float(error), "std_pred") for error in errors)


def test_variance_over_a_box_has_its_closed_form() -> None:
    """A 2² factorial, linear model: (1 + x² + y²)/4, average 5/12 and largest 3/4 over the box."""
    study = a_study(RANGES[:2])
    region = region_of(study)
    model = make_model("linear", coding_of(study))
    X = np.array([[1.0, a, b] for a in (-1, 1) for b in (-1, 1)])

    average, largest = region_variance(
        information_of(X).covariance, region, model, np.random.default_rng(1)
    )

    # Four thousand points: standard error of the average 0.0017; three of them.
    assert average == pytest.approx(5 / 12, abs=0.005)
    assert largest == pytest.approx(0.75, rel=1e-9)


def test_fixed_blocks_take_degrees_of_freedom_but_not_precision_when_orthogonal() -> None:
    """A 2³ in two blocks by its three-factor product: main effects as without blocks."""
    signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], dtype=float)
    X = np.column_stack([np.ones(8), signs])
    blocks = (signs.prod(axis=1) > 0).astype(np.int64)

    with_blocks, without = information_of(X, blocks), information_of(X)

    np.testing.assert_allclose(with_blocks.covariance, without.covariance, atol=1e-12)
    assert (without.residual_df, with_blocks.residual_df) == (4, 3)
    assert with_blocks.d_efficiency == pytest.approx(without.d_efficiency)


def test_columns_that_cannot_be_told_apart_are_named() -> None:
    """Two equal columns: neither is estimable, the rest is."""
    x = np.array([-1.0, 1.0, -1.0, 1.0])
    X = np.column_stack([np.ones(4), x, x, [-1.0, -1.0, 1.0, 1.0]])

    found = information_of(X)

    assert found.estimable == (True, False, False, True)
    assert (found.d_efficiency, found.residual_df) == (0.0, 1)


def test_pure_error_counts_repeated_settings() -> None:
    """Three centre runs give two degrees of freedom."""
    values = np.array([[1.0, 2.0], [1.5, 2.5], [1.5, 2.5], [1.5, 2.5]])

    assert pure_error_df(values) == 2


def test_a_setting_that_a_level_lacks_counts_as_equal() -> None:
    """Two runs without additive have no dose; they are replicates."""
    values = np.array([[1.0, 0.0], [np.nan, 1.0], [np.nan, 1.0]])

    assert pure_error_df(values) == 1

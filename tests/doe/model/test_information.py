"""Rank, condition, confounding, variance inflation and leverage."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from doe.model.coding import Coding, NumericAxis, ShareAxis
from doe.model.information import (
    condition_of,
    estimability,
    leverage,
    rank_and_condition,
    vif,
    vif_of_matrix,
)
from doe.model.matrix import model_columns, model_matrix
from doe.model.terms import make_model
from doe.study.settings import FloatArray

REFERENCE = Path(__file__).parents[2] / "reference"


def with_intercept(case: str) -> FloatArray:
    """Read the settings of a kept case and put a constant before them."""
    with (REFERENCE / case / "data.csv").open(encoding="utf-8", newline="") as file:
        x = np.array(list(csv.reader(file))[1:], dtype=np.float64)[:, 1:]
    return np.column_stack([np.ones(len(x)), x])


def printed(case: str, name: str) -> tuple[float, float]:
    """Read a printed value and half a unit of its last digit."""
    text = (REFERENCE / case / "expected.json").read_text(encoding="utf-8")
    entry = next(e for e in json.loads(text)["values"] if e["id"] == name)
    return float(entry["value"]), float(entry["tolerance_from_rounding"])


@pytest.mark.parametrize("j", [1, 2, 3, 4])
def test_cement_variance_inflation_agrees_with_the_textbook(j: int) -> None:
    """Source: Montgomery, Peck and Vining, Hald cement data: 38.496, 254.423, 46.868, 282.513."""
    value, tolerance = printed("hald-cement-vif", f"VIF.x{j}")
    factors = vif_of_matrix(with_intercept("hald-cement-vif"), intercept=0)

    assert factors[j] == pytest.approx(value, abs=tolerance)
    assert np.isnan(factors[0])


def test_delivery_time_variance_inflation_agrees_with_the_textbook() -> None:
    """Source: Montgomery, Peck and Vining, Example 3.1 and section 4.6: 3.1 for both."""
    value, tolerance = printed("mpv-delivery-time", "VIF")
    factors = vif_of_matrix(with_intercept("mpv-delivery-time"), intercept=0)

    assert factors[1:] == pytest.approx(value, abs=tolerance)


def test_delivery_time_leverage_agrees_with_the_textbook() -> None:
    """Source: Montgomery, Peck and Vining, Table 4.1: 0.49829 for run 9."""
    value, tolerance = printed("mpv-delivery-time", "h9")

    h = leverage(with_intercept("mpv-delivery-time"))
    assert h[8] == pytest.approx(value, abs=tolerance)
    assert h.sum() == pytest.approx(3, abs=1e-12)


def test_a_mixture_of_columns_has_infinite_variance_inflation() -> None:
    """The three that are mixed up, and only they."""
    x = np.random.default_rng(1).normal(size=(12, 3))
    X = np.column_stack([np.ones(12), x, x[:, 0] + x[:, 1]])

    assert np.isinf(vif_of_matrix(X, intercept=0)).tolist() == [False, True, True, False, True]


def test_orthogonal_columns_have_condition_one_whatever_their_size() -> None:
    """Columns are scaled to unit length first (Belsley, Kuh and Welsch 1980)."""
    X = np.array([[1.0, 1000.0], [1.0, -1000.0]])

    assert rank_and_condition(X) == (2, pytest.approx(1.0))


def test_a_lost_rank_has_infinite_condition() -> None:
    """Two equal columns, up to size."""
    X = np.array([[1.0, 10.0], [2.0, 20.0], [3.0, 30.0]])

    assert rank_and_condition(X) == (1, float("inf"))


FACTORS = Coding(
    axes=tuple(NumericAxis(name=name, unit="", low=-1, high=1) for name in ("dose", "pH", "time"))
)


def test_a_half_fraction_says_what_is_mixed_with_what() -> None:
    """With time = dose × pH each product is a main effect."""
    values = np.array([[a, b, a * b] for a in (-1.0, 1.0) for b in (-1.0, 1.0)])
    model = make_model("interactions", FACTORS)
    found = estimability(model_matrix(values, FACTORS, model), model_columns(model, FACTORS))

    assert (found.rank, found.parameters, found.condition) == (4, 7, float("inf"))
    assert found.confounded == (
        ("dose × pH", ("time",)),
        ("dose × time", ("pH",)),
        ("pH × time", ("dose",)),
    )
    assert found.findings[0].what == "'dose × pH' cannot be told from 'time'"


def test_two_levels_cannot_tell_squares_apart() -> None:
    """All squares are 1, as the intercept is."""
    values = np.array([[a, b, c] for a in (-1.0, 1) for b in (-1.0, 1) for c in (-1.0, 1)])
    model = make_model("quadratic", FACTORS)
    found = estimability(model_matrix(values, FACTORS, model), model_columns(model, FACTORS))

    assert found.confounded == tuple((f"{n}²", ("intercept",)) for n in ("dose", "pH", "time"))


def test_a_setting_that_never_moves_is_said() -> None:
    """Its column is 0 in every run."""
    values = np.array([[-1.0, -1.0, 0.0], [1.0, -1.0, 0.0], [-1.0, 1.0, 0.0], [1.0, 1.0, 0.0]])
    model = make_model("linear", FACTORS)
    found = estimability(model_matrix(values, FACTORS, model), model_columns(model, FACTORS))

    assert found.findings[0].what == "'time' is 0 in every run and cannot be estimated"


def test_a_full_plan_confounds_nothing() -> None:
    """And has no finding."""
    values = np.array([[a, b, c] for a in (-1.0, 0, 1) for b in (-1.0, 0, 1) for c in (-1.0, 0, 1)])
    model = make_model("quadratic", FACTORS)
    found = estimability(model_matrix(values, FACTORS, model), model_columns(model, FACTORS))

    assert (found.rank, found.findings) == (10, ())


def test_blends_are_judged_in_pseudo_components() -> None:
    """The same plan in a corner of the triangle is as well conditioned as in all of it."""
    whole = Coding(axes=tuple(ShareAxis(name=n, low=0, high=1) for n in "abc"))
    lows = np.array([0.6, 0.2, 0.1])
    corner = Coding(
        axes=tuple(
            ShareAxis(name=n, low=low, high=low + 0.1) for n, low in zip("abc", lows, strict=True)
        )
    )
    lattice = np.array(
        [[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.5, 0], [0.5, 0, 0.5], [0, 0.5, 0.5]]
    )
    model = make_model("quadratic", whole)

    in_corner = lows + 0.1 * lattice
    np.testing.assert_allclose(vif(in_corner, corner, model), vif(lattice, whole, model))
    assert condition_of(in_corner, corner, model)[1] == pytest.approx(
        condition_of(lattice, whole, model)[1]
    )
    assert rank_and_condition(model_matrix(in_corner, corner, model))[1] > 100


def test_leverages_of_a_deficient_matrix_add_up_to_its_rank() -> None:
    """Not to its number of columns."""
    x = np.random.default_rng(2).normal(size=(10, 2))
    X = np.column_stack([x, x.sum(axis=1)])

    assert leverage(X).sum() == pytest.approx(2, abs=1e-12)

"""Critical values of several candidates against one control.

Source: Dunnett (1955), JASA 50, 1096-1121, and (1964), Biometrics 20, 482-491, tables at 5 %, from
memory; beside them the same integral by other code (calculated). tests/reference/
dunnett-critical-values/.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import multivariate_t

from analysis.fits.dunnett import Sides, common_part, dunnett_critical, dunnett_p
from doe.study.settings import FloatArray

CASE = Path(__file__).parents[1] / "reference" / "dunnett-critical-values"
VALUES: list[dict[str, Any]] = json.loads((CASE / "expected.json").read_text(encoding="utf-8"))[
    "values"
]
PRINTED = [entry for entry in VALUES if entry["kind"] == "published"]
COMPUTED = [entry for entry in VALUES if entry["kind"] == "computed"]


def _equal(k: int, correlation: float = 0.5) -> FloatArray:
    R = np.full((k, k), correlation)
    np.fill_diagonal(R, 1.0)
    return R


def _asked(entry: dict[str, Any]) -> tuple[Sides, float, int]:
    """Read sides, degrees of freedom and k off a name such as `two.df10.k3`."""
    sides, df, k = entry["id"].split(".")
    return (1 if sides in ("one", "sides1") else 2), float(df[2:]), int(k[1:])


@pytest.mark.parametrize("entry", PRINTED, ids=lambda entry: entry["id"])
def test_critical_values_agree_with_the_tables(entry: dict[str, Any]) -> None:
    """Tolerance: half a unit in the last printed digit."""
    sides, df, k = _asked(entry)
    found = dunnett_critical(_equal(k), df, sides=sides)
    assert found == pytest.approx(entry["value"], abs=0.005)


@pytest.mark.parametrize("entry", COMPUTED[::5], ids=lambda entry: entry["id"])
def test_critical_values_agree_with_another_integral(entry: dict[str, Any]) -> None:
    """Tolerance: both integrals are good to seven digits or more."""
    sides, df, k = _asked(entry)
    found = dunnett_critical(_equal(k), df, sides=sides)
    assert found == pytest.approx(entry["value"], abs=1e-7)


@pytest.mark.parametrize("sides", [1, 2])
@pytest.mark.parametrize("df", [4, 17])
def test_any_correlation_agrees_with_multivariate_t(df: int, sides: Sides) -> None:
    """Against the integrator of a general library; 5e-4 is some four of its errors."""
    A = np.random.default_rng(1).normal(size=(4, 6))
    S = A @ A.T
    R = S / np.sqrt(np.outer(np.diag(S), np.diag(S)))
    assert common_part(R) is None
    c = dunnett_critical(R, df, sides=sides)
    low = np.full(4, -c) if sides == 2 else None
    chance = multivariate_t.cdf(
        np.full(4, c), shape=R, df=df, lower_limit=low, maxpts=200_000, random_state=1
    )
    assert chance == pytest.approx(0.95, abs=5e-4)


def test_both_ways_agree_on_a_product_correlation_that_is_hidden() -> None:
    """Unequal runs give b_i b_j with b² = n_i/(n_i + n_0); a fifth that breaks it hides it."""
    b = np.array([0.3, 0.5, 0.7, 0.6])
    R = np.outer(b, b)
    np.fill_diagonal(R, 1.0)
    found = common_part(R)
    assert found is not None
    assert np.abs(found) == pytest.approx(b)
    exact = dunnett_critical(R, 9.0)
    # The fourth candidate twice: no new comparison, but a singular matrix and no product.
    twice = np.block([[R, R[:, 3:]], [R[3:], np.ones((1, 1))]])
    assert common_part(twice) is None
    assert dunnett_critical(twice, 9.0) == pytest.approx(exact, abs=2e-3)


def test_p_and_critical_value_say_the_same() -> None:
    """A comparison at its critical value has p = 1 − level, whatever the others are."""
    c = dunnett_critical(_equal(3), 12.0)
    p = dunnett_p(np.array([c, -c, 0.0]), _equal(3), 12.0)
    assert p == pytest.approx([0.05, 0.05, 1.0], abs=1e-8)


def test_one_candidate_is_student_t() -> None:
    """Nothing is adjusted where there is one comparison: t of 10 df, 2.228 (common table)."""
    assert dunnett_critical(np.ones((1, 1)), 10.0) == pytest.approx(2.228, abs=0.0005)
    assert np.isnan(dunnett_critical(_equal(2), 0.0))

"""NIST StRD linear least squares: agreeing digits of every certified number.

Source: NIST Statistical Reference Datasets (SRD 140), linear least squares regression; data,
certified values and provenance in tests/reference/strd-lls-*/. The certified values carry 15
digits, which no double-precision factorisation can reach on the harder sets (the powers of x in
Filip are rounded before anything is fitted): what is checked is a floor of agreeing digits.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.least_squares import LeastSquares, solve_least_squares
from tests.analysis.fits.adopted_table import agreeing_digits, published, reference_rows

# Digits that the coefficients, the standard errors and the residual standard deviation reach.
# Condition numbers (columns scaled): Filip 5e9, Longley 4e4, Wampler 2e3, the others below 20.
FLOORS = {
    "filip": (7.0, 7.0, 9.0),
    "longley": (14.0, 12.0, 14.0),
    "noint1": (14.0, 14.0, 14.0),
    "noint2": (14.0, 14.0, 14.0),
    "norris": (13.5, 13.5, 13.5),
    "pontius": (13.0, 13.0, 13.0),
    "wampler1": (14.0, 14.0, 14.0),
    "wampler2": (12.5, 14.0, 14.0),
    "wampler3": (14.0, 13.0, 14.0),
    "wampler4": (14.0, 13.0, 14.0),
    "wampler5": (14.0, 13.0, 14.0),
}


def _solved(name: str) -> tuple[LeastSquares, list[int], np.ndarray]:
    rows = reference_rows(f"strd-lls-{name}")
    y = np.array([float(row["y"]) for row in rows])
    certified = published(f"strd-lls-{name}")
    numbers = sorted(int(key[1:-9]) for key in certified if key.endswith(".estimate"))
    if "x1" in rows[0]:
        columns = [np.array([float(row.get(f"x{j}", 1.0)) for row in rows]) for j in numbers]
    else:
        x = np.array([float(row["x"]) for row in rows])
        columns = [x**j for j in numbers]
    return solve_least_squares(np.column_stack(columns), y), numbers, y


@pytest.mark.parametrize("name", FLOORS)
def test_certified_regressions_are_reached(name: str) -> None:
    """The floor of digits holds for all coefficients, all errors and the residual."""
    solved, numbers, _ = _solved(name)
    certified = published(f"strd-lls-{name}")
    errors = np.sqrt(np.diag(solved.covariance))
    coefficient_floor, error_floor, residual_floor = FLOORS[name]

    for j, number in enumerate(numbers):
        digits = agreeing_digits(solved.coefficients[j], certified[f"B{number}.estimate"][0])
        assert digits >= coefficient_floor, (number, digits)
        digits = agreeing_digits(errors[j], certified[f"B{number}.sd"][0])
        assert digits >= error_floor, (number, digits)
    digits = agreeing_digits(solved.residual_variance**0.5, certified["rsd"][0])
    assert digits >= residual_floor


@pytest.mark.parametrize("name", [name for name in FLOORS if not name.startswith("noint")])
def test_certified_r2_and_f_are_reached(name: str) -> None:
    """Sums of squares about the mean give the certified R² and F."""
    solved, numbers, y = _solved(name)
    certified = published(f"strd-lls-{name}")
    total = float(((y - y.mean()) ** 2).sum())
    explained = total - solved.rss
    r2 = explained / total

    # Filip: its columns, powers up to the tenth, are rounded before they are fitted.
    assert agreeing_digits(r2, certified["r2"][0]) >= (11 if name == "filip" else 12)
    if "F" in certified and solved.rss > 1e-12:
        f = explained / (len(numbers) - 1) / solved.residual_variance
        assert agreeing_digits(f, certified["F"][0]) >= 9


def test_a_normal_equations_or_pseudo_inverse_answer_would_fail() -> None:
    """The floor of Filip tells QR from ways that lose digits without a word."""
    rows = reference_rows("strd-lls-filip")
    x = np.array([float(row["x"]) for row in rows])
    y = np.array([float(row["y"]) for row in rows])
    X = np.column_stack([x**j for j in range(11)])
    certified = published("strd-lls-filip")["B0.estimate"][0]

    assert agreeing_digits((np.linalg.pinv(X) @ y)[0], certified) < 1
    assert agreeing_digits(solve_least_squares(X, y).coefficients[0], certified) > 7


def test_the_condition_says_how_few_digits_are_left() -> None:
    """Filip leaves about 6 of 16 digits by its condition number, Norris nearly all."""
    assert 5 < _solved("filip")[0].digits_left < 7
    assert _solved("norris")[0].digits_left > 14

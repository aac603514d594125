"""Least squares on bare arrays: digits, ties, saturation."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.compensated import subtract_products, two_product
from analysis.fits.least_squares import (
    DependentColumnsError,
    dependent_groups,
    scale_columns,
    solve_least_squares,
)


def test_products_lose_nothing() -> None:
    """Product and error together are the exact product, in whole numbers."""
    a, b = np.array([134217729.0]), np.array([134217731.0])
    product, error = two_product(a, b)

    assert int(product[0]) + int(error[0]) == 134217729 * 134217731


def test_a_difference_that_cancels_keeps_its_digits() -> None:
    """10¹⁶ + 1 − 10¹⁶, which plain arithmetic makes 0 or 2."""
    X = np.array([[1e16, 1.0, -1e16]])

    assert subtract_products(np.array([0.0]), X, np.array([-1.0, -1.0, -1.0]))[0] == 1.0


def test_scaling_by_powers_of_two_rounds_nothing() -> None:
    """Every entry comes back bit for bit."""
    X = np.random.default_rng(0).normal(size=(5, 3)) * np.array([1e-8, 1.0, 1e9])
    scaled, scale = scale_columns(X)

    assert (scaled * scale == X).all()


def test_a_large_common_value_costs_the_scatter_no_digits() -> None:
    """Readings of 10⁹ with a scatter of 1: the residual keeps nine digits."""
    rng = np.random.default_rng(3)
    X = np.column_stack([np.ones(20), rng.normal(size=20)])
    noise = np.round(rng.normal(size=20), 4)
    plain = solve_least_squares(X, noise).rss

    assert solve_least_squares(X, noise + 1e9).rss == pytest.approx(plain, rel=1e-6)


def test_ties_are_found_with_their_members() -> None:
    """The fourth column is the second less the third; the fifth never varies from zero."""
    rng = np.random.default_rng(1)
    X = rng.normal(size=(9, 3))
    X = np.column_stack([np.ones(9), X[:, 0], X[:, 1], X[:, 0] - X[:, 1], np.zeros(9)])

    assert dependent_groups(X) == ((1, 2, 3), (4,))
    with pytest.raises(DependentColumnsError) as caught:
        solve_least_squares(X, rng.normal(size=9))
    assert caught.value.rank == 3


def test_nearly_tied_columns_are_fitted_and_their_digits_told() -> None:
    """A tie broken in the tenth digit is no tie, but leaves about six digits."""
    rng = np.random.default_rng(2)
    x = rng.normal(size=12)
    X = np.column_stack([np.ones(12), x, x + 1e-10 * rng.normal(size=12)])
    solved = solve_least_squares(X, rng.normal(size=12))

    assert 4 < solved.digits_left < 7


def test_as_many_columns_as_runs_leave_no_error() -> None:
    """Zero degrees of freedom, no variance, all leverages one."""
    rng = np.random.default_rng(4)
    X, y = rng.normal(size=(4, 4)), rng.normal(size=4)
    solved = solve_least_squares(X, y)

    np.testing.assert_allclose(X @ solved.coefficients, y, rtol=1e-9)
    assert solved.df == 0
    assert np.isnan(solved.covariance).all()
    np.testing.assert_allclose(solved.leverage, 1.0)


def test_results_cannot_be_changed() -> None:
    """Values are frozen, their arrays too."""
    solved = solve_least_squares(np.ones((3, 1)), np.array([1.0, 2.0, 3.0]))

    with pytest.raises(ValueError, match="read-only"):
        solved.coefficients[0] = 1.0

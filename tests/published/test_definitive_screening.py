"""Definitive screening tables against the structure that was published for them.

Sources: Jones and Nachtsheim (2011), Journal of Quality Technology 43, 1-15; Xiao, Lin and Bai
(2012), 44, 2-8; data in tests/reference/definitive-screening-structure/ (SOURCE.md). For an odd
number of factors ours has one more column (2m + 3 runs), so that main effects stay orthogonal.
"""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
import pytest

from doe.layouts.definitive_screening import conference_matrix, definitive_screening_runs

CASE = Path(__file__).parents[1] / "reference" / "definitive-screening-structure" / "expected.json"
PUBLISHED = {v["id"]: v for v in json.loads(CASE.read_text())["values"]}
EVEN = (4, 6, 8, 10)
MANY = (4, 6, 8, 10, 12, 14, 16, 18, 20, 24)


@pytest.mark.parametrize("order", MANY)
def test_conference_matrices_are_orthogonal(order: int) -> None:
    """C'C = (order − 1) I with zero diagonal and ±1 elsewhere."""
    matrix = conference_matrix(order)

    np.testing.assert_array_equal(matrix.T @ matrix, (order - 1) * np.eye(order))
    np.testing.assert_array_equal(np.abs(matrix), 1.0 - np.eye(order))


@pytest.mark.parametrize("m", [*EVEN, 12])
def test_run_count_of_an_even_number_of_factors_is_published(m: int) -> None:
    """2m + 1 runs."""
    assert len(definitive_screening_runs(m)) == PUBLISHED[f"m{m}.runs"]["value"]


@pytest.mark.parametrize("m", [3, 5, 7, 9, 11])
def test_an_odd_number_of_factors_takes_the_table_of_one_more(m: int) -> None:
    """Xiao, Lin and Bai (2012): a column is left out of the even table."""
    assert len(definitive_screening_runs(m)) == 2 * (m + 1) + 1


@pytest.mark.parametrize("m", range(3, 25))
def test_main_effects_are_orthogonal_and_clear_of_second_order(m: int) -> None:
    """Orthogonal main effects, mirror images, three zeros a column."""
    D = definitive_screening_runs(m)
    pairs = np.array([D[:, i] * D[:, j] for i in range(m) for j in range(i, m)]).T
    off = D.T @ D - np.diag(np.diag(D.T @ D))

    assert np.abs(off).max() == 0.0
    assert np.abs(D.T @ pairs).max() == 0.0
    assert {tuple(row) for row in D} == {tuple(row) for row in -D}


@pytest.mark.parametrize("m", EVEN)
def test_correlation_of_squares_is_published(m: int) -> None:
    """1/3 − 1/(m − 1), six printed decimals."""
    squares = definitive_screening_runs(m) ** 2
    correlations = np.corrcoef(squares.T)[np.triu_indices(m, 1)]

    np.testing.assert_allclose(correlations, PUBLISHED[f"m{m}.corr_quad_quad"]["value"], atol=5e-7)


@pytest.mark.parametrize("m", EVEN)
def test_efficiency_for_main_effects_is_that_of_the_listed_tables(m: int) -> None:
    """|X'X|^(1/p)/n of intercept and main effects, percent, as computed from the listed tables."""
    D = definitive_screening_runs(m)
    X = np.column_stack([np.ones(len(D)), D])
    _, log_determinant = np.linalg.slogdet(X.T @ X)

    efficiency = 100 * np.exp(log_determinant / (m + 1)) / len(D)
    assert efficiency == pytest.approx(PUBLISHED[f"m{m}.D_main_percent"]["value"], rel=1e-9)


def test_square_and_interaction_of_six_factors_correlate_as_published() -> None:
    """0.465 for a square and an interaction without it, recalled from the 2011 paper."""
    D = definitive_screening_runs(6)
    largest = max(
        abs(np.corrcoef(D[:, i] ** 2, D[:, j] * D[:, k])[0, 1])
        for i in range(6)
        for j, k in itertools.combinations([x for x in range(6) if x != i], 2)
    )

    assert largest == pytest.approx(PUBLISHED["m6.abs_corr_quad_2fi"]["value"], abs=0.0005)


@pytest.mark.parametrize(("n_ranges", "n_choices"), [(4, 1), (4, 2), (5, 1), (6, 2)])
def test_two_level_factors_keep_main_effects_clear_of_second_order(
    n_ranges: int, n_choices: int
) -> None:
    """Jones and Nachtsheim (2013): 2c + 2 runs, no zeros left in the columns of two levels."""
    D = definitive_screening_runs(n_ranges, n_choices)
    m = n_ranges + n_choices
    pairs = np.array([D[:, i] * D[:, j] for i in range(m) for j in range(i, m)]).T

    assert len(D) == 2 * (m + m % 2) + 2
    assert np.abs(D[:, n_ranges:]).min() == 1.0
    assert np.abs(D.T @ pairs).max() == 0.0
    assert np.linalg.matrix_rank(np.column_stack([np.ones(len(D)), D])) == m + 1

"""Two-level fractions against the catalogue of minimum-aberration fractions.

Source: Chen, Sun and Wu (1993), International Statistical Review 61, 131-145; data in
tests/reference/fractional-factorial-catalogue/ (SOURCE.md).
"""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import numpy as np
import pytest

from doe.appraisal.two_level import alias_chains, found_words
from doe.layouts.generators import (
    GENERATORS,
    block_numbers,
    block_words,
    defining_words,
    resolution_of,
    smallest_fraction,
    two_level_runs,
)

CASE = Path(__file__).parents[1] / "reference" / "fractional-factorial-catalogue" / "data.csv"
ROWS = list(csv.DictReader((CASE).read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("row", ROWS, ids=[row["design"] for row in ROWS])
def test_generators_resolution_and_word_lengths_agree_with_the_catalogue(
    row: dict[str, str],
) -> None:
    """The generators are the catalogue's, and the algebra gives its pattern."""
    k, runs = int(row["k"]), int(row["runs"])
    words = defining_words(k, runs)
    lengths = [word.bit_count() for word in words]
    pattern = [lengths.count(length) for length in range(1, 8)]

    assert list(GENERATORS[(k, runs)]) == [int(g) for g in row["generators_yates"].split("/")]
    assert resolution_of(words) == int(row["resolution"])
    assert pattern == [int(count) for count in row["wlp"].split("/")]


@pytest.mark.parametrize("row", ROWS, ids=[row["design"] for row in ROWS])
def test_clear_interactions_agree_with_the_catalogue(row: dict[str, str]) -> None:
    """An interaction is clear that shares no chain with a main effect or another interaction."""
    k = int(row["k"])
    chained = {e for chain in alias_chains(defining_words(k, int(row["runs"])), k) for e in chain}
    pairs = [1 << i | 1 << j for i, j in itertools.combinations(range(k), 2)]

    assert sum(pair not in chained for pair in pairs) == int(row["clear_2fi"])


@pytest.mark.parametrize(("k", "runs"), [key for key in GENERATORS if key[0] <= 8])
def test_runs_have_the_words_of_the_algebra(k: int, runs: int) -> None:
    """Products looked for in the runs themselves are those of the defining relation."""
    table = two_level_runs(k, runs)

    assert set(found_words(table)) == set(defining_words(k, runs))
    np.testing.assert_array_equal(table.sum(axis=0), np.zeros(k))


@pytest.mark.parametrize(
    ("k", "resolution", "runs"),
    [(3, 3, 4), (4, 4, 8), (5, 5, 16), (5, 3, 8), (6, 4, 16), (7, 3, 8), (7, 4, 16), (8, 4, 16),
     (8, 5, 64), (9, 4, 32), (9, 5, 128), (10, 5, 128), (11, 4, 32), (11, 5, 128), (6, 5, 32)],
)  # fmt: skip
def test_the_smallest_fraction_of_a_resolution_is_found(k: int, resolution: int, runs: int) -> None:
    """Sizes from the catalogue; 128 runs for V with 9 to 11 factors (Chen, Sun and Wu 1993)."""
    assert smallest_fraction(k, resolution) == runs


@pytest.mark.parametrize(
    ("k", "pattern"), [(9, [0, 0, 0, 3]), (10, [0, 0, 3, 3]), (11, [0, 0, 6, 6])]
)
def test_fractions_of_128_runs_have_the_least_aberration(k: int, pattern: list[int]) -> None:
    """Words of length 3 to 6, least by a search of all generators of four or more factors."""
    lengths = [word.bit_count() for word in defining_words(k, 128)]

    assert [lengths.count(length) for length in range(3, 7)] == pattern


@pytest.mark.parametrize(
    ("k", "runs", "blocks", "shortest"),
    [(3, 8, 2, 3), (4, 16, 2, 4), (5, 32, 4, 3), (6, 64, 4, 4), (5, 32, 2, 5)],
)
def test_blocks_are_confounded_with_effects_of_the_highest_order(
    k: int, runs: int, blocks: int, shortest: int
) -> None:
    """Box, Hunter and Hunter (2005), Table 5A.1 (recalled): shortest effect given to the blocks."""
    words = block_words(k, runs, blocks)
    assert words is not None
    numbers = np.array(block_numbers(two_level_runs(k, runs), words))

    products = {0}
    for word in words:
        products |= {word ^ other for other in products}
    assert min(word.bit_count() for word in products - {0}) == shortest
    assert sorted(np.bincount(numbers)[1:]) == [runs // blocks] * blocks

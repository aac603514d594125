"""Small problems of every kind reach the best values known; times are not asserted.

The whole set is measured by hand: python -m tests.benchmarks.optimal_quality.
"""

from __future__ import annotations

import pytest

from doe.layouts.optimal.search import best_plan
from tests.benchmarks.optimal_best_known import best_known
from tests.benchmarks.optimal_problems import CASES, case_named, efficiency, value_of, wanted_of

ENOUGH = 0.999
KNOWN = best_known()
SMALL = (
    "2 factors, 6 runs, D",
    "2 factors, 8 runs, I",
    "3 factors, 10 runs, I",
    "3 factors, 14 runs, D",
    "4 factors, 15 runs, I",
    "4 factors, 25 runs, D",
    "3 additives, 8 runs, I",
    "4 additives, 14 runs, D",
    "3 bounded, 9 runs, D",
    "4 bounded, 14 runs, I",
    "3 additives + 2, 24 runs, D",
    "cut box, 14 runs, I",
    "choice of 3 × 2, 18 runs, I",
    "dose by chemistry, 20 runs, D",
    "levels, 14 runs, D",
    "8 batches × 3, 24 runs, D",
    "8 × 3, package a batch, 24 runs, D",
    "3 fixed days, 18 runs, D",
    "5 random days, 20 runs, D",
)


@pytest.mark.parametrize("name", SMALL)
def test_the_search_reaches_the_best_known_value(name: str) -> None:
    """At its default effort, on the mesh that a bench can read."""
    case = case_named(name)
    values = best_plan(wanted_of(case, seed=0)).values

    assert efficiency(case, value_of(case, values), KNOWN[name]) >= ENOUGH


def test_every_problem_has_a_best_known_value() -> None:
    """A problem without one is measured against nothing."""
    assert set(KNOWN) == {case.name for case in CASES}

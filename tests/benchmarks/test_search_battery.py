"""A battery of problems on which no dense sample of the region may beat the search.

Factors, shares, limits, forbids, numeric levels, named choices, log spacing and scales, and
targets so narrow that most of the region has an overall desirability of zero.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.choice.search import choose_compromise
from doe.model.sampling import sample_region
from doe.model.vertices import region_vertices
from tests.analysis.choice.problems import random_problem

SAMPLE = 20_000
MISSED = 1e-6


@pytest.mark.parametrize("seed", range(14))
def test_no_dense_sample_beats_the_search(seed: int) -> None:
    """Twenty thousand even points and every corner."""
    problem = random_problem(seed)
    objective = problem.objective
    best = choose_compromise(
        problem.study, problem.region, problem.fits, rng=np.random.default_rng(1)
    )
    points = np.vstack(
        [
            sample_region(problem.region, SAMPLE, np.random.default_rng(seed + 1000)),
            region_vertices(problem.region),
        ]
    )

    assert objective.overall(objective.values(points)).max() <= (
        best.unrounded.desirability + MISSED
    )


@pytest.mark.parametrize("seed", range(20, 25))
def test_the_answer_does_not_hang_on_the_starts(seed: int) -> None:
    """Two seeds of the search find the same desirability."""
    problem = random_problem(seed)
    first, second = (
        choose_compromise(
            problem.study, problem.region, problem.fits, rng=np.random.default_rng(start)
        ).unrounded.desirability
        for start in (1, 2)
    )

    assert first == pytest.approx(second, abs=MISSED)


def test_a_plain_grid_of_two_settings_is_never_better() -> None:
    """A million places over one square with three narrow targets."""
    problem = next(
        p
        for p in map(random_problem, range(1000))
        if len(p.region.coding.axes) == 2 and not p.region.coding.shares
        and not p.region.coding.labels and len(p.fits) >= 3 and len(p.region.pieces) == 1
    )  # fmt: skip
    best = choose_compromise(
        problem.study, problem.region, problem.fits, rng=np.random.default_rng(1)
    )
    (a, b), (c, d) = problem.region.implied
    grid = np.stack(np.meshgrid(np.linspace(a, b, 1000), np.linspace(c, d, 1000)), axis=-1).reshape(
        -1, 2
    )
    grid = grid[problem.region.contains(grid)]
    objective = problem.objective

    assert objective.overall(objective.values(grid)).max() <= (best.unrounded.desirability + MISSED)

"""Laws of the trade-offs: nothing in a dense sample is better than what was found."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from analysis.choice.again import Search
from analysis.choice.dominance import matched_within, non_dominated
from analysis.choice.frontier import find_frontier
from analysis.choice.least_dose import find_least_dose
from analysis.choice.limit_prices import find_limit_prices
from analysis.choice.regret import find_least_regret
from analysis.choice.weights import pull_of_views, pull_of_weights
from doe.model.coding import coding_of
from doe.model.matrix import model_columns
from doe.model.sampling import sample_region
from doe.model.terms import make_model
from doe.study.settings import FloatArray
from tests.analysis.choice.problems import brief, fit_of, random_problem
from tests.analysis.choice.searches import problem_search, search_in

DENSE = 2**14
# No sampled recipe may beat one of the frontier by more, in ramps; rounding of the search.
TOLERANCE = 1e-6
# A sampled recipe is matched in every response at once to this part of a ramp.
MATCHED = 0.05


@cache
def bench(seed: int, *, has_step: bool = False) -> Search:
    """Three shares, a dose and a pH, three responses, two views, limits: as at the bench."""
    rng = np.random.default_rng(seed)
    additives = [{"name": f"additive {i}", "low": 0.1, "high": 0.7} for i in (1, 2, 3)]
    factors = [
        {"name": "dose", "role": "dose", "low": 1.0, "high": 3.0}
        | ({"step": 0.1} if has_step else {}),
        {"name": "pH", "low": 8.0, "high": 9.5},
    ]
    goals = [
        {"name": "viscosity", "aim": "low", "best": -12.0, "worst": 12.0, "accept": {"at_most": 6}},
        {"name": "strength", "aim": "high", "best": 12.0, "worst": -12.0},
        {"name": "uptake", "aim": "low", "best": -12.0, "worst": 12.0, "accept": {"at_most": 5}},
    ]
    views = [
        {"role": "colourist", "importance": {"strength": 4.0}},
        {"role": "painter", "importance": {"uptake": 4.0}},
    ]
    study = brief(factors, goals, additives, view=views)
    coding = coding_of(study)
    p = len(model_columns(make_model("quadratic", coding), coding))
    fits = {
        goal["name"]: fit_of(coding, str(goal["name"]), rng.standard_normal(p) * 5.0)
        for goal in goals
    }
    return search_in(study, fits)


def sampled(search: Search) -> FloatArray:
    """Sample the region densely, with another seed than the search."""
    return sample_region(search.book.region, DENSE, np.random.default_rng(77))


@settings(max_examples=12, deadline=None)
@given(
    arrays.arrays(
        np.float64,
        st.tuples(st.integers(1, 25), st.integers(1, 4)),
        elements=st.integers(0, 5).map(float),
    )
)
def test_the_fast_filter_keeps_what_a_plain_loop_keeps(heights: np.ndarray) -> None:
    """Row by row against row by row; of equal rows one stays."""
    kept = {tuple(row) for row in heights[non_dominated(heights)]}
    plain = {
        tuple(a)
        for a in heights
        if not any(np.all(b >= a) and np.any(b > a) for b in heights)
    }  # fmt: skip

    assert kept == plain
    assert len(non_dominated(heights)) == len(plain)


def test_no_sampled_recipe_beats_the_frontier_or_goes_unmatched_at_the_bench() -> None:
    """Three responses that pull against each other."""
    assert_exact(bench(0))


@pytest.mark.parametrize("seed", [2, 6])
def test_no_sampled_recipe_beats_the_frontier_or_goes_unmatched(seed: int) -> None:
    """Levels, forbids, limits, narrow targets, logarithmic scales."""
    assert_exact(problem_search(random_problem(seed)))


def assert_exact(search: Search) -> None:
    """Hold a frontier against a dense sample."""
    found = find_frontier(search)
    assert found is not None
    objective = search.objective()
    heights = objective.heights(objective.values(sampled(search)))
    if found.is_useful:
        heights = heights[np.all(heights >= 0.0, axis=1)]
    beaten = max(float((heights - row).min(axis=1).max(initial=-1.0)) for row in found.heights)

    assert beaten <= TOLERANCE
    assert matched_within(heights, found.heights).max(initial=0.0) <= MATCHED
    assert len(non_dominated(found.heights)) == len(found.heights)
    assert search.book.region.contains(found.settings, 1e-8).all()


def test_no_sampled_recipe_is_better_under_any_weights() -> None:
    """Halved, doubled, and in the view of each role; staying put never beats moving."""
    search = bench(0)
    rows = sampled(search)
    for one in (*pull_of_weights(search), *pull_of_views(search)):
        objective = search.objective(search.aims(one.importances))
        dense = float(objective.overall(objective.values(rows)).max())

        assert one.unrounded.desirability >= dense - 1e-9
        assert one.recipe.desirability >= one.stayed - 1e-9


def test_no_sampled_recipe_has_less_worst_regret() -> None:
    """Over the brief's own importances and both views."""
    search = bench(0)
    found = find_least_regret(search)
    assert found is not None
    rows = sampled(search)
    regrets = []
    for one, importances in zip(found.views, ({}, {"strength": 4.0}, {"uptake": 4.0}), strict=True):
        objective = search.objective(search.aims(importances))
        regrets.append(one.best - objective.overall(objective.values(rows)))

    assert found.worst_unrounded <= np.max(regrets, axis=0).min() + 1e-9
    assert found.worst_unrounded <= found.worst <= found.worst_of_compromise + 1e-9
    assert min(float(r.min()) for r in regrets) >= -1e-9


def test_prices_are_those_of_a_dense_sample_or_better() -> None:
    """Within all limits, and with one relaxed; relaxing never costs."""
    search = bench(1)
    found = find_limit_prices(search)
    rows = sampled(search)
    limits = search.limits()
    objective = search.with_limits(limits)
    values = objective.values(rows)
    inside = objective.slack(values) >= 0.0

    assert found.within.desirability >= objective.overall(values)[inside].max() - 1e-9
    for one in found.prices:
        assert one.gain >= 0.0
        if one.kind == "acceptance":
            # Each response's limit moved outwards by the stated unit.
            kept = np.ones(len(rows), dtype=np.bool_)
            for limit, _ in limits:
                by = one.by if limit.response == one.response else 0.0
                at = [fit.response for fit in objective.fits].index(limit.response)
                kept &= limit.margin(values[:, at]) + by >= 0.0
            dense = objective.overall(values)[kept].max()
            assert found.within.desirability + one.gain >= dense - 1e-9


def test_no_sampled_recipe_does_it_at_a_lower_dose() -> None:
    """On marks below the lowest dose no recipe keeps the floor."""
    search = bench(1, has_step=True)
    found = find_least_dose(search, 0.05)
    assert found is not None
    column = search.book.coding.index("dose")
    rows = sampled(search)
    below = [mark for mark in np.arange(1.0, 3.01, 0.1) if mark < found.dose - 0.01]
    objective = search.objective(within_limits=found.keeps_limits)
    floor = search.found.best.desirability - 0.05
    for mark in below:
        held = rows.copy()
        held[:, column] = mark

        assert objective.score(objective.values(held)).max() < floor
    assert found.recipe.desirability >= floor - 1e-9

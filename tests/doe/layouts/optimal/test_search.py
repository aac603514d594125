"""The search from what is wanted to runs: starts, progress, repeats, refusals."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from doe.errors import PlanError
from doe.layouts.optimal.climb import know, scores
from doe.layouts.optimal.repeats import with_repeats
from doe.layouts.optimal.search import Wanted, best_plan, check_tellable, prepared
from doe.model.coding import code
from doe.model.region import region_of
from doe.model.sampling import sample_region
from doe.model.strata import make_strata, stages_of
from doe.model.terms import make_model
from doe.study.brief import Study
from tests.doe.layouts.briefs import CHEMISTRY, RANGES, a_study


def _wanted(study: Study, n: int, **more: Any) -> Wanted:
    region = region_of(study)
    options = {"model": make_model("quadratic", region.coding), "weights": {"I": 1.0}, **more}
    return Wanted(
        region=region, n=n, strata=make_strata(n, ()), stages=stages_of(study), workers=1, **options
    )  # fmt: skip


TWO = a_study(RANGES[:2])


@pytest.mark.parametrize("seed", [3])
def test_more_batches_of_chains_never_give_a_worse_plan(seed: int) -> None:
    """The first ones are the same whatever their number; the mesh alone may cost a hair."""
    wanted = _wanted(a_study(RANGES[:5]), 24, rounds=0, seed=seed)
    found = [best_plan(replace(wanted, starts=48 * b)) for b in (1, 2)]

    assert found[1].criteria["I"] <= found[0].criteria["I"] * (1 + 1e-5)


def test_shaking_finds_better_plans() -> None:
    """Where groups end apart, rounds pay."""
    wanted = _wanted(a_study(RANGES[:5]), 23, starts=12, seed=2)
    without, shaken = (best_plan(replace(wanted, rounds=r)).criteria["I"] for r in (0, 5))

    assert shaken < without * (1 - 1e-3)


def test_progress_is_told_and_ends_whole() -> None:
    """Parts between 0 and 1, the last of them 1."""
    told: list[float] = []
    best_plan(_wanted(TWO, 8), told.append)

    assert told[-1] == 1.0
    assert all(0.0 <= part <= 1.0 for part in told)


def test_it_says_how_sure_it_is() -> None:
    """All groups of a small search end alike; agreement never exceeds the groups."""
    found = best_plan(_wanted(TWO, 8))

    assert 3 <= found.agreeing <= found.groups
    assert found.loss_by_steps < 1e-3


def test_a_plan_that_is_held_whole_is_only_judged() -> None:
    """Nothing is left to search."""
    held = sample_region(region_of(TWO), 9, np.random.default_rng(1))
    found = best_plan(_wanted(TWO, 9, held=held))

    np.testing.assert_array_equal(found.values, held)


def test_the_cheapest_repeat_is_taken() -> None:
    """One replicate costs no more than letting any single run repeat any other and no climb."""
    wanted = _wanted(TWO, 8)
    problem, _ = prepared(wanted)
    x = code(best_plan(wanted).values, wanted.region.coding)
    repeated, _ = with_repeats(problem, x, 1, 0, np.random.default_rng(1))
    costs = []
    for i in range(8):
        for j in range(8):
            tried = x.copy()
            tried[i] = x[j]
            if i != j:
                F = problem.working.matrix(tried[None])
                costs.append(scores(know(F, problem.goal), problem.goal)[0])
    F = problem.working.matrix(repeated[None])

    assert scores(know(F, problem.goal), problem.goal)[0] <= min(costs) + 1e-9
    assert len(np.unique(np.round(repeated, 9), axis=0)) == 7


@pytest.mark.parametrize(("n", "distinct"), [(8, 8), (9, 8), (10, 10)])
def test_different_settings_are_not_brought_together_by_the_steps(n: int, distinct: int) -> None:
    """D would rather repeat the seven settings of seven terms, and coarse steps invite it to."""
    own_dose = {
        "name": "own dose",
        "step": 0.1,
        "range": [
            {"when": {"chemistry": "acrylate"}, "low": 0.5, "high": 1.5},
            {"when": {"chemistry": "block"}, "low": 1.0, "high": 3.0},
        ],
    }
    wanted = _wanted(a_study((CHEMISTRY, own_dose)), n, weights={"D": 1.0}, distinct=distinct)
    values = np.round(np.nan_to_num(best_plan(wanted).values, nan=-9.0), 9)

    assert len(np.unique(values, axis=0)) >= distinct


def test_more_replicates_than_runs_are_refused() -> None:
    """Eight runs hold seven replicates at most."""
    with pytest.raises(PlanError, match="replicates"):
        best_plan(_wanted(TWO, 8, replicates=8))


@pytest.mark.parametrize("study", [TWO, a_study((RANGES[0], CHEMISTRY))])
def test_too_few_runs_to_tell_the_terms_are_refused(study: Study) -> None:
    """Four runs for six terms: said before the search, and by it."""
    wanted = _wanted(study, 4)
    with pytest.raises(PlanError, match="no 4 runs"):
        check_tellable(wanted)
    with pytest.raises(PlanError, match="no 4 runs"):
        best_plan(wanted)


def test_a_region_that_cannot_tell_the_terms_is_refused() -> None:
    """Two levels tell no square."""
    study = a_study(({**RANGES[0], "low": None, "high": None, "levels": [1.0, 2.0]}, RANGES[1]))
    other = region_of(TWO)
    with pytest.raises(PlanError, match="tell the terms"):
        best_plan(_wanted(study, 12, model=make_model("quadratic", other.coding)))

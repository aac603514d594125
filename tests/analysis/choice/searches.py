"""Searches that are ready to be searched again, for the tests of trade-offs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from analysis.choice.again import Search, search_of
from analysis.choice.ascent import climb
from analysis.choice.compromise import Compromise, Recipe
from analysis.choice.steps import near_on_steps
from analysis.surface.exact import Surface
from doe.model.region import Region, region_of
from doe.study.brief import Study
from tests.analysis.choice.problems import Problem


def search_in(study: Study, fits: Mapping[str, Surface], *, within_limits: bool = False) -> Search:
    """Find a compromise by ascents from the best scattered points, and make ready to go on.

    Quicker than the whole search; what is tested is what comes after it.
    """
    region: Region = region_of(study)
    nothing = Recipe(settings={}, desirability=0.0, expected=())
    empty = Compromise(
        best=nothing, unrounded=nothing, loss=0.0, unmet=(), binding=(), alternatives=(), view="",
        within_limits=within_limits, findings=(),
    )  # fmt: skip
    bare = search_of(study, region, fits, empty, seed=1)
    objective = bare.objective()
    scatter = bare.scatter.reordered(objective)
    starts = [scatter.place(i) for i in range(8)]
    top = max(climb(objective, bare.charts, starts), key=lambda one: one.score)
    settled = near_on_steps(objective, bare.charts, region.coding, top) or top
    found = replace(
        empty,
        best=bare.book.recipe(settled.settings),
        unrounded=bare.book.recipe(top.settings),
    )
    return replace(bare, found=found)


def problem_search(problem: Problem) -> Search:
    """Make an invented problem ready."""
    return search_in(problem.study, problem.fits)

"""A region searched before, ready to be searched again under other importances or limits.

The first search takes the whole region on; what is asked after it (other importances, a limit
relaxed, a lower dose) moves the answer, mostly not far. So the points scattered once are ordered
anew each time, and ascents start from the best of them, from others anywhere, and from every place
that was good before: an answer is never worse than any of those.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from analysis.choice.ascent import Summit, climb, summits_at
from analysis.choice.chart import Chart, charts_of, number_of_chart
from analysis.choice.compromise import Compromise, Recipe
from analysis.choice.desirability import Aim, aims_of
from analysis.choice.landscape import apart, reach_of
from analysis.choice.objective import Objective, make_objective
from analysis.choice.recipe import RecipeBook
from analysis.choice.starts import Scatter, pick_starts, scatter_over
from analysis.choice.steps import near_on_steps
from analysis.choice.ties import EQUAL
from analysis.surface.acceptance import AcceptLimit
from analysis.surface.exact import Surface
from analysis.surface.noise import full_row, production_of
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.settings import FloatArray

# Starts from good points that lie apart, and from anywhere.
GOOD, ANYWHERE = 12, 8
# Places that are brought onto the bench's steps at most, and how far they lie apart, in ranges.
SETTLED, APART = 3, 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Search:
    """What it takes to search a region again.

    Attributes:
        book: Brief, region, models and the aims that counted before.
        charts: The convex pieces of the region.
        scatter: Points all over it.
        found: The compromise that was found before.
        seed: Of the scattered points and of the starts.
    """

    book: RecipeBook
    charts: tuple[Chart, ...]
    scatter: Scatter
    found: Compromise
    seed: int

    @property
    def compromise(self) -> FloatArray:
        """Settings of the compromise, shape (k,), lab units."""
        return self.row(self.found.best)

    def row(self, recipe: Recipe) -> FloatArray:
        """Turn a recipe into settings, shape (k,), lab units, noise at its production mean."""
        row = full_row(recipe.settings, self.book.coding, self.book.production)
        for j in self.book.production.columns:
            if np.isnan(row[j]):
                row[j] = self.charts[0].origin[j]
        return row

    def aims(self, importances: Mapping[str, float] | None = None) -> tuple[Aim, ...]:
        """Give the aims that counted, with other importances where given."""
        changed = importances or {}
        return tuple(
            replace(aim, importance=changed.get(aim.response, aim.importance))
            for aim in self.book.aims
        )

    def objective(
        self, aims: Sequence[Aim] | None = None, *, within_limits: bool | None = None
    ) -> Objective:
        """Put together what is maximised.

        Args:
            aims: Aims; None for those that counted before.
            within_limits: Whether acceptance limits bind; None for as before.
        """
        binds = self.found.within_limits if within_limits is None else within_limits
        return self.with_limits(self.limits() if binds else (), aims)

    def with_limits(
        self, limits: Sequence[tuple[AcceptLimit, float]], aims: Sequence[Aim] | None = None
    ) -> Objective:
        """Put together what is maximised within some limits, each with its scale."""
        book = self.book
        return make_objective(
            book.fits, book.aims if aims is None else aims, limits, book.production
        )

    def limits(self) -> tuple[tuple[AcceptLimit, float], ...]:
        """Give every acceptance limit with its scale, response unit: see `ramp_of`."""
        return tuple((limit, self.ramp_of(limit.response)) for limit in self.book.limits())

    def ramp_of(self, response: str) -> float:
        """Give the length of a response's ramp, or what it spans over the region; its unit."""
        aim = next((aim for aim in self.book.aims if aim.response == response), None)
        if aim is not None:
            return aim.ramp_length
        plain = Aim(response=response, importance=1.0, shape=1.0, ramps=((0.0, 1.0),))
        return float(np.ptp(self.with_limits((), [plain]).values(self.scatter.settings))) or 1.0

    def known(self, objective: Objective, charts: Sequence[Chart] | None = None) -> list[Summit]:
        """Note every recipe of the compromise under another objective; those inside alone."""
        found = self.found
        own = self.charts if charts is None else charts
        recipes = (found.best, found.unrounded, *found.alternatives)
        rows = [self.row(one) for one in (*recipes, *(each.recipe for each in found.by_level))]
        return noted(objective, own, rows)


def search_of(
    study: Study,
    region: Region,
    fits: Mapping[str, Surface],
    found: Compromise,
    *,
    seed: int,
    level: float = 0.95,
) -> Search:
    """Make a region ready to be searched again.

    Args:
        study: The brief.
        region: Its region.
        fits: Models by response.
        found: The compromise found on them.
        seed: Decides the scattered points.
        level: Confidence of intervals.
    """
    aims = tuple(aim for aim in aims_of(study, found.view) if aim.response in fits)
    production = production_of(study, region.coding)
    charts = charts_of(region, production)
    book = RecipeBook(
        study=study, region=region, fits=fits, aims=aims, production=production, level=level
    )
    objective = make_objective(fits, aims, (), production)
    scatter = scatter_over(objective, charts, np.random.default_rng([seed, 1]))
    return Search(book=book, charts=charts, scatter=scatter, found=found, seed=seed)


def search_again(
    search: Search, objective: Objective, *, charts: tuple[Chart, ...] | None = None
) -> list[Summit]:
    """Search the region, or other pieces in its place, for the best under an objective.

    Returns:
        Every place where an ascent ended and every known one, best first; of equals, those nearest
        to the compromise first.
    """
    own = search.charts if charts is None else charts
    rng = np.random.default_rng([search.seed, 2])
    scatter = (
        search.scatter.reordered(objective) if charts is None else scatter_over(objective, own, rng)
    )
    picked = pick_starts(scatter, reach_of(search.book.coding), GOOD, [], per_chart=GOOD)
    n = min(len(scatter.z), ANYWHERE)
    picked += [int(i) for i in rng.choice(len(scatter.z), n, replace=False)]
    known = search.known(objective, own)
    starts = [scatter.place(i) for i in picked]
    starts += [(one.chart, one.z) for one in known]
    return nearest_first(search, [*known, *climb(objective, own, starts)])


def settled_again(search: Search, objective: Objective, tops: Sequence[Summit]) -> Summit:
    """Bring the best of some places onto the bench's steps; the compromise is one candidate.

    Where no mark lies inside, the best place itself.
    """
    coding, charts = search.book.coding, search.charts
    found = noted(objective, charts, [search.compromise])
    for one in islice(apart(tops, reach_of(coding), APART), SETTLED):
        # A place is no better on the steps than between them.
        if found and one.score <= max(known.score for known in found) + EQUAL:
            break
        settled = near_on_steps(objective, charts, coding, one)
        found += [] if settled is None else [settled]
    return nearest_first(search, found)[0] if found else tops[0]


def noted(
    objective: Objective, charts: Sequence[Chart], rows: Sequence[FloatArray]
) -> list[Summit]:
    """Note settings, shape (k,) each, with their pieces and scores; those outside are left out."""
    kept = []
    for row in rows:
        number = number_of_chart(charts, row)
        if number is not None:
            z = charts[number].coordinates(row[None, :])[0]
            one = summits_at(objective, charts, [(number, z)])[0]
            score = float(objective.score(objective.values(row[None, :]))[0])
            kept.append(replace(one, settings=row, score=score))
    return kept


def nearest_first(search: Search, found: Sequence[Summit]) -> list[Summit]:
    """Order places by score; those equal to the best by their way from the compromise."""
    best = max(one.score for one in found)

    def key(one: Summit) -> tuple[float, float]:
        if one.score < best - EQUAL:
            return (-one.score, 0.0)
        return (-best, part_moved(search, one.settings)[0])

    return sorted(found, key=key)


def part_moved(search: Search, settings: FloatArray) -> tuple[float, str]:
    """Give the largest move from the compromise as a part of a range, and which setting moves it.

    Another level of a choice, or a setting that only one of both has, counts as 1.
    """
    coding = search.book.coding
    here = search.compromise
    away = np.abs(settings - here) / reach_of(coding)
    for j in range(len(away)):
        if j in search.book.production.columns:
            away[j] = 0.0
        elif np.isnan(settings[j]) != np.isnan(here[j]) or coding.names[j] in coding.labels:
            away[j] = float(not settings[j] == here[j])
    away = np.nan_to_num(away)
    j = int(np.argmax(away))
    return float(away[j]), coding.names[j] if away[j] > 0.0 else ""

"""The choice of the compromise: the settings with the greatest overall desirability."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.choice.ascent import Summit
from analysis.choice.boundary import binding_limits, edge_findings
from analysis.choice.by_level import LevelSummit, best_by_level
from analysis.choice.chart import Chart, charts_of
from analysis.choice.compromise import Compromise, LevelBest, Recipe
from analysis.choice.desirability import Aim, aims_of
from analysis.choice.landscape import Landscape, search_region
from analysis.choice.objective import BROKEN, Objective, make_objective
from analysis.choice.obstacles import limit_aim, stated_obstacles
from analysis.choice.recipe import RecipeBook
from analysis.choice.rivals import find_rivals
from analysis.choice.steps import best_on_steps
from analysis.choice.ties import EQUAL
from analysis.surface.acceptance import AcceptLimit
from analysis.surface.exact import Surface
from analysis.surface.narrow_runs import narrow_run_findings
from analysis.surface.noise import Production, production_of
from doe.errors import OptimumError
from doe.methods.registry import is_computed
from doe.model.region import Region
from doe.model.sampling import sample_region
from doe.study.brief import Study
from doe.study.finding import Finding

# Summits that are brought onto the steps: a lower one may lose less there. Beside the best of all,
# the best of each piece, as many equal summits of one piece may stand before those of another.
SETTLED, SETTLED_PIECES = 6, 24
# Scattered points that are brought onto the steps beside them.
PLACES = 400
# Points that tell how far a response without an aim ranges.
RANGING = 400
# A loss by the steps that is worth a caution.
MUCH_LOST = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Question:
    """What is asked, with everything needed to answer it."""

    book: RecipeBook
    objective: Objective
    limits: tuple[tuple[AcceptLimit, float], ...]
    rng: np.random.Generator

    @property
    def production(self) -> Production:
        return self.objective.production


def choose_compromise(
    study: Study,
    region: Region,
    fits: Mapping[str, Surface],
    *,
    view: str = "",
    within_limits: bool = False,
    rng: np.random.Generator,
    level: float = 0.95,
) -> Compromise:
    """Choose the settings that maximise overall desirability over the whole region.

    Args:
        study: The brief: aims, importances, acceptance limits, views, production of noise factors.
        region: All settings the brief allows.
        fits: Models by response name; an aimed response without one is left out, and said.
        view: Role whose importances are used; empty for the brief's own.
        within_limits: Whether every `accept` binds, at predicted values.
        rng: Decides where the search starts; the same generator state gives the same answer.
        level: Confidence of the intervals.

    Returns:
        The compromise on the bench's steps, and before them; rivals; what binds, what is unmet.
        Where every overall desirability is zero, or no recipe keeps binding limits, the least bad
        recipe with a `stop` finding that names what stands in the way. Of equally desirable
        settings: those furthest beyond best, then those nearest to the middle of the ranges.

    Raises:
        OptimumError: No response has an aim, none that has one has a model, or the view is unknown.
    """
    aims = aims_of(study, view)
    known = tuple(aim for aim in aims if aim.response in fits)
    if not known:
        raise OptimumError(
            "no response with an aim has a model yet",
            where="choose",
            allowed="at least one of " + ", ".join(f"'{aim.response}'" for aim in aims),
            do="Enter its readings and run fit first.",
        )
    production = production_of(study, region.coding)
    book = RecipeBook(
        study=study, region=region, fits=fits, aims=known, production=production, level=level
    )
    limits = _scaled_limits(book, rng) if within_limits else ()
    question = _Question(
        book=book,
        objective=make_objective(fits, known, limits, production),
        limits=limits,
        rng=rng,
    )
    findings = (
        *_pending(aims, known, study, fits, within_limits=within_limits),
        *_averaged(book),
    )
    return _answer(question, view, findings, within_limits=within_limits)


def _answer(
    question: _Question, view: str, findings: Sequence[Finding], *, within_limits: bool
) -> Compromise:
    book, objective = question.book, question.objective
    charts = charts_of(book.region, question.production)
    if not charts:
        raise OptimumError(
            "no recipe keeps the limits where noise factors are at their production mean",
            where="study.toml",
            allowed="limits that leave room at the production mean",
            do="Check production against the limits that name noise factors.",
        )
    landscape = search_region(objective, charts, book.coding, question.rng)
    top = landscape.summits[0]
    settled = _settled(question, landscape)
    best = settled or top
    # Where nothing differs, every other recipe would be a rival.
    is_flat = objective.is_flat(landscape.scatter.settings)
    rivals, levels = ((), ()) if is_flat else _others(question, landscape, charts, best)
    found = (*rivals, *(one.summit for one in levels))
    better = max(found, key=lambda one: one.score, default=best)
    if better.score > best.score + EQUAL:
        # What turns out better while looking for others is the compromise itself.
        best = better
        top = max(top, better, key=lambda summit: summit.score)
        rivals, levels = _others(question, landscape, charts, best)
    recipe, unrounded = book.recipe(best.settings), book.recipe(top.settings)
    alternatives = tuple(book.recipe(rival.settings) for rival in rivals)
    by_level = tuple(
        LevelBest(choice=one.choice, level=one.level, recipe=book.recipe(one.summit.settings))
        for one in levels
    )
    return Compromise(
        best=recipe,
        unrounded=unrounded,
        loss=max(0.0, unrounded.desirability - recipe.desirability),
        unmet=_unmet(book, recipe),
        binding=binding_limits(book.region, best.settings, objective, question.limits),
        alternatives=alternatives,
        view=view,
        within_limits=within_limits,
        findings=(
            *findings,
            *(_flat(book) if is_flat else ()),
            *_stops(question, landscape, best),
            *_stepping(settled, recipe, unrounded),
            *edge_findings(book.region, objective, best),
            *_narrow_runs((recipe, *alternatives, *(one.recipe for one in by_level))),
        ),
        by_level=by_level,
    )


def _narrow_runs(recipes: Sequence[Recipe]) -> tuple[Finding, ...]:
    """Say where a run is given more narrowly than the true value, in any recipe that is shown."""
    intervals = {
        first.response: (
            np.array([recipe.expected[i].mean_interval for recipe in recipes]),
            np.array([recipe.expected[i].run_interval for recipe in recipes]),
        )
        for i, first in enumerate(recipes[0].expected)
    }
    return narrow_run_findings(intervals, "recipes")


def _others(
    question: _Question, landscape: Landscape, charts: tuple[Chart, ...], best: Summit
) -> tuple[tuple[Summit, ...], tuple[LevelSummit, ...]]:
    """Find what the team may want to see beside the best: rivals, and each level at its best."""
    objective, coding, rng = question.objective, question.book.coding, question.rng
    rivals = find_rivals(objective, landscape, coding, best, rng)
    return rivals, best_by_level(objective, charts, coding, best, rng)


def _flat(book: RecipeBook) -> tuple[Finding, ...]:
    """Say that nothing tells recipes apart."""
    names = " and ".join(f"'{aim.response}'" for aim in book.aims)
    return (
        Finding(
            level="caution",
            what=f"Nothing tells recipes apart: {names} "
            f"{'do' if len(book.aims) > 1 else 'does'} not vary over the region. Every recipe is "
            "as good as this one, which lies in the middle.",
            advice="Check the readings, or give an aim to a response that varies.",
        ),
    )


def _settled(question: _Question, landscape: Landscape) -> Summit | None:
    """Bring the best summits onto the steps; None where no mark lies inside any of their pieces."""
    firsts = {summit.chart: summit for summit in reversed(landscape.summits)}
    each = sorted(firsts.values(), key=lambda summit: -summit.score)[:SETTLED_PIECES]
    return best_on_steps(
        question.objective,
        landscape.charts,
        question.book.coding,
        (*landscape.summits[:SETTLED], *each),
        landscape.good_places(PLACES),
    )


def _scaled_limits(
    book: RecipeBook, rng: np.random.Generator
) -> tuple[tuple[AcceptLimit, float], ...]:
    """Give each limit the length of the ramp of its response, or else the span it predicts."""
    points = sample_region(book.region, RANGING, rng)
    scaled = []
    for limit in book.limits():
        aim = next((aim for aim in book.aims if aim.response == limit.response), None)
        if aim is not None:
            scale = aim.ramp_length
        else:
            objective = make_objective(book.fits, [limit_aim(limit, 1.0)], [], book.production)
            scale = float(np.ptp(objective.values(points))) or 1.0
        scaled.append((limit, scale))
    return tuple(scaled)


def _pending(
    aims: Sequence[Aim],
    known: Sequence[Aim],
    study: Study,
    fits: Mapping[str, Surface],
    *,
    within_limits: bool,
) -> tuple[Finding, ...]:
    """Name responses that were left out for want of a model."""
    waiting = [aim.response for aim in aims if aim not in known]
    if within_limits:
        waiting += [
            response.name
            for response in study.responses
            if response.accept and response.name not in fits and response.name not in waiting
        ]
    return tuple(
        Finding(
            level="caution",
            what=f"'{name}' {lacks}: the compromise is chosen on the other responses.",
            advice=f"{mend}, and choose again before agreeing.",
        )
        for name in waiting
        for lacks, mend in [_lacks(study, name)]
    )


def _lacks(study: Study, name: str) -> tuple[str, str]:
    """Say what a response left out lacks, and how to mend it."""
    if is_computed(study.response(name)):
        return "cannot be computed from the recipe yet", "Add the data that 'millbase check' names"
    return "has no model yet", f"See with 'millbase fit' what keeps '{name}' from one, mend it"


def _averaged(book: RecipeBook) -> tuple[Finding, ...]:
    """Say which noise factors were averaged over, and what was assumed of them."""
    production = book.production
    return production.findings + tuple(
        Finding(
            level="note",
            what=f"'{book.coding.names[j]}' drifts in production and is not chosen: every response "
            "is averaged over it.",
            evidence={} if np.isnan(mean) else {"mean": float(mean)},
        )
        for j, mean in zip(production.columns, production.means, strict=True)
    )


def _unmet(book: RecipeBook, recipe: Recipe) -> tuple[str, ...]:
    values = {one.response: one.value for one in recipe.expected}
    return tuple(
        f"{limit.response} is predicted at {values[limit.response]:.4g} {limit.unit}".rstrip()
        + f", beyond its limit of {limit.bound()}"
        for limit in book.limits()
        if not bool(limit.met(np.array(values[limit.response])))
    )


def _stops(question: _Question, landscape: Landscape, best: Summit) -> tuple[Finding, ...]:
    """Say why no recipe is worth anything, or keeps the binding limits; empty where one does."""
    if best.score > 0.0:
        return ()
    book = question.book
    if best.score <= BROKEN:
        head = (
            "No recipe meets every acceptance limit at its predicted value; "
            "the nearest miss is shown."
        )
        advice = "Relax a limit, widen the region, or choose without --within-limits."
        aims = [limit_aim(limit, scale) for limit, scale in question.limits]
        wanted = {limit.response: limit.bound() for limit, _ in question.limits}
    else:
        head = "Every recipe has an overall desirability of zero; the least bad one is shown."
        advice = "Move the worst of the response that stands in the way, or widen the region."
        aims = list(book.aims)
        wanted = {aim.response: _better_than(book.study, aim.response) for aim in aims}
    reasons = stated_obstacles(book.fits, aims, question.production, landscape, wanted)
    return (Finding(level="stop", what=head, advice=advice), *reasons)


def _better_than(study: Study, name: str) -> str:
    response = study.response(name)
    unit = f" {response.unit}" if response.unit else ""
    if response.aim == "target":
        return f"between {response.worst_low:g} and {response.worst_high:g}{unit}"
    side = "below" if response.aim == "low" else "above"
    return f"{side} its worst of {response.worst:g}{unit}"


def _stepping(settled: Summit | None, recipe: Recipe, unrounded: Recipe) -> tuple[Finding, ...]:
    if settled is None:
        return (
            Finding(
                level="caution",
                what="No recipe on the bench's steps lies in the region: the compromise is given "
                "between steps.",
                advice="Make the steps finer or widen the limits.",
            ),
        )
    lost = unrounded.desirability - recipe.desirability
    if lost <= MUCH_LOST * unrounded.desirability:
        return ()
    return (
        Finding(
            level="caution",
            what=f"The bench's steps cost desirability: {recipe.desirability:.3f} on them, "
            f"{unrounded.desirability:.3f} between them.",
            evidence={"loss": lost},
            advice="Set the settings that matter most in finer steps.",
        ),
    )

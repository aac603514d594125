"""The compromise chosen again without each run, batch and day.

All responses are fitted again without the unit; the search then starts from the present compromise,
its rivals and the best of many scattered points, which is where a compromise moves to when it
leaps. For the units that move it furthest it may start from good places all over the region, too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.choice.ascent import Summit, climb
from analysis.choice.chart import Chart, charts_of, number_of_chart
from analysis.choice.compromise import Compromise, SettingsRow
from analysis.choice.desirability import Aim, aims_of
from analysis.choice.influential import (
    KINDS,
    BenchUnit,
    Influence,
    InfluenceOnChoice,
    MovedResponse,
    MovedSetting,
    moved_setting,
    units_of,
)
from analysis.choice.landscape import reach_of
from analysis.choice.objective import Objective, make_objective
from analysis.choice.recipe import RecipeBook
from analysis.choice.starts import Scatter, merit_of, pick_starts, scatter_over
from analysis.choice.ties import EQUAL, break_ties
from analysis.fits.without_runs import Refitting
from analysis.surface.acceptance import AcceptLimit, accept_limits
from analysis.surface.exact import Surface
from analysis.surface.noise import full_row, production_of
from analysis.surface.predict import predict_values
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.settings import FloatArray

# Scattered points that may turn out best without a unit: the best of all by the models in use.
PLACES = 600
# Units whose compromise is searched for over the whole region, where asked for, and from how many
# good places that lie apart.
SEARCHED, STARTS = 3, 16


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InfluenceQuestion:
    """What the influence is judged on.

    Attributes:
        study: The brief.
        region: All settings it allows.
        surfaces: Models by response, computed responses among them.
        refittings: Ways to fit the models again, by response.
        compromise: In use; where acceptance limits bound it, they bind again.
    """

    study: Study
    region: Region
    surfaces: Mapping[str, Surface]
    refittings: Mapping[str, Refitting]
    compromise: Compromise


def assess_influence(
    question: InfluenceQuestion,
    rng: np.random.Generator,
    *,
    slow: bool = False,
    wide: bool = False,
) -> InfluenceOnChoice:
    """Choose the compromise again without each run, batch and day that has readings.

    Args:
        question: What is judged.
        rng: Decides the scattered points.
        slow: Whether responses fitted by a likelihood of their own are fitted again, too.
        wide: Whether to start from good places all over the region for the units that move the
            compromise furthest.
    """
    data = {name: one.data for name, one in question.refittings.items()}
    held = tuple(n for n, one in question.refittings.items() if not (slow or one.is_quick))
    ground = _ground_of(question, rng)
    found = [_without(question, ground, unit, held) for unit in units_of(data)]
    if wide:
        furthest = sorted(found, key=_rank)[:SEARCHED]
        found = [
            _searched(question, ground, one, held) if one in furthest else one for one in found
        ]
    found.sort(key=lambda one: (KINDS.index(one.unit.kind), *_rank(one)))
    return InfluenceOnChoice(units=tuple(found), present=ground.top.score, held=held)


def _rank(one: Influence) -> tuple[float, float]:
    return (-round(one.reach, 9), -round(one.gain, 9))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """Where the search starts, whatever the models.

    Attributes:
        charts: Convex pieces of the region.
        starts: The present compromise and its rivals.
        scatter: Points all over the region, the best by the models of all runs first.
        row: The present compromise, shape (k,).
        top: Where the search ends with the models of all runs.
        settings_of_top: In words.
        has_ties: Whether other settings are as good as the top, so that one must be taken.
    """

    charts: tuple[Chart, ...]
    starts: tuple[tuple[int, FloatArray], ...]
    scatter: Scatter
    row: FloatArray
    top: Summit
    settings_of_top: SettingsRow
    has_ties: bool


def _ground_of(question: InfluenceQuestion, rng: np.random.Generator) -> _Ground:
    objective = _objective(question, {})
    production = objective.production
    charts = charts_of(question.region, production)
    coding, found = question.region.coding, question.compromise
    rows = [
        full_row(recipe.settings, coding, production)
        for recipe in (found.unrounded, *found.alternatives)
    ]
    starts = tuple(place for row in rows if (place := _place(charts, row)) is not None)
    scatter = scatter_over(objective, charts, rng)
    climbed = _highest(objective, charts, starts or (scatter.place(0),))
    top = break_ties(objective, charts, climbed)
    return _Ground(
        charts=charts, starts=starts, scatter=scatter, row=top.settings, top=top,
        settings_of_top=_book(question).named(top.settings),
        has_ties=top is not climbed,
    )  # fmt: skip


def _place(charts: Sequence[Chart], row: FloatArray) -> tuple[int, FloatArray] | None:
    number = number_of_chart(charts, row)
    if number is None:
        return None
    return number, charts[number].pulled_in(charts[number].coordinates(row[None, :])[0])


def _without(
    question: InfluenceQuestion, ground: _Ground, unit: BenchUnit, held: Sequence[str]
) -> Influence:
    again, lost = _refitted(question, unit, held)
    objective = _objective(question, again)
    values = objective.values(ground.scatter.settings[:PLACES])
    leap = int(np.argmax(merit_of(objective, values)))
    top = _top_from(objective, ground, (*ground.starts, ground.scatter.place(leap)))
    book = _book(question)
    return Influence(
        unit=unit,
        moves=_moves(question, ground.settings_of_top, book.named(top.settings)),
        desirability=max(top.score, 0.0),
        at_present=float(objective.overall(objective.values(ground.row[None, :]))[0]),
        predictions=_predictions(question, ground.row, again),
        not_fitted=lost,
    )


def _searched(
    question: InfluenceQuestion, ground: _Ground, one: Influence, held: Sequence[str]
) -> Influence:
    """Take the best from starts all over the region where it beats the one found nearby."""
    again, _ = _refitted(question, one.unit, held)
    objective = _objective(question, again)
    scatter = ground.scatter.reordered(objective)
    picked = pick_starts(scatter, reach_of(question.region.coding), STARTS, [], per_chart=STARTS)
    starts = [scatter.place(i) for i in picked]
    top = _top_from(objective, ground, starts)
    if top.score <= one.desirability + EQUAL:
        return replace(one, searched=True)
    return replace(
        one,
        moves=_moves(question, ground.settings_of_top, _book(question).named(top.settings)),
        desirability=top.score,
        searched=True,
    )


def _top_from(
    objective: Objective, ground: _Ground, starts: Sequence[tuple[int, FloatArray]]
) -> Summit:
    """Climb from starts to the highest summit, ties broken as for the compromise itself."""
    top = _highest(objective, ground.charts, starts)
    if ground.has_ties or top.score >= 1.0 - EQUAL:
        return break_ties(objective, ground.charts, top)
    return top


def _refitted(
    question: InfluenceQuestion, unit: BenchUnit, held: Sequence[str]
) -> tuple[dict[str, Surface], tuple[str, ...]]:
    again: dict[str, Surface] = {}
    lost = []
    for name, refitting in question.refittings.items():
        if name in held or not refitting.has(unit.runs):
            continue
        fit = refitting.without(unit.runs)
        if fit is None:
            lost.append(name)
        else:
            again[name] = fit
    return again, tuple(lost)


def _highest(
    objective: Objective, charts: tuple[Chart, ...], starts: Sequence[tuple[int, FloatArray]]
) -> Summit:
    return max(climb(objective, charts, starts), key=lambda summit: round(summit.score, 9))


def _objective(question: InfluenceQuestion, again: Mapping[str, Surface]) -> Objective:
    study = question.study
    surfaces = {**question.surfaces, **again}
    aims = [aim for aim in aims_of(study, question.compromise.view) if aim.response in surfaces]
    production = production_of(study, question.region.coding)
    return make_objective(surfaces, aims, _limits(question, aims), production)


def _limits(question: InfluenceQuestion, aims: Sequence[Aim]) -> list[tuple[AcceptLimit, float]]:
    """Give the limits that bind, each with the length of its response's ramp or its own size."""
    if not question.compromise.within_limits:
        return []
    lengths = {aim.response: aim.ramp_length for aim in aims}
    limits = accept_limits(question.study.responses)
    return [
        (limit, lengths.get(limit.response, abs(limit.limit) or 1.0))
        for limit in limits
        if limit.response in question.surfaces
    ]


def _book(question: InfluenceQuestion) -> RecipeBook:
    production = production_of(question.study, question.region.coding)
    return RecipeBook(
        study=question.study, region=question.region, fits=question.surfaces, aims=(),
        production=production, level=0.95,
    )  # fmt: skip


def _moves(
    question: InfluenceQuestion, before: SettingsRow, after: SettingsRow
) -> tuple[MovedSetting, ...]:
    units = {factor.name: factor.unit for factor in question.study.factors}
    return tuple(
        moved_setting(axis, before, after, units.get(axis.name, ""))
        for axis in question.region.coding.axes
        if axis.name in before or axis.name in after
    )


def _predictions(
    question: InfluenceQuestion, row: FloatArray, again: Mapping[str, Surface]
) -> tuple[MovedResponse, ...]:
    production = production_of(question.study, question.region.coding)
    told = []
    for name, surface in question.surfaces.items():
        before = float(predict_values(surface, row[None, :], production)[0])
        other = again.get(name)
        after = (
            before if other is None else float(predict_values(other, row[None, :], production)[0])
        )
        told.append(MovedResponse(response=name, unit=surface.unit, before=before, after=after))
    return tuple(told)

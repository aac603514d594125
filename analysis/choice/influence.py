"""The compromise chosen again without each run, batch and day.

All responses are fitted again without the unit; the search then starts from the present compromise,
its rivals and the best of many scattered points, which is where a compromise moves to when it
leaps. For the units that move it furthest the whole region may be searched again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.choice.ascent import Summit, climb
from analysis.choice.chart import Chart, charts_of
from analysis.choice.compromise import Compromise, SettingsRow
from analysis.choice.desirability import Aim, aims_of
from analysis.choice.influential import (
    BenchUnit,
    Influence,
    InfluenceOnChoice,
    MovedResponse,
    MovedSetting,
    moved_setting,
    units_of,
)
from analysis.choice.objective import Objective, make_objective
from analysis.choice.recipe import RecipeBook
from analysis.choice.starts import merit_of, scatter_over
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
# Units whose compromise is searched for over the whole region, where asked for.
SEARCHED = 3
# Chooses over the whole region with other models in place of some.
Choose = Callable[[Mapping[str, Surface]], Compromise | None]


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
    choose: Choose | None = None,
) -> InfluenceOnChoice:
    """Choose the compromise again without each run, batch and day that has readings.

    Args:
        question: What is judged.
        rng: Decides the scattered points.
        slow: Whether responses fitted by a likelihood of their own are fitted again, too.
        choose: Searches the whole region; used for the units that move the compromise furthest.
    """
    data = {name: one.data for name, one in question.refittings.items()}
    held = tuple(n for n, one in question.refittings.items() if not (slow or one.is_quick))
    ground = _ground_of(question, rng)
    found = [_without(question, ground, unit, held) for unit in units_of(data)]
    if choose is not None:
        furthest = sorted(found, key=_rank)[:SEARCHED]
        found = [
            _searched(question, one, held, choose) if one in furthest else one for one in found
        ]
    order = {"run": 0, "batch": 1, "day": 2}
    found.sort(key=lambda one: (order[one.unit.kind], *_rank(one)))
    return InfluenceOnChoice(units=tuple(found), present=ground.top.score, held=held)


def _rank(one: Influence) -> tuple[float, float]:
    return (-round(one.reach, 9), -round(one.gain, 9))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """Where the search starts, whatever the models.

    Attributes:
        charts: Convex pieces of the region.
        starts: The present compromise and its rivals.
        places: Scattered points: chart and coordinates.
        settings: Of these, shape (g, k).
        row: The present compromise, shape (k,).
        top: Where the search ends with the models of all runs.
        settings_of_top: In words.
        has_ties: Whether other settings are as good as the top, so that one must be taken.
    """

    charts: tuple[Chart, ...]
    starts: tuple[tuple[int, FloatArray], ...]
    places: tuple[tuple[int, FloatArray], ...]
    settings: FloatArray
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
    best = range(min(PLACES, len(scatter.z)))
    places = tuple((int(scatter.chart[i]), scatter.z[i]) for i in best)
    climbed = _highest(objective, charts, starts or places[:1])
    top = break_ties(objective, charts, climbed)
    return _Ground(
        charts=charts, starts=starts, places=places, settings=scatter.settings[list(best)],
        row=top.settings, top=top, settings_of_top=_book(question).named(top.settings),
        has_ties=top is not climbed,
    )  # fmt: skip


def _place(charts: Sequence[Chart], row: FloatArray) -> tuple[int, FloatArray] | None:
    for number, chart in enumerate(charts):
        if bool(chart.fits(row[None, :])[0]):
            return number, chart.pulled_in(chart.coordinates(row[None, :])[0])
    return None


def _without(
    question: InfluenceQuestion, ground: _Ground, unit: BenchUnit, held: Sequence[str]
) -> Influence:
    again, lost = _refitted(question, unit, held)
    objective = _objective(question, again)
    values = objective.values(ground.settings)
    leap = int(np.argmax(merit_of(objective, values)))
    top = _highest(objective, ground.charts, (*ground.starts, ground.places[leap]))
    if ground.has_ties or top.score >= 1.0 - EQUAL:
        top = break_ties(objective, ground.charts, top)
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
    question: InfluenceQuestion, one: Influence, held: Sequence[str], choose: Choose
) -> Influence:
    """Take the compromise of a whole search where it is better than the one found nearby."""
    again, _ = _refitted(question, one.unit, held)
    found = choose(again)
    if found is None:
        return one
    if found.unrounded.desirability <= one.desirability + EQUAL:
        return replace(one, searched=True)
    before = {move.setting: move.before for move in one.moves if move.before is not None}
    return replace(
        one,
        moves=_moves(question, before, found.unrounded.settings),
        desirability=found.unrounded.desirability,
        searched=True,
    )


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
    lengths = {aim.response: 1.0 / max(abs(c) for _, c in aim.ramps) for aim in aims}
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

"""Plans of other sizes round the one that is appraised: what one more day would buy."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from doe.appraisal.appraise import Asked
from doe.appraisal.profile import Terrain
from doe.appraisal.runs import PlanRuns, runs_of_plan
from doe.appraisal.sizes import SizePoint, fewer_runs, more_runs, shares_batches, size_point
from doe.errors import DoeError
from doe.model.coding import coding_of
from doe.model.matrix import model_columns
from doe.model.region import region_of
from doe.model.terms import Model, model_names
from doe.steps.session import Session
from doe.study.plan import Kind, Plan

if TYPE_CHECKING:
    from doe.layouts.request import LayoutRuns, Request

# Plans made anew, as parts of the present number of runs: enough to draw a line through, few enough
# to wait for. The most telling come first, and alone where a search takes long.
ANEW = (1.0, 1.25, 0.8)
# Runs × coefficients² up to which all of them, two, or one are searched: some six seconds each way.
WORK = (5_000, 10_000, 30_000)
# Units that the curve goes on for, at least and at most.
LEAST_MORE, MOST_MORE = 6, 24


def batches_per_day(session: Session, runs: PlanRuns) -> int | None:
    """Give the batches that a day holds beside its controls; None where nothing says."""
    from doe.layouts.blocking import block_rule

    rule = block_rule(session.study)
    if rule is not None and rule.name == "day":
        return rule.room
    days = runs.count("day") if runs.unit("day") is not None else 0
    return max(round(runs.n_batches / days), 1) if days > 1 else None


def sizes_round(
    session: Session,
    runs: PlanRuns,
    model: Model,
    terrain: Terrain,
    wishes: Asked,
    per_day: int | None,
    seed: int,
) -> tuple[SizePoint, ...]:
    """Judge the plan with runs taken away and added one by one, and plans made anew."""
    own = runs.n_batches if shares_batches(runs) else int(runs.is_design.sum())
    units = min(max(2 * (per_day or 4), LEAST_MORE, own // 2), MOST_MORE)
    ratio = wishes.ratio if isinstance(wishes.ratio, int | float) else 1.0
    anew = [
        size_point(runs_of_plan(plan, session.study).beside(runs), terrain, wishes, "anew")
        for plan in plans_of_other_sizes(session, model, runs, ratio, seed)
    ]
    points = (
        *fewer_runs(runs, terrain, wishes),
        size_point(runs, terrain, wishes, "this plan"),
        *more_runs(runs, terrain, wishes, units, per_day),
        *anew,
    )
    return tuple(point for point in points if point is not None)


def plans_of_other_sizes(
    session: Session, model: Model, runs: PlanRuns, ratio: float, seed: int
) -> Iterator[Plan]:
    """Make plans anew for fewer and for more runs than a plan has, each as good as a short search.

    Sizes that no plan can be made for are left out.
    """
    # Loaded here: layouts pull in what the quick answer does without.
    from doe.layouts.order import arrange
    from doe.layouts.request import Request

    study = session.study
    coding = coding_of(study)
    shared = shares_batches(runs)
    n = int(runs.is_design.sum())
    whole, each = (runs.n_batches, n / runs.n_batches) if shared else (n, 1)
    names = tuple(name for name in model.name.split(" + ") if name in model_names(coding))
    p = len(model_columns(model, coding))
    parts = ANEW[: sum(n * p * p < most for most in WORK)]
    for size in dict.fromkeys(round(part * whole) for part in parts):
        request = Request(
            study=study, coding=coding, region=region_of(study), models=names,
            runs=round(size * each), batches=size if shared else None,
            sample_from_batch=shared, criterion="I", seed=seed, ratios=(ratio,),
        )  # fmt: skip
        try:
            made = _short_search(request)
        except DoeError:
            continue
        yield arrange(made, study, np.random.default_rng([seed, 2]))


def _short_search(request: Request) -> LayoutRuns:
    """Search a plan as the layout `optimal` does, but from random starts alone, without shaking."""
    from doe.layouts.blocking import with_days
    from doe.layouts.optimal.search import best_plan
    from doe.layouts.optimal.wanted import budget_of, criterion_weights, searched_model, to_wanted
    from doe.layouts.request import LayoutRuns

    request = with_days(request)
    weights = criterion_weights(request)
    model, potential = searched_model(request, weights)
    budget = budget_of(request, model, 0)
    wanted = to_wanted(request, model, budget, weights, potential)
    found = best_plan(replace(wanted, rounds=0, workers=1))
    design: list[Kind] = ["design"] * len(found.values)
    return LayoutRuns(
        layout="optimal", models=request.wanted_models, values=found.values,
        kind=tuple(design), block=budget.block, batch=budget.batch,
    )  # fmt: skip

"""Making a layout by name: fit for region and model, or refused with what would work."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from doe.errors import DoeError, PlanError
from doe.layouts.blocking import with_days
from doe.layouts.outside import why_outside
from doe.layouts.placing import REGION_TOLERANCE
from doe.layouts.registry import LAYOUTS, OPTIMAL, find_layout
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.sampling_batches import from_batches, has_samples
from doe.model.information import rank_and_condition
from doe.model.matrix import model_matrix
from doe.model.terms import make_model, model_names

# Most alternatives named in a refusal.
_NAMED = 3


def make_layout(name: str, request: Request) -> LayoutRuns:
    """Make the runs of a layout and hold them against the region and the models.

    Args:
        name: Name in the registry, case-blind, spaces or hyphens.
        request: What is wanted.

    Returns:
        Runs inside the region, from which every model of the request can be estimated.

    Raises:
        PlanError: The layout does not fit; names layouts or models that were tried and do.
    """
    layout = find_layout(name)
    request = with_days(request)
    try:
        return checked(layout, request)
    except PlanError as error:
        fault = error.faults[0]
        advice = _what_would_work(layout, request) or fault.do
        raise PlanError(fault.what, where=fault.where, allowed=fault.allowed, do=advice) from error


def checked(layout: Layout, request: Request) -> LayoutRuns:
    """Make the runs of a layout and check them, without looking for alternatives.

    Raises:
        PlanError: The layout does not fit, its runs leave the region, or they can't estimate a
            model.
    """
    sampled = request.sample_from_batch and has_samples(request.study) and layout.name != OPTIMAL
    runs = from_batches(layout, request) if sampled else layout.make(request)
    _check_region(runs, request)
    # A Bayesian D may be asked for more than it tells: it is held against what it promises.
    for model in runs.models if layout.name == OPTIMAL else request.wanted_models:
        _check_model(runs, request, model)
    return runs


def _check_region(runs: LayoutRuns, request: Request) -> None:
    inside = np.asarray(request.search_region.contains(runs.values, REGION_TOLERANCE))
    if inside.all():
        return
    n_outside = int((~inside).sum())
    row = runs.values[int(np.argmin(inside))]
    raise PlanError(
        f"{n_outside} of {len(runs)} runs of the layout '{runs.layout}' leave the region, one at "
        f"{why_outside(row, request)}",
        where="the brief's limits",
    )


def _check_model(runs: LayoutRuns, request: Request, name: str) -> None:
    model = make_model(name, request.coding)
    X = model_matrix(runs.values, request.coding, model)
    rank, _ = rank_and_condition(X)
    if rank < X.shape[1]:
        raise PlanError(
            f"the {len(runs)} runs of the layout '{runs.layout}' can't estimate the {name} model: "
            f"it has {X.shape[1]} coefficients, the runs tell {rank} of them apart"
        )


def _what_would_work(layout: Layout, request: Request) -> str:
    """Try other layouts, smaller models and the layout's own least runs, and name what works."""
    made = [
        (len(runs), other.name)
        for other in LAYOUTS.values()
        if other.name not in (layout.name, OPTIMAL)
        and (runs := _tried(other, request))
        and _is_mostly_layout(runs)
    ]
    working = [f"'{name}' ({n_runs} runs)" for n_runs, name in sorted(made)]
    said = []
    if working:
        said.append(f"These layouts work here: {', '.join(working[:_NAMED])}.")
    elif OPTIMAL in LAYOUTS and layout.name != OPTIMAL:
        n_optimal = _foreseen(LAYOUTS[OPTIMAL], request)
        if n_optimal:
            said.append(f"The layout '{OPTIMAL}' works here ({n_optimal} runs).")
    smaller = _smaller_model(layout, request)
    if smaller:
        said.append(smaller)
    # With batches said, another number of runs would contradict what the refusal allows.
    if request.runs is not None and request.batches is None and not said:
        free = _foreseen(layout, replace(request, runs=None))
        if free:
            said.append(f"'{layout.name}' works with --runs {free}.")
    return " ".join(said)


def _is_mostly_layout(runs: LayoutRuns) -> bool:
    """Tell whether a table has so many runs itself, not most of them by repetition."""
    return 2 * runs.kind.count("replicate") <= len(runs)


def _smaller_model(layout: Layout, request: Request) -> str:
    names = model_names(request.coding)
    largest = max((names.index(m) for m in request.wanted_models if m in names), default=0)
    for name in reversed(names[:largest]):
        n_runs = _foreseen(layout, replace(request, models=(name,)))
        if n_runs:
            return f"'{layout.name}' works for --model {name} ({n_runs} runs)."
    return ""


def _foreseen(layout: Layout, request: Request) -> int | None:
    """Tell how many runs a layout would have here; None where it does not work."""
    try:
        return layout.foresee(request) if layout.foresee else len(checked(layout, request))
    except DoeError:
        return None


def _tried(layout: Layout, request: Request) -> LayoutRuns | None:
    try:
        return checked(layout, request)
    except DoeError:
        return None

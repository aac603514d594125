"""The layout `optimal`: as many runs as the budget holds, placed where the model needs them."""

from __future__ import annotations

import numpy as np

from doe.errors import PlanError
from doe.layouts.optimal.candidates import candidate_settings
from doe.layouts.optimal.criterion import CriterionName, criterion_value, make_criterion
from doe.layouts.optimal.exchange import Found, Search, best_repeats, best_rows
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.model.coding import Coding
from doe.model.matrix import model_columns, model_matrix
from doe.model.sampling import sample_region
from doe.model.terms import Model, make_model
from doe.study.plan import Kind

# Runs beyond the model's own, where the brief asks for none: enough for a test of lack of fit with
# some power and a pure error that is worth its name (common practice, no source: 4 to 5 of each).
DEFAULT_LACK_OF_FIT = 5
DEFAULT_REPLICATES = 4
DEFAULT_STARTS = 60
# Candidates for each run to choose, below which the inside of the region is offered, too.
SPARE_CANDIDATES = 4
# Points that stand for the region in the average prediction variance.
REGION_POINTS = 4000


def make(request: Request) -> LayoutRuns:
    """Choose runs for the region and the models at hand.

    Args:
        request: What is wanted: runs, replicates, lack of fit, criterion and starts count.

    Returns:
        The runs, replicates last.

    Raises:
        PlanError: Fewer runs than the model has terms, more than the region has points, or samples
            that share batches.
    """
    if request.sample_from_batch:
        raise PlanError(
            "the layout 'optimal' makes every run a mill batch of its own",
            where="--batches",
            do="Leave out --batches and --from-batch, or name a classic layout.",
        )
    model = union_model(request.wanted_models, request.coding)
    p = len(model_columns(model, request.coding))
    n_distinct, n_repeats = _budget(request, p)
    settings = candidate_settings(request.region, SPARE_CANDIDATES * n_distinct, request.rng())
    candidates = model_matrix(settings, request.coding, model)
    if len(settings) < n_distinct:
        raise PlanError(
            f"{n_distinct} settings are asked for, the region holds {len(settings)} to choose from",
            do="Ask for fewer runs, or for more of them as replicates (--replicates).",
        )
    name = _criterion_name(request)
    sample = sample_region(request.region, REGION_POINTS, np.random.default_rng([request.seed, 1]))
    criterion = make_criterion(name, model_matrix(sample, request.coding, model))
    search = Search(starts=request.starts or DEFAULT_STARTS, seed=request.seed)
    found = best_rows(candidates, n_distinct, criterion, search)
    if not np.isfinite(found.value):
        raise PlanError(
            f"no {n_distinct} settings of this region can tell the terms of the model apart",
            do="Ask for a smaller model (--model), or widen the region.",
        )
    repeats = found.rows[best_repeats(candidates[found.rows], n_repeats, criterion)]
    rows = np.concatenate([found.rows, repeats])
    design: list[Kind] = ["design"] * n_distinct
    again: list[Kind] = ["replicate"] * n_repeats
    value = criterion_value(criterion, candidates[rows])
    return LayoutRuns(
        layout="optimal", models=request.wanted_models, values=settings[rows],
        kind=(*design, *again),
        criterion=name, criterion_value=abs(value), details=_details(found, len(settings), p),
        reasons=_reasons(name, p, n_distinct, n_repeats, found),
    )  # fmt: skip


def union_model(names: tuple[str, ...], coding: Coding) -> Model:
    """Gather the terms of several models, so that one plan serves every response."""
    models = [make_model(name, coding) for name in names]
    terms = dict.fromkeys(term for model in models for term in model.terms)
    return models[0] if len(models) == 1 else Model(name=" + ".join(names), terms=tuple(terms))


def _budget(request: Request, p: int) -> tuple[int, int]:
    """Split the runs into different settings and replicates."""
    repeats = DEFAULT_REPLICATES if request.replicates is None else request.replicates
    further = DEFAULT_LACK_OF_FIT if request.lack_of_fit is None else request.lack_of_fit
    if request.runs is None:
        return p + further, repeats
    spare = request.runs - p
    if spare < 0:
        raise PlanError(
            f"{request.runs} runs cannot estimate the {p} terms of the model",
            where="--runs",
            allowed=f"{p} or more; {p + further + repeats} to check it, too",
            do=_smaller_models(request),
        )
    if request.replicates is None:
        # A small budget is shared: replicates and further settings get alike.
        return request.runs - min(repeats, spare // 2), min(repeats, spare // 2)
    if repeats > spare:
        raise PlanError(
            f"{request.runs} runs less {repeats} replicates are too few for {p} terms",
            where="--replicates",
            allowed=f"0 to {spare}",
        )
    return request.runs - repeats, repeats


def _smaller_models(request: Request) -> str:
    """Say which model the budget can estimate."""
    for name in ("quadratic", "interactions", "linear"):
        p = len(model_columns(make_model(name, request.coding), request.coding))
        if request.runs is not None and p <= request.runs:
            return f"With {request.runs} runs the largest model is '{name}' ({p} terms)."
    return "Even a linear model needs more; hold a factor (value = …) or make more runs."


def _criterion_name(request: Request) -> CriterionName:
    names: dict[str, CriterionName] = {"D": "D", "I": "I", "A": "A"}
    return names.get(request.criterion, "D" if request.purpose == "screening" else "I")


def _details(found: Found, n_candidates: int, p: int) -> dict[str, int]:
    return {
        "terms": p, "candidates": n_candidates, "starts": found.starts,
        "starts within 0.1 % of the best": found.agreeing,
    }  # fmt: skip


def _reasons(name: str, p: int, n_distinct: int, n_repeats: int, found: Found) -> tuple[str, ...]:
    aim = {
        "D": "the coefficients as exact as a search could (D-criterion)",
        "I": "the prediction over the whole region as exact as a search could (I-criterion)",
        "A": "the average variance of the coefficients as small as a search could (A-criterion)",
    }[name]
    return (
        f"The runs are placed in the region as the brief limits it to make {aim}.",
        f"{n_distinct} different settings for {p} terms leave {n_distinct - p} to test the form of "
        f"the model, and {n_repeats} replicates show the scatter between batches.",
        f"Best of {found.starts} random starts; {found.agreeing} of them came within 0.1 % of it.",
    )


LAYOUT = Layout(
    name="optimal",
    title="Optimal plan for the region and the model",
    for_="When limits, shares or levels cut the region so that no classic layout fits it well.",
    make=make,
)

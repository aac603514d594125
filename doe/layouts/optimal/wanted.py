"""From a request to what is searched for: how many runs, who shares what, which criterion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.errors import PlanError
from doe.layouts.blocking import block_rule, block_sizes
from doe.layouts.drawn_samples import refuse_samples
from doe.layouts.optimal.goal import BAYESIAN_D, NAMES, parse_criterion
from doe.layouts.optimal.refusing import refuse_endless, refuse_included, refuse_total
from doe.layouts.optimal.search import Wanted
from doe.layouts.request import Request
from doe.model.coding import Coding
from doe.model.matrix import Column, model_columns
from doe.model.strata import (
    Strata,
    Stratum,
    block_is_random,
    days_are_random,
    make_strata,
    stages_of,
)
from doe.model.terms import Model, make_model, model_names
from doe.study.brief import STAGES
from doe.study.settings import BoolArray, IntArray

# Runs beyond the model's own where nothing is asked for: enough for a test of lack of fit with some
# power and a pure error that is worth its name (common practice, no source: 4 to 5 of each).
DEFAULT_LACK_OF_FIT = 5
DEFAULT_REPLICATES = 4
# Batches beyond what their own terms take: below four degrees of freedom t is above 2.8.
SPARE_BATCHES = 4
_BATCH = STAGES.index("batch")
_CURVED_SAMPLES, _STRAIGHT_SAMPLES = 3, 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Budget:
    """What a request comes to.

    Attributes:
        n: Runs.
        batches: Mill batches.
        replicates: Runs (batches where runs share them) that repeat another, at least.
        distinct: Different settings, at least.
        batch: Batch of each run from 1, shape (n,); None where each is one of its own.
        block: Day or other block of each run from 1, shape (n,); None without blocks.
        strata: Who shares what.
    """

    n: int
    batches: int
    replicates: int
    distinct: int
    batch: IntArray | None
    block: IntArray | None
    strata: Strata


def union_model(names: tuple[str, ...], coding: Coding) -> Model:
    """Gather the terms of several models, so that one plan serves every response."""
    models = [make_model(name, coding) for name in names]
    terms = dict.fromkeys(term for model in models for term in model.terms)
    return models[0] if len(models) == 1 else Model(name=" + ".join(names), terms=tuple(terms))


def criterion_weights(request: Request) -> dict[str, float]:
    """Read the criterion of a request: as asked for, else D for screening and I for optimising.

    Raises:
        PlanError: The text names no criterion.
    """
    text = request.criterion or ("D" if request.purpose == "screening" else "I")
    try:
        return parse_criterion(text)
    except ValueError as error:
        raise PlanError(
            str(error),
            where="--criterion",
            allowed=f"{', '.join(NAMES)}, or weighted together: '0.7 I + 0.3 D'",
        ) from error


def primary_models(request: Request, weights: dict[str, float]) -> tuple[str, ...]:
    """Give the models that the runs must tell: those asked for, or what a Bayesian D can tell.

    Raises:
        PlanError: A Bayesian D has fewer runs than the linear model has terms.
    """
    wanted, runs = request.wanted_models, request.runs
    if BAYESIAN_D not in weights or runs is None or _can_hold(request, wanted, runs):
        return wanted
    names = model_names(request.coding)
    largest = max((names.index(name) for name in wanted if name in names), default=0)
    for name in reversed(names[: largest + 1]):
        if _can_hold(request, (name,), runs):
            return (name,)
    columns = model_columns(make_model(names[0], request.coding), request.coding)
    least = len(columns) + (request.replicates or 0) + (request.lack_of_fit or 0)
    raise PlanError(
        f"{runs} runs are too few even for the {len(columns)} terms of the {names[0]} model, which "
        "a Bayesian D must tell",
        where="--runs",
        allowed=f"{least} or more",
    )


def _can_hold(request: Request, names: tuple[str, ...], runs: int) -> bool:
    """Tell whether so many runs, and the batches asked for, can estimate models."""
    columns = model_columns(union_model(names, request.coding), request.coding)
    further = (request.replicates or 0) + (request.lack_of_fit or 0)
    if len(columns) + further > runs:
        return False
    if not request.sample_from_batch or request.batches is None:
        return True
    return batch_columns(columns, request) <= request.batches


def searched_model(request: Request, weights: dict[str, float]) -> tuple[Model, BoolArray | None]:
    """Give the model of a search, and the columns that a Bayesian D only guards against.

    These are the terms asked for that the runs cannot tell, and those of the next larger model.
    """
    told = primary_models(request, weights)
    model = union_model(told, request.coding)
    if BAYESIAN_D not in weights:
        return model, None
    names = model_names(request.coding)
    beyond = [name for name in names if name not in request.wanted_models]
    larger = next(
        (
            n
            for n in ("interactions", "quadratic", "special cubic", "cubic")
            if n in beyond and names.index(n) > names.index(request.wanted_models[-1])
        ),
        None,
    )
    further = (*request.wanted_models, *([larger] if larger else []))
    wide = union_model(tuple(dict.fromkeys((*told, *further))), request.coding)
    primary = set(model_columns(model, request.coding))
    mask = np.array([c not in primary for c in model_columns(wide, request.coding)])
    return (wide, mask) if mask.any() else (model, None)


def budget_of(request: Request, model: Model, n_potential: int = 0) -> Budget:
    """Work out how many runs, batches and days a request takes.

    Args:
        request: What is asked for.
        model: What the runs must tell.
        n_potential: Columns of it that need not be told (Bayesian D).

    Raises:
        PlanError: It cannot be met; says what can.
    """
    columns = model_columns(model, request.coding)
    p = len(columns) - n_potential
    refuse_endless(request, len(columns))
    refuse_included(request)
    if not request.sample_from_batch:
        n, replicates, distinct = _independent(request, p)
        refuse_total(n, request)
        n_included = 0 if request.included is None else len(request.included)
        if n < n_included:
            raise PlanError(
                f"{n_included} runs must be in, and {n} are planned in all",
                where="--include",
                allowed=f"--runs {n_included} or more",
            )
        block, strata = _blocks(request, n, None, n)
        return Budget(
            n=n, batches=n, replicates=replicates, distinct=distinct, batch=None, block=block,
            strata=strata,
        )  # fmt: skip
    told = columns
    if n_potential:
        names = primary_models(request, criterion_weights(request))
        told = model_columns(union_model(names, request.coding), request.coding)
    n_batches, each = _shared(request, p, batch_columns(told, request))
    batch = np.repeat(np.arange(1, n_batches + 1), each)
    block, strata = _blocks(request, n_batches, batch, len(batch), _samples(request, batch, each))
    return Budget(
        n=len(batch), batches=n_batches, replicates=request.replicates or 0,
        distinct=0 if request.lack_of_fit is None else p + request.lack_of_fit,
        batch=batch, block=block, strata=strata,
    )  # fmt: skip


def to_wanted(request: Request, model: Model, budget: Budget, weights: dict[str, float],
              potential: BoolArray | None) -> Wanted:  # fmt: skip
    """Put the search together."""
    return Wanted(
        region=request.region, model=model, weights=weights, n=budget.n, strata=budget.strata,
        stages=stages_of(request.study), ratios=request.ratios, potential=potential,
        replicates=budget.replicates, distinct=budget.distinct, starts=request.starts,
        seed=request.seed, held=request.included,
    )  # fmt: skip


def batch_columns(columns: tuple[Column, ...], request: Request) -> int:
    """Count the columns that nothing below the batch changes: as many batches are needed."""
    stages = dict(zip(request.coding.names, stages_of(request.study), strict=True))
    return sum(
        all(STAGES.index(stages[name]) <= _BATCH for name in column.term.names)
        for column in columns
    )


def _independent(request: Request, p: int) -> tuple[int, int, int]:
    """Give runs, replicates and different settings where every run is a batch of its own."""
    if request.runs is None:
        repeats = DEFAULT_REPLICATES if request.replicates is None else request.replicates
        further = DEFAULT_LACK_OF_FIT if request.lack_of_fit is None else request.lack_of_fit
        return p + further + repeats, repeats, p + further
    repeats, further = request.replicates or 0, request.lack_of_fit or 0
    least = p + further + repeats if request.lack_of_fit is not None else p + repeats
    if request.runs < least:
        checked = p + DEFAULT_LACK_OF_FIT + DEFAULT_REPLICATES
        asked = "--replicates" if repeats else "--lack-of-fit"
        where = "--runs" if request.runs < p or not (repeats or further) else asked
        more = [f"{p} terms"]
        more += [f"{repeats} replicates"] if repeats else []
        more += [f"{further} settings for lack of fit"] if further else []
        raise PlanError(
            f"{request.runs} runs are too few for {', '.join(more)}",
            where=where,
            allowed=f"{least} or more{_in_days(request, least)}"
            + (f"; {checked} to check the model, too" if checked > least else ""),
            do=largest_model(request),
        )
    distinct = p + further if request.lack_of_fit is not None else 0
    return request.runs, repeats, distinct


def _shared(request: Request, p: int, p_batch: int) -> tuple[int, int]:
    """Give the number of batches and the samples of each."""
    curved = any(m not in ("linear", "interactions") for m in request.wanted_models)
    each = _CURVED_SAMPLES if curved else _STRAIGHT_SAMPLES
    batches, runs = request.batches, request.runs
    if batches is not None and runs is not None:
        if runs < batches:
            raise PlanError(
                f"{runs} runs cannot fill {batches} batches",
                where="--batches",
                allowed=f"up to {runs}, or {batches} runs or more",
            )
        if runs % batches:
            below = runs // batches * batches
            raise PlanError(
                f"{runs} runs don't divide into {batches} batches of equal size",
                where="--runs",
                allowed=f"{below} or {below + batches} with {batches} batches",
            )
        each = runs // batches
    elif runs is not None:
        if runs % each:
            raise PlanError(
                f"{runs} runs don't divide into batches of {each} samples",
                where="--runs",
                allowed=f"a multiple of {each}; or say how many batches (--batches)",
            )
        batches = runs // each
    elif batches is None:
        batches = max(p_batch + SPARE_BATCHES, -(-p // each) + SPARE_BATCHES)
    assert batches is not None
    refuse_samples(request.study, _draws(request, each))
    if batches < p_batch or batches * each < p:
        least = max(p_batch, -(-p // each))
        raise PlanError(
            f"{batches} batches with {each} samples each cannot estimate the {p} terms of the "
            f"model, {p_batch} of which differ between batches only",
            where="--batches",
            allowed=f"{least} or more{_in_days(request, least)}; {p_batch + SPARE_BATCHES} to "
            "know their error, too",
            do=largest_model(request),
        )
    return batches, each


def _in_days(request: Request, n_batches: int) -> str:
    """Say how many days so many batches take, where days were asked for."""
    rule = block_rule(request.study)
    if request.days is None or rule is None:
        return ""
    return f" ({-(-n_batches // rule.room)} days)"


def largest_model(request: Request) -> str:
    """Say which model the budget can estimate."""
    if BAYESIAN_D.casefold() in request.criterion.casefold():
        return (
            "A Bayesian D needs runs for the terms that must be told alone (--model linear, say); "
            "it guards against those of the next larger model."
        )
    for name in ("quadratic", "interactions", "linear"):
        if name not in model_names(request.coding) or name in request.wanted_models:
            continue
        columns = model_columns(make_model(name, request.coding), request.coding)
        enough_runs = request.runs is None or len(columns) <= request.runs
        enough_batches = (
            request.batches is None
            or not request.sample_from_batch
            or batch_columns(columns, request) <= request.batches
        )
        if enough_runs and enough_batches:
            return f"The largest model that this budget can estimate is '{name}' " \
                f"({len(columns)} terms): --model {name}."  # fmt: skip
    return "Even a linear model needs more; hold a factor (value = …) or make more runs."


def _draws(request: Request, each: int) -> int:
    """Count the samples that are drawn for so many runs of a batch."""
    return each // _PANELS if _shares_samples(request, each) else each


def _shares_samples(request: Request, each: int) -> bool:
    """Tell whether several panels are drawn down from one sample."""
    stages = {factor.set_per for factor in request.study.varied_factors}
    return {"sample", "panel"} <= stages and each % _PANELS == 0


def _samples(request: Request, batch: IntArray, each: int) -> IntArray | None:
    """Number the samples where several panels are drawn down from one; None where none are."""
    if not _shares_samples(request, each):
        return None
    return np.arange(len(batch)) // _PANELS + 1


# Panels drawn down from one sample: two show their difference, and leave samples to spare.
_PANELS = 2


def _blocks(
    request: Request,
    n_batches: int,
    batch: IntArray | None,
    n: int,
    sample: IntArray | None = None,
) -> tuple[IntArray | None, Strata]:
    """Divide the batches into days or other blocks, and gather the strata."""
    rule = block_rule(request.study)
    units: list[Stratum] = []
    block: IntArray | None = None
    if rule is None:
        daily = [f.name for f in request.study.varied_factors if f.set_per == "day"]
        if daily:
            raise PlanError(
                f"'{daily[0]}' is set once a day, and the brief doesn't say what a day holds",
                where="study.toml, [plan]",
                do="Give `batches_per_day` in [plan].",
            )
    elif n_batches > rule.room:
        sizes = block_sizes(n_batches, rule.room)
        of_batch = np.repeat(np.arange(1, len(sizes) + 1), sizes)
        block = of_batch if batch is None else of_batch[batch - 1]
        is_random = (
            days_are_random(request.study, len(sizes))
            if rule.name == "day"
            else block_is_random(request.study, rule.name)
        )
        units.append(Stratum(name=rule.name, unit=block, is_fixed=not is_random))
    if batch is not None:
        units.append(Stratum(name="batch", unit=batch))
    if sample is not None:
        units.append(Stratum(name="sample", unit=sample))
    return block, make_strata(n, units)

"""The search for an optimal plan, from what is wanted to runs that the bench can set.

Batches of chains start from seeds of their own, so that the answer does not depend on how many
workers share them; batches are looked at in order, and the first after which several independent
groups agree is the last.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from doe.errors import PlanError
from doe.layouts.optimal.among import exchange_among
from doe.layouts.optimal.bounds import combinations_of, make_bounds
from doe.layouts.optimal.candidates import candidate_settings
from doe.layouts.optimal.chains import CHAINS, ENOUGH_AGREE, GROUPS, SAME_PLAN, Ends, run_chains
from doe.layouts.optimal.crowd import Problem, Surroundings, make_crowd
from doe.layouts.optimal.exchange_many import climb, random_plans
from doe.layouts.optimal.goal import can_tell, criterion_values, goal_value, make_goal
from doe.layouts.optimal.polish import polish
from doe.layouts.optimal.repeats import with_repeats
from doe.layouts.optimal.settle import settled
from doe.layouts.optimal.working import make_working
from doe.model.coding import ChoiceAxis, code
from doe.model.expansion import Expansion, compile_model
from doe.model.moments import region_moments
from doe.model.region import Region
from doe.model.strata import Strata, middle_ratio, moving_units, precision
from doe.model.terms import Model
from doe.study.brief import Stage
from doe.study.settings import BoolArray, FloatArray, IntArray

# Rounds of shaking, at most.
MOST_ROUNDS = 400
# Candidates for each run, below which the inside of the region is offered, too.
SPARE_CANDIDATES = 4

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wanted:
    """What a plan is searched for.

    Attributes:
        region: All settings the brief allows.
        model: The terms that the runs must tell, all models of the responses together.
        weights: Weight of each criterion: D, I, A, Bayesian D.
        n: Runs in total, held ones included.
        strata: Who shares what, n runs, held ones first.
        stages: Stage at which each setting is set, k entries.
        held: Runs that must be in, shape (m, k), lab units; None for none.
        ratios: Variance of the random strata over residual variance; averaged over several.
        area: Settings over which the I-criterion averages, shape (g, k), lab units; None for the
            whole region.
        potential: Columns of the model that a Bayesian D only guards against, shape (p,).
        replicates: Least number of runs (whole batches where runs share them) that repeat another.
        distinct: Least number of different settings among the runs.
        starts: Chains that start at random, in batches of 48; None for one batch.
        seed: Seed of every random choice.
        workers: Processes that share the batches; None for as many as there are.
        rounds: How often the chains are shaken at most; None for as often as it pays.
    """

    region: Region
    model: Model
    weights: Mapping[str, float]
    n: int
    strata: Strata
    stages: tuple[Stage, ...]
    held: FloatArray | None = None
    ratios: tuple[float, ...] = (1.0,)
    area: FloatArray | None = None
    potential: BoolArray | None = None
    replicates: int = 0
    distinct: int = 0
    starts: int | None = None
    seed: int = 0
    workers: int | None = None
    rounds: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundPlan:
    """The best plan that was found.

    Attributes:
        values: Settings, shape (n, k), lab units, held runs first; on the steps of the bench.
        criteria: D, I and A under the mean of the ratios, as the record states them.
        by_ratio: The same for each ratio.
        goal: The weighted product of the criteria that was made small, on the search's own scale.
        loss_by_steps: Part of the criterion that is lost by keeping to the steps.
        groups: How many independent groups of chains have searched.
        agreeing: How many of them ended at the best plan.
        behind: Part of the criterion by which the groups in the middle are behind it.
        rounds: How often the chains of the best group were shaken.
    """

    values: FloatArray
    criteria: Mapping[str, float]
    by_ratio: Mapping[float, Mapping[str, float]]
    goal: float
    loss_by_steps: float
    groups: int
    agreeing: int
    behind: float
    rounds: int


def best_plan(wanted: Wanted, progress: Progress | None = None) -> FoundPlan:
    """Search for the best plan.

    Args:
        wanted: What is searched for.
        progress: Told now and then what part of the search is done; it may end sooner.

    Returns:
        The best plan found, on the steps of the bench.

    Raises:
        PlanError: No runs of this region can tell the terms apart.
    """
    problem, moments = prepared(wanted)
    # Plans for one variance ratio are hardly worse for its neighbours: the chains look at the
    # middle one, and what they find climbs under the average of all.
    middle = replace(wanted, ratios=(middle_ratio(wanted.ratios),))
    several = len(wanted.ratios) > 1
    ends = _searched(middle, prepared(middle)[0] if several else problem, progress)
    best = min(ends, key=lambda end: end.score)
    others = np.concatenate([end.others for end in ends])
    rng = np.random.default_rng([wanted.seed, 9])
    start = _climbed(problem, best.x, rng)[0] if several else best.x
    x, together = with_repeats(problem, start, wanted.replicates, wanted.distinct, rng)
    values = settled(replace(problem, units=together), x, wanted.region, wanted.distinct)
    expansion = problem.working.expansion
    before = goal_value(problem.goal, expansion.matrix(x))
    X = expansion.matrix(code(values, wanted.region.coding))
    after = goal_value(problem.goal, X)
    if not np.isfinite(after):
        raise _untold(wanted)
    by_ratio = {
        ratio: criterion_values(X, precision(wanted.strata, ratio), moments)
        for ratio in wanted.ratios
    }
    mean = {
        name: float(np.mean([values_[name] for values_ in by_ratio.values()])) for name in "DIA"
    }
    return FoundPlan(
        values=values, criteria=mean, by_ratio=by_ratio, goal=float(np.exp(after)),
        loss_by_steps=max(float(np.expm1(after - before)), 0.0), groups=len(others),
        agreeing=int(np.sum(others <= best.score + SAME_PLAN)),
        behind=float(np.expm1(np.median(others) - best.score)), rounds=best.rounds,
    )  # fmt: skip


def other_ratio(wanted: Wanted, values: FloatArray, ratio: float) -> tuple[float, float]:
    """Judge a plan under another variance ratio, and let it climb there.

    Args:
        wanted: What the plan was searched for.
        values: The plan, shape (n, k), lab units.
        ratio: Variance of the random strata over residual variance.

    Returns:
        The goal of the plan as it is and after the climb (logs, to be small).
    """
    problem, _ = prepared(replace(wanted, ratios=(ratio,)))
    rng = np.random.default_rng([wanted.seed, 5])
    x = code(values, wanted.region.coding)
    before = float(make_crowd(problem, x[None]).refresh(problem.goal)[0])
    return before, min(before, _climbed(problem, x, rng)[1])


def _climbed(problem: Problem, x: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, float]:
    """Let one plan, shape (n, k) coded, climb from where it is; give it with its score."""
    if not problem.runs_are_free:
        end = climb(problem, x[None], rng)
        return end.x[0], float(end.score[0])
    crowd = make_crowd(problem, x[None].copy())
    candidates = problem.candidates
    exchange_among(problem, crowd, candidates, combinations_of(problem.bounds, candidates), rng)
    score = polish(problem, crowd, Surroundings(problem), rng)
    return crowd.x[0], float(score[0])


def prepared(wanted: Wanted) -> tuple[Problem, FloatArray]:
    """Lay out what a search needs: bounds, working columns, goal, units; and region moments.

    Raises:
        PlanError: No runs of this region can tell the terms apart.
    """
    region = wanted.region
    expansion = compile_model(region.coding, wanted.model)
    moments = region_moments(region, expansion)
    working = make_working(region, expansion, moments)
    if working is None or not can_tell(working.basis.T @ moments @ working.basis):
        raise _untold(wanted)
    precisions = {ratio: precision(wanted.strata, ratio) for ratio in wanted.ratios}
    goal = make_goal(
        wanted.weights, moments, working.basis, precisions, wanted.potential,
        area=_area_moments(wanted, expansion),
    )  # fmt: skip
    k = len(region.coding.axes)
    held = np.empty((0, k)) if wanted.held is None else np.asarray(wanted.held)
    rng = np.random.default_rng([wanted.seed, 0])
    candidates = candidate_settings(region, SPARE_CANDIDATES * wanted.n, rng)
    batch = wanted.strata.find("batch")
    problem = Problem(
        region=region, bounds=make_bounds(region), working=working, goal=goal,
        units=tuple(moving_units(wanted.strata, wanted.stages, len(held))), held=held, n=wanted.n,
        candidates=code(candidates, region.coding), block=_block(wanted.strata),
        batch=None if batch is None else batch.unit,
    )  # fmt: skip
    return problem, moments


def check_tellable(wanted: Wanted) -> None:
    """Try a few random plans, and raise where none of them tells the terms apart.

    Raises:
        PlanError: No runs of this region can.
    """
    problem, _ = prepared(wanted)
    x = random_plans(problem, _TRIED, np.random.default_rng([wanted.seed, 3]))
    if not any(np.isfinite(goal_value(problem.goal, _matrix(problem, plan))) for plan in x):
        end = climb(problem, x, np.random.default_rng([wanted.seed, 4]))
        best = end.x[int(end.score.argmin())]
        if not np.isfinite(goal_value(problem.goal, _matrix(problem, best))):
            raise _untold(wanted)


# Random plans that are looked at before a search is called possible.
_TRIED = 8


def _matrix(problem: Problem, x: FloatArray) -> FloatArray:
    return problem.working.expansion.matrix(x)


def criteria_of(wanted: Wanted, values: FloatArray) -> dict[str, float]:
    """Judge any plan as `best_plan` judges its own: D, I and A under the mean of the ratios.

    Args:
        wanted: What is searched for.
        values: Settings, shape (n, k), lab units.
    """
    expansion = compile_model(wanted.region.coding, wanted.model)
    moments = region_moments(wanted.region, expansion)
    X = expansion.matrix(code(values, wanted.region.coding))
    each = [criterion_values(X, precision(wanted.strata, r), moments) for r in wanted.ratios]
    return {name: float(np.mean([one[name] for one in each])) for name in "DIA"}


def _searched(wanted: Wanted, problem: Problem, progress: Progress | None) -> list[Ends]:
    """Run batches of chains in order until independent groups agree."""
    if wanted.n == len(problem.held):
        x = code(problem.held, wanted.region.coding)
        score = goal_value(problem.goal, problem.working.expansion.matrix(x))
        return [Ends(x=x, score=score, others=np.array([score]), rounds=0)]
    n_batches = max(1, (wanted.starts or CHAINS) // CHAINS)
    ends: list[Ends] = []
    for end in _batches(wanted, problem, n_batches, progress):
        ends.append(end)
        if progress is not None:
            progress(len(ends) / n_batches)
        best = min(one.score for one in ends)
        if sum(int(np.sum(one.others <= best + SAME_PLAN)) for one in ends) >= ENOUGH_AGREE:
            break
    return ends


def _batches(
    wanted: Wanted, problem: Problem, n_batches: int, progress: Progress | None
) -> Iterator[Ends]:
    workers = min(n_batches, wanted.workers or os.cpu_count() or 1)
    if workers == 1:
        for batch in range(n_batches):
            yield _one_batch(problem, wanted, batch, progress)
        return
    asked = replace(wanted, held=None, area=None)
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        waiting = [pool.submit(_one_batch, problem, asked, b) for b in range(n_batches)]
        try:
            for future in waiting:
                yield future.result()
        finally:
            for future in waiting:
                future.cancel()


def _one_batch(
    problem: Problem, wanted: Wanted, batch: int, progress: Progress | None = None
) -> Ends:
    chains = min(wanted.starts or CHAINS, CHAINS)
    # Two chains a group at least, so that there is a mate to learn from.
    chains = GROUPS * max(2, chains // GROUPS)
    most = MOST_ROUNDS if wanted.rounds is None else wanted.rounds
    rng = np.random.default_rng([wanted.seed, 1, batch])
    return run_chains(problem, chains, most, rng, progress)


def _area_moments(wanted: Wanted, expansion: Expansion) -> FloatArray | None:
    if wanted.area is None:
        return None
    X = expansion.matrix(code(wanted.area, wanted.region.coding))
    return np.asarray(X.T @ X / len(X))


def _block(strata: Strata) -> IntArray | None:
    blocks = [stratum for stratum in strata.above if stratum.name not in ("batch", "sample")]
    return blocks[-1].unit if blocks else None


def _untold(wanted: Wanted) -> PlanError:
    """Say that the model is beyond the region, and which settings cannot vary in it."""
    region = wanted.region
    stuck = [
        f"'{axis.name}'"
        for axis, (low, high) in zip(region.coding.axes, region.implied, strict=True)
        if not isinstance(axis, ChoiceAxis) and not high - low > _STUCK * max(abs(high), 1.0)
    ]
    why = f"; {', '.join(stuck)} cannot vary within the limits" if stuck else ""
    return PlanError(
        f"no {wanted.n} runs of this region can tell the terms of the model apart{why}",
        do="Widen their limits."
        if stuck
        else "Ask for a smaller model (--model) or more runs, "
        "or widen the region: shares or settings that the limits tie together count as one.",
    )


# A range narrower than this, as a part of its size, is none.
_STUCK = 1e-9

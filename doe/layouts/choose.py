"""Choosing a layout where none is named, and saying why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from doe.errors import PlanError
from doe.layouts.blocking import with_days
from doe.layouts.checking import checked, make_layout
from doe.layouts.comparing import against_optimal, with_record
from doe.layouts.optimal.wanted import DEFAULT_LACK_OF_FIT, DEFAULT_REPLICATES, union_model
from doe.layouts.parts import FactorKinds, factor_kinds
from doe.layouts.registry import LAYOUTS, OPTIMAL
from doe.layouts.request import LayoutRuns, Request
from doe.layouts.simplex import is_simplex
from doe.model.matrix import model_columns, model_matrix
from doe.model.terms import is_blend, make_model

__all__ = ["choose_layout", "make_chosen", "make_layout"]

# A classic layout that takes this much more than the runs of an optimal plan (its coefficients, and
# what checks them) is taken only where the budget asks for it.
_DEARER = 1.3
_FEW_FACTORS = 3
# A plan that fits its model exactly tells no error; below three degrees of freedom the intervals
# are too wide to decide by (t of two degrees of freedom is 4.3; common practice, no source).
LEAST_ERROR_DF = 3
_CORNERS = 5


def choose_layout(request: Request) -> tuple[str, tuple[str, ...]]:
    """Pick a layout for a request that names none.

    Args:
        request: What is wanted.

    Returns:
        Name in the registry and the reasons, in sentences.

    Raises:
        PlanError: No layout works; says what the likeliest one lacks.
    """
    request = with_days(request)
    refused: list[str] = []
    for name, why in _candidates(request):
        try:
            runs = checked(LAYOUTS[name], request)
        except PlanError as error:
            refused.append(f"Not '{name}': {error.faults[0].what}.")
            continue
        if _is_too_large(runs, request) and OPTIMAL in LAYOUTS:
            refused.append(f"Not '{name}': it takes {len(runs)} runs.")
            continue
        return name, (why, *([" ".join(refused)] if refused else []))
    refusal = _optimal_refusal(request)
    if refusal is None:
        return OPTIMAL, (
            "Runs chosen for this region and these models: no classic layout fits within a "
            "sensible number of runs.",
            " ".join(refused),
        )
    # What the last resort lacks is what the budget lacks.
    raise refusal


def make_chosen(request: Request) -> tuple[LayoutRuns, tuple[str, ...]]:
    """Pick a layout, hold it against the best plan of the same size, and make its runs.

    A classic layout is taken where it loses little: its runs are balanced and easily explained.

    Returns:
        The runs, with enough of them to judge the model by, and in three sentences why these.

    Raises:
        PlanError: No layout works; says what the budget could do.
    """
    request = with_days(request)
    if request.included is not None:
        told = f"Runs chosen beside the {len(request.included)} that must be in."
        return make_layout(OPTIMAL, _with_replicates(request)), (told,)
    name, why = choose_layout(request)
    if name == OPTIMAL:
        return make_layout(OPTIMAL, _with_replicates(request)), why
    runs = _enough_to_judge(name, request)
    compared = against_optimal(runs, request)
    if compared is None:
        return runs, (*why, "No optimal plan of this size was searched to compare it with.")
    record = {"layout": name, "runs": len(runs), **compared.record()}
    if compared.loss <= CLASSIC_MAY_LOSE[compared.criterion]:
        price = "little" if compared.loss > 0 else "nothing"
        told = f"{compared.sentence(name, len(runs))}, {price} to pay for its balance."
        return with_record(runs, record), (*why, told, *_added(request, runs))
    least = LAYOUTS[OPTIMAL].foresee
    fewer = request.runs is None and least is not None and least(request) <= len(runs)
    better = make_layout(OPTIMAL, request if fewer else replace(request, runs=len(runs)))
    told = f"{compared.sentence(name, len(runs))}, which is too much; the optimal plan is taken."
    return with_record(better, record), (f"Not '{name}': it suits the question, but a plan made "
                                         "for this region does better.", told)  # fmt: skip


# What a classic layout may lose against an optimal plan of as many runs before that is taken. A
# fifth of the average prediction variance is a tenth of an interval's width. Layouts for screening
# keep main effects clear of interactions, or show curvature, which the D of a linear model does not
# count: a three-level layout loses about a quarter of it.
CLASSIC_MAY_LOSE = {"I": 0.2, "D": 0.35}


def _enough_to_judge(name: str, request: Request) -> LayoutRuns:
    """Make a classic layout, with replicates where it would leave nothing to judge the model by."""
    runs = make_layout(name, request)
    short = _short_of_error(runs, request)
    if request.runs is not None or request.replicates is not None or short <= 0:
        return runs
    return make_layout(name, replace(request, replicates=short))


def _short_of_error(runs: LayoutRuns, request: Request) -> int:
    model = make_model(request.wanted_models[-1], request.coding)
    return LEAST_ERROR_DF - (len(runs) - len(model_columns(model, request.coding)))


def _added(request: Request, runs: LayoutRuns) -> tuple[str, ...]:
    n = runs.kind.count("replicate")
    if request.replicates is not None or request.runs is not None or n == 0:
        return ()
    return (f"{n} replicates are added, as the layout alone leaves nothing to judge the model by.",)


def _with_replicates(request: Request) -> Request:
    """Keep some of a given number of runs for replicates, unless the user has said how many."""
    if request.runs is None or request.replicates is not None or request.sample_from_batch:
        return request
    p = len(model_columns(union_model(request.wanted_models, request.coding), request.coding))
    # A small budget is shared: replicates and the test of the model's form get alike.
    spare = max(request.runs - p - (request.lack_of_fit or 0), 0)
    return replace(request, replicates=min(DEFAULT_REPLICATES, spare // 2))


def _candidates(request: Request) -> Iterator[tuple[str, str]]:
    """List the layouts worth trying, best first, each with its reason."""
    if is_blend(request.coding):
        yield from _with_package(request)
        return
    kinds = factor_kinds(request.coding)
    if request.wanted_models == ("linear",):
        yield from _screening(kinds)
    elif set(request.wanted_models) <= {"linear", "interactions"}:
        yield from _interactions(kinds)
    else:
        yield from _surface(kinds)


def _with_package(request: Request) -> Iterator[tuple[str, str]]:
    if request.coding.factors:
        yield (
            "crossed",
            "The brief has a package and factors: blends are crossed with settings of the factors, "
            "so that every factor is seen in every blend.",
        )
        return
    if is_simplex(request.coding) and not request.study.limits:
        models = set(request.wanted_models)
        name = "simplex centroid" if "special cubic" in models else "simplex lattice"
        yield name, "The limits of the package leave a whole simplex."
    yield (
        "extreme vertices",
        "The limits of the package cut the simplex: its vertices, edges and middle span it.",
    )


def _screening(kinds: FactorKinds) -> Iterator[tuple[str, str]]:
    n_factors = len(kinds.ranges) + len(kinds.two_level)
    few = n_factors + len(kinds.choices) <= _FEW_FACTORS
    if few:
        yield "full factorial", "So few factors to screen that every combination can be run."
    if len(kinds.ranges) >= _CORNERS and not kinds.choices and n_factors == len(kinds.ranges):
        yield (
            "definitive screening",
            f"{n_factors} ranges to screen: few runs, main effects clear of interactions, and a "
            "first look at curvature.",
        )
    yield (
        "fractional factorial",
        f"{n_factors} factors to screen: a fraction that keeps main effects clear of interactions.",
    )
    yield "Plackett-Burman", f"{n_factors} factors to screen in the fewest runs."
    if not few:
        yield "full factorial", "Every combination can be run."


def _interactions(kinds: FactorKinds) -> Iterator[tuple[str, str]]:
    if len(kinds.ranges) + len(kinds.two_level) <= _FEW_FACTORS:
        yield "full factorial", "Interactions of few factors: every combination is run."
    yield (
        "fractional factorial",
        "Interactions are wanted: a fraction that keeps them clear of one another.",
    )
    yield "full factorial", "Interactions are wanted: every combination is run."


def _surface(kinds: FactorKinds) -> Iterator[tuple[str, str]]:
    if len(kinds.ranges) < 2:
        yield "full factorial", "A quadratic model of so few ranges: three levels of each."
        return
    yield (
        "central composite",
        f"A quadratic surface over {len(kinds.ranges)} ranges whose corners can be run.",
    )
    yield (
        "Box-Behnken",
        "A quadratic surface without runs at the corners, some of which are not allowed.",
    )
    yield "full factorial", "A quadratic surface from three levels of each range."


def _is_too_large(runs: LayoutRuns, request: Request) -> bool:
    """Tell whether a layout takes far more mill batches than its model needs."""
    if request.runs is not None:
        return False
    model = make_model(request.wanted_models[-1], request.coding)
    p = model_matrix(runs.values[:1], request.coding, model).shape[1]
    most = _DEARER * (p + DEFAULT_LACK_OF_FIT + DEFAULT_REPLICATES)
    n_batches = len(runs) if runs.batch is None else len(set(runs.batch.tolist()))
    return bool(n_batches > most)


def _optimal_refusal(request: Request) -> PlanError | None:
    """Tell why no plan can be made for the region and the models; None where one can."""
    try:
        optimal = LAYOUTS[OPTIMAL]
        if optimal.foresee is not None:
            optimal.foresee(request)
    except PlanError as error:
        return error
    return None

"""The layout `optimal`: as many runs as the budget holds, placed where the model needs them."""

from __future__ import annotations

import numpy as np

from doe.layouts.optimal.search import (
    FoundPlan,
    Wanted,
    best_plan,
    check_tellable,
    other_ratio,
)
from doe.layouts.optimal.wanted import (
    Budget,
    budget_of,
    criterion_weights,
    primary_models,
    searched_model,
    to_wanted,
    union_model,
)
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.model.column import column_label
from doe.model.matrix import model_columns
from doe.model.strata import middle_ratio
from doe.model.terms import Model
from doe.study.finding import Finding
from doe.study.plan import Kind
from doe.study.settings import BoolArray, FloatArray

__all__ = ["LAYOUT", "make", "union_model"]

# Ratios beside the one that was planned for, to see how much hangs on it.
OTHER_RATIOS = (0.1, 10.0)
# A plan made for another ratio that would be better there by this part is worth telling.
TOLD_LOSS = 0.05

_AIMS = {
    "D": "the coefficients as exact as can be (D-criterion)",
    "I": "the prediction over the whole region as exact as can be (I-criterion)",
    "A": "the average variance of the coefficients as small as can be (A-criterion)",
    "Bayesian D": "the terms of the model as exact as can be, with an eye on those just beyond it "
    "(Bayesian D-criterion)",
}


def make(request: Request) -> LayoutRuns:
    """Choose runs for the region and the models at hand.

    Args:
        request: What is wanted: runs, batches, days, replicates, lack of fit, criterion, starts.

    Returns:
        The runs; where samples share batches, those of a batch stand together.

    Raises:
        PlanError: The budget cannot tell the terms of the models, or does not divide.
    """
    weights = criterion_weights(request)
    model, potential = searched_model(request, weights)
    n_potential = 0 if potential is None else int(potential.sum())
    budget = budget_of(request, model, n_potential)
    wanted = to_wanted(request, model, budget, weights, potential)
    found = best_plan(wanted, request.progress)
    values = found.values
    name = request.criterion or next(iter(weights))
    single = next(iter(weights)) if len(weights) == 1 else ""
    p = len(model_columns(model, request.coding)) - n_potential
    sensitivity = _other_ratios(wanted, found)
    return LayoutRuns(
        layout="optimal", models=primary_models(request, weights), values=values,
        kind=_kinds(values, budget), block=budget.block, batch=budget.batch,
        criterion=name, criterion_value=found.criteria.get(single, found.goal),
        details=_details(request, budget, found, p, sensitivity),
        reasons=(
            *_primary(request, weights, model, potential),
            *_reasons(weights, budget, found, p, values),
        ),
        findings=_findings(sensitivity, single),
    )  # fmt: skip


def foresee(request: Request) -> int:
    """Tell how many runs it would be, and raise what `make` would, without the search."""
    weights = criterion_weights(request)
    model, potential = searched_model(request, weights)
    budget = budget_of(request, model, 0 if potential is None else int(potential.sum()))
    check_tellable(to_wanted(request, model, budget, weights, potential))
    return budget.n


def _kinds(values: FloatArray, budget: Budget) -> tuple[Kind, ...]:
    """Mark what repeats an earlier run, an earlier batch whole, or a sample of its own batch."""
    whole = np.round(np.nan_to_num(values, nan=-1e9), 9)
    batch = np.arange(len(values)) if budget.batch is None else budget.batch
    seen: set[bytes] = set()
    kinds: list[Kind] = ["design"] * len(values)
    for number in dict.fromkeys(batch.tolist()):
        rows = np.flatnonzero(batch == number)
        key = whole[rows][np.lexsort(whole[rows].T[::-1])].tobytes()
        own: set[bytes] = set()
        for row in rows:
            if key in seen or whole[row].tobytes() in own:
                kinds[int(row)] = "replicate"
            own.add(whole[row].tobytes())
        seen.add(key)
    return tuple(kinds)


def _other_ratios(wanted: Wanted, found: FoundPlan) -> dict[float, float]:
    """Tell what part of its criterion the plan would lose were the variance ratio another.

    Returns:
        By ratio: the criterion of this plan over that of one that climbed from it under the ratio,
        less one; empty where no ratio enters.
    """
    if not wanted.strata.random:
        return {}
    middle = max(middle_ratio(wanted.ratios), _LEAST_RATIO)
    losses = {}
    for factor in OTHER_RATIOS:
        before, after = other_ratio(wanted, found.values, middle * factor)
        losses[middle * factor] = float(np.expm1(before - after))
    return losses


_LEAST_RATIO = 0.01


def _details(
    request: Request,
    budget: Budget,
    found: FoundPlan,
    p: int,
    sensitivity: dict[float, float],
) -> dict[str, object]:
    details: dict[str, object] = {
        "terms": p,
        "criteria": dict(found.criteria),
        "independent searches": found.groups,
        "searches that ended at this plan": found.agreeing,
        "median search behind by": found.behind,
        "loss by steps": found.loss_by_steps,
    }
    if budget.strata.random:
        details["criteria by variance ratio"] = [
            {"ratio": ratio, **values} for ratio, values in found.by_ratio.items()
        ]
        details["other variance ratios"] = [
            {"ratio": ratio, "loss": loss} for ratio, loss in sensitivity.items()
        ]
    if budget.batch is not None:
        details["batches"] = budget.batches
        details["samples a batch"] = budget.n // budget.batches
    return details


def _reasons(
    weights: dict[str, float], budget: Budget, found: FoundPlan, p: int, values: FloatArray
) -> tuple[str, ...]:
    aims = [_AIMS[name] for name in weights]
    n_distinct = len(np.unique(np.round(np.nan_to_num(values, nan=-1e9), 9), axis=0))
    said = [
        f"The runs are placed in the region as the brief limits it to make "
        f"{' and '.join(aims)}{_shares(weights)}.",
        f"{n_distinct} different settings for {p} terms leave {max(n_distinct - p, 0)} to test the "
        f"form of the model, and {budget.n - n_distinct} runs repeat another.",
    ]
    if budget.batch is not None:
        said.append(
            f"{budget.batches} mill batches, {budget.n // budget.batches} samples drawn from each."
        )
    sure = (
        "a better one was not found"
        if found.agreeing > 1
        else f"half of them came within {_percent(found.behind)} of it; more --starts would look "
        "longer"
    )
    said.append(
        f"{found.agreeing} of {found.groups} independent searches ended at this plan: {sure}. "
        f"Keeping to the steps of the bench costs {_percent(found.loss_by_steps)} of the criterion."
    )
    return tuple(said)


def _primary(
    request: Request, weights: dict[str, float], model: Model, potential: BoolArray | None
) -> tuple[str, ...]:
    """Say which terms a Bayesian D tells and which it only guards against."""
    if potential is None:
        return ()
    labels = [column_label(column) for column in model_columns(model, request.coding)]
    told = [label for label, off in zip(labels, potential, strict=True) if not off]
    guarded = [label for label, off in zip(labels, potential, strict=True) if off]
    names = " + ".join(primary_models(request, weights))
    return (
        f"Primary terms, which the runs must tell (the {names} model, {len(told)}): "
        f"{', '.join(told)}. Potential terms, which they only guard against ({len(guarded)}): "
        f"{', '.join(guarded)}.",
    )


def _shares(weights: dict[str, float]) -> str:
    """Say how criteria are weighted, where there are several."""
    if len(weights) == 1:
        return ""
    each = ", ".join(f"{name} {100 * weight:.0f} %" for name, weight in weights.items())
    return f", weighted {each}"


def _percent(part: float) -> str:
    return "less than 0.1 %" if part < 0.001 else f"{100 * part:.1f} %"


def _findings(sensitivity: dict[float, float], single: str) -> tuple[Finding, ...]:
    found: list[Finding] = []
    for ratio, loss in sensitivity.items():
        if loss > TOLD_LOSS:
            found.append(
                Finding(
                    level="note",
                    what=f"Were the variance between batches {ratio:g} times the residual one, a "
                    f"plan made for that would be {100 * loss:.0f} % better.",
                    evidence={"variance ratio": ratio, "criterion": single},
                    advice="Give --variance-ratio what earlier studies showed, or several values.",
                )
            )
    return tuple(found)


LAYOUT = Layout(
    name="optimal",
    title="Optimal plan for the region and the model",
    for_="When limits, shares or levels cut the region so that no classic layout fits it well.",
    make=make,
    foresee=foresee,
)

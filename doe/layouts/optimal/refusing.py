"""What no search would ever end with, and runs that must be in where they cannot be."""

from __future__ import annotations

from doe.errors import PlanError
from doe.layouts.request import Request
from doe.model.strata import stages_of

# What a search can place within minutes: the cost grows with the square of either.
MOST_TERMS, MOST_RUNS = 200, 400


def refuse_endless(request: Request, p: int) -> None:
    """Refuse what no search would ever end with, and no bench either."""
    asked = max(request.runs or 0, request.replicates or 0, request.lack_of_fit or 0)
    if p > MOST_TERMS:
        raise PlanError(
            f"the model has {p} terms",
            where="--model",
            allowed=f"up to {MOST_TERMS} in an optimal plan",
            do="Screen the factors first (--for screening), or hold some of them (value = …).",
        )
    if asked > MOST_RUNS or (request.batches or 0) > MOST_RUNS:
        raise PlanError(
            f"{max(asked, request.batches or 0)} runs are asked for",
            where="--runs",
            allowed=f"up to {MOST_RUNS} in an optimal plan",
            do="A plan of that size is made in rounds: see 'millbase extend --help'.",
        )


def refuse_total(n: int, request: Request) -> None:
    """Refuse replicates and further settings that together come to more runs than a search holds.

    Raises:
        PlanError: There are too many; names the larger of the two.
    """
    if n <= MOST_RUNS:
        return
    repeats, further = request.replicates or 0, request.lack_of_fit or 0
    larger = max(repeats, further)
    raise PlanError(
        f"the terms, replicates and further settings come to {n} runs",
        where="--replicates" if repeats >= further else "--lack-of-fit",
        allowed=f"up to {max(larger - (n - MOST_RUNS), 0)}, for {MOST_RUNS} runs in all",
    )


def refuse_included(request: Request) -> None:
    """Refuse runs that must be in where they would have to share a batch or a day's setting."""
    if request.included is None:
        return
    daily = any(stage == "day" for stage in stages_of(request.study))
    if request.sample_from_batch or daily:
        raise PlanError(
            "runs that must be in are mill batches of their own, and here settings are shared by "
            + ("a day" if daily else "the samples of a batch"),
            where="--include",
            do="Leave out --batches, or plan without these runs and add them by hand.",
        )

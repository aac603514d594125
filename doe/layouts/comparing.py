"""A layout held against an optimal plan of the same size, both judged by one criterion."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from doe.errors import PlanError
from doe.layouts.optimal.refusing import MOST_RUNS, MOST_TERMS
from doe.layouts.optimal.search import Wanted, best_plan, criteria_of
from doe.layouts.optimal.wanted import union_model
from doe.layouts.request import LayoutRuns, Request
from doe.model.matrix import model_columns
from doe.model.strata import Stratum, make_strata, stages_of

# A short search: what it finds is a few per cent from the best, enough for a comparison.
_CHAINS, _ROUNDS = 12, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A layout against the best plan of a short search.

    Attributes:
        criterion: `I` (average prediction variance) or `D`.
        own: Criterion of the layout.
        optimal: Criterion of the plan found.
    """

    criterion: str
    own: float
    optimal: float

    @property
    def loss(self) -> float:
        """Part that the layout loses; negative where it is the better one."""
        if self.criterion == "D":
            return self.optimal / max(self.own, 1e-300) - 1.0
        return self.own / self.optimal - 1.0

    def sentence(self, name: str, n_runs: int) -> str:
        """Say both values and the loss, without a full stop."""
        what = (
            "an average prediction variance"
            if self.criterion == "I"
            else "information a run (|X'X|^(1/p)/n)"
        )
        return (
            f"'{name}' with {n_runs} runs has {what} of {self.own:.3g}, the best plan of as many "
            f"runs that a short search found {self.optimal:.3g}: it loses "
            f"{100 * max(self.loss, 0.0):.0f} %"
        )

    def record(self) -> dict[str, Any]:
        """Give it for the plan's record."""
        return {
            "criterion": self.criterion, "value": self.own, "optimal": self.optimal,
            "loss": self.loss,
        }  # fmt: skip


def against_optimal(runs: LayoutRuns, request: Request) -> Comparison | None:
    """Compare a layout with an optimal plan of as many runs and batches; None where none is found.

    Blocks are left out on both sides: runs are divided into days only later.
    """
    model = union_model(request.wanted_models, request.coding)
    if len(runs) > MOST_RUNS or len(model_columns(model, request.coding)) > MOST_TERMS:
        return None
    criterion = "D" if request.purpose == "screening" else "I"
    units = [] if runs.batch is None else [Stratum(name="batch", unit=np.asarray(runs.batch))]
    wanted = Wanted(
        region=request.region,
        model=model,
        weights={criterion: 1.0},
        n=len(runs),
        strata=make_strata(len(runs), units),
        stages=stages_of(request.study),
        ratios=request.ratios,
        starts=_CHAINS,
        rounds=_ROUNDS,
        seed=request.seed,
    )
    try:
        found = best_plan(wanted)
        own = criteria_of(wanted, np.asarray(runs.values))[criterion]
    except PlanError:
        return None
    return Comparison(criterion=criterion, own=own, optimal=found.criteria[criterion])


def with_record(runs: LayoutRuns, record: Mapping[str, Any]) -> LayoutRuns:
    """Keep a comparison among the details of a layout."""
    return replace(runs, details={**runs.details, "compared": dict(record)})

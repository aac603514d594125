"""Small plans that a round is added to, and requests for it."""

from __future__ import annotations

from typing import Any

import numpy as np

from doe.layouts.checking import make_layout
from doe.layouts.extending.request import Extension, Failure
from doe.layouts.order import arrange
from doe.layouts.request import LayoutRuns
from doe.model.coding import coding_of, settings_table
from doe.model.region import region_of
from doe.study.brief import Study
from doe.study.plan import Plan, Round
from doe.study.settings import FloatArray
from tests.doe.layouts.briefs import a_request


def planned(study: Study, layout: str, seed: int = 3, **wishes: Any) -> Plan:
    """Plan a first round."""
    request = a_request(study, seed=seed, **wishes)
    runs: LayoutRuns = make_layout(layout, request)
    return arrange(runs, study, np.random.default_rng(seed))


def plan_of(
    study: Study,
    values: FloatArray,
    batch: tuple[int, ...] | None = None,
    number: tuple[int, ...] | None = None,
) -> Plan:
    """Make a plan of given settings, shape (n, k), each run a batch of its own or as told.

    Args:
        study: The brief.
        values: Settings, lab units.
        batch: Batch of each run.
        number: Round of each run; all in the first one without it.
    """
    n = len(values)
    run = tuple(range(1, n + 1))
    blank: tuple[None, ...] = (None,) * n
    rounds = number or (1,) * n
    entries = tuple(
        Round(
            number=one, layout="adopted", models=(),
            runs=tuple(r for r, own in zip(run, rounds, strict=True) if own == one),
        )
        for one in dict.fromkeys(rounds)
    )  # fmt: skip
    return Plan(
        settings=settings_table(np.asarray(values, dtype=np.float64), coding_of(study)),
        run=run, round=rounds, day=blank, batch=batch or run, sample=blank, panel=blank,
        kind=("design",) * n, rounds=entries,
    )  # fmt: skip


def ask_for(study: Study, plan: Plan, **wishes: Any) -> Extension:
    """Ask for a further round of a plan."""
    known: dict[str, Any] = {"model": "linear", "seed": 7, "starts": 32, **wishes}
    return Extension(
        study=study, coding=coding_of(study), region=region_of(study), plan=plan, **known
    )


def failed(*runs: int, gelled: bool = False) -> tuple[Failure, ...]:
    """Say that runs gave nothing."""
    return tuple(Failure(run=run, why="lost, spilt", gelled=gelled) for run in runs)

"""A plan of several rounds: a round put behind it, and runs that were never made taken out."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from doe.study.numbering import issued_marks
from doe.study.plan import Plan, Round
from doe.study.settings import Settings

_T = TypeVar("_T")


def joined(plan: Plan, added: Plan) -> Plan:
    """Put a round behind the rounds of a plan; nothing of the plan is touched.

    Raises:
        ValueError: The round uses a number again.
    """
    if {entry.number for entry in plan.rounds} & {entry.number for entry in added.rounds}:
        raise ValueError("a round number stands twice")
    settings = Settings(
        names=plan.settings.names,
        values=np.vstack([plan.settings.values, added.settings.values]),
        labels=plan.settings.labels,
    )
    return Plan(
        settings=settings, run=plan.run + added.run, round=plan.round + added.round,
        day=plan.day + added.day, batch=plan.batch + added.batch,
        sample=plan.sample + added.sample, panel=plan.panel + added.panel,
        kind=plan.kind + added.kind, rounds=(*plan.rounds, *added.rounds), issued=plan.issued,
    )  # fmt: skip


def without_runs(plan: Plan, dropped: Collection[int]) -> Plan:
    """Take runs out of a plan; their numbers stay issued.

    Args:
        plan: The plan.
        dropped: Run numbers.
    """
    kept = [i for i, run in enumerate(plan.run) if run not in dropped]

    def some(column: tuple[_T, ...]) -> tuple[_T, ...]:
        return tuple(column[i] for i in kept)

    return Plan(
        settings=plan.settings.take(kept), run=some(plan.run), round=some(plan.round),
        day=some(plan.day), batch=some(plan.batch), sample=some(plan.sample),
        panel=some(plan.panel), kind=some(plan.kind),
        rounds=tuple(_round_without(entry, dropped) for entry in plan.rounds),
        issued=issued_marks(plan),
    )  # fmt: skip


def blocks_going_on(before: Plan, details: Mapping[str, Any]) -> dict[str, Any]:
    """Number the blocks of a round on from those before, so that none stands for two.

    Args:
        before: The plan so far.
        details: Of the new round's entry; days are numbered on by themselves.
    """
    own = details.get("blocks")
    if not isinstance(own, Mapping):
        return dict(details)
    known = [entry.details.get("blocks") for entry in before.rounds]
    labels = {str(label) for one in known if isinstance(one, Mapping) for label in one.values()}
    last = max((int(label) for label in labels if label.isdigit()), default=0)
    return {**details, "blocks": {run: str(last + int(label)) for run, label in own.items()}}


def _round_without(entry: Round, dropped: Collection[int]) -> Round:
    details = dict(entry.details)
    if isinstance(blocks := details.get("blocks"), dict):
        details["blocks"] = {run: word for run, word in blocks.items() if int(run) not in dropped}
    return replace(
        entry,
        runs=tuple(run for run in entry.runs if run not in dropped),
        controls={run: name for run, name in entry.controls.items() if run not in dropped},
        details=details,
    )

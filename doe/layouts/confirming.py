"""A round of confirmation batches: one recipe made several times, controls beside it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from doe.layouts.blocking import block_rule
from doe.layouts.extending.joining import blocks_going_on
from doe.layouts.order import RoundStart, arrange
from doe.layouts.request import LayoutRuns
from doe.study.brief import Study
from doe.study.confirmation import CONFIRMATION_LAYOUT
from doe.study.plan import Kind, Plan
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ConfirmingRound:
    """What is to be made.

    Attributes:
        row: Settings, shape (k,), lab units.
        batches: Mill batches.
        days: Days they are spread over.
        per_batch: Samples, panels or runs of each.
        models: Models that they test.
        reasons: Why, sentences.
        with_controls: Whether the brief's controls are run beside them.
    """

    row: FloatArray
    batches: int
    days: int
    per_batch: int
    models: tuple[str, ...]
    reasons: tuple[str, ...]
    with_controls: bool = True


def confirming_plan(
    asked: ConfirmingRound, study: Study, before: Plan, start: RoundStart, rng: np.random.Generator
) -> Plan:
    """Put the batches of one recipe into bench order, spread over days.

    Args:
        asked: What is to be made.
        study: The brief: controls, days, stages.
        before: The plan so far.
        start: Where all numbers begin.
        rng: Source of the order.

    Returns:
        The plan of this round alone. A day that holds fewer batches than asked makes more days.
    """
    n = asked.batches * asked.per_batch
    batch = np.repeat(np.arange(asked.batches), asked.per_batch)
    kind: Kind = "confirm"
    runs = LayoutRuns(
        layout=CONFIRMATION_LAYOUT, models=asked.models,
        values=np.tile(asked.row, (n, 1)), kind=(kind,) * n,
        block=batch * asked.days // asked.batches + 1, batch=batch + 1, reasons=asked.reasons,
    )  # fmt: skip
    brief = study if asked.with_controls else study.model_copy(update={"controls": ()})
    added = arrange(runs, brief, rng, start=start)
    entry = added.rounds[-1]
    entry = replace(entry, details=blocks_going_on(before, entry.details))
    return replace(added, rounds=(entry,), day=_days(asked, study, before, added, start))


def _days(
    asked: ConfirmingRound, study: Study, before: Plan, added: Plan, start: RoundStart
) -> tuple[int | None, ...]:
    """Give the days; where the brief has no size of a day, by the batches in turn."""
    rule = block_rule(study)
    if rule is not None and rule.name == "day":
        return added.day
    if asked.days < 2 and not any(day is not None for day in before.day):
        return added.day
    order = [b for b, kind in zip(added.batch, added.kind, strict=True) if kind == "confirm"]
    place = {batch: i for i, batch in enumerate(dict.fromkeys(order))}
    days: list[int | None] = []
    now = 0
    for batch in added.batch:
        # A control belongs to the day of the batch before it.
        now = place[batch] * asked.days // asked.batches if batch in place else now
        days.append(start.day + now)
    return tuple(days)

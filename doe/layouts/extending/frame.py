"""The frame of a new round: its batches and blocks, and the strata it forms with what was done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doe.errors import PlanError
from doe.layouts.blocking import block_rule, block_sizes
from doe.layouts.completing import of_kind
from doe.layouts.controls import control_turns
from doe.layouts.extending.request import LAYOUT, Extension
from doe.layouts.optimal.refusing import MOST_RUNS
from doe.model.coding import settings_table
from doe.model.strata import Strata, strata_of_plan
from doe.study.plan import Plan, Round
from doe.study.settings import IntArray

# Runs of a fixed round that must stand in earlier rounds, too (DESIGN.md, section 5).
LINK_RUNS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """Who shares what, over the runs that count and then those of the new round.

    Attributes:
        held: Number of runs that count already.
        sizes: Runs of each new batch.
        batch: Batch of each new run, from 1.
        block: Block of each new run, from 1; None where the brief has none.
        strata: Of all runs, held ones first.
    """

    held: int
    sizes: tuple[int, ...]
    batch: IntArray
    block: IntArray | None
    strata: Strata

    @property
    def is_fixed(self) -> bool:
        """Whether the new round differs from those before by a shift that must be estimated."""
        return any(
            not set(stratum.unit[: self.held].tolist()) & set(stratum.unit[self.held :].tolist())
            for stratum in self.strata.fixed
        )


def make_frame(ask: Extension, sizes: Sequence[int]) -> Frame:
    """Lay out the batches of a new round.

    Args:
        ask: What is wanted.
        sizes: Runs of each new batch, in the order in which the runs will be given.
    """
    batch = np.repeat(np.arange(1, len(sizes) + 1), sizes)
    block = _blocks(ask, sizes)
    standing = list(ask.standing)
    joined = _with_blank_round(ask, batch, block)
    rows = [*standing, *range(len(ask.plan), len(joined))]
    strata = strata_of_plan(joined, ask.study, rows)
    return Frame(
        held=len(standing), sizes=tuple(sizes), batch=batch.astype(np.int64), block=block,
        strata=strata,
    )  # fmt: skip


def new_batches(ask: Extension, default: int) -> tuple[int, ...]:
    """Decide on the batches of a round and the runs of each, from what was asked for.

    Args:
        ask: What is wanted; runs and batches as far as they were said.
        default: Runs where neither was.

    Raises:
        PlanError: Batches and runs contradict each other.
    """
    _refuse_endless(ask)
    if not ask.shared:
        if ask.runs is not None and ask.batches is not None and ask.runs != ask.batches:
            raise PlanError(
                f"{ask.runs} runs in {ask.batches} batches are asked for, and every run of this "
                "study is a mill batch of its own",
                where="--batches",
                allowed=f"{ask.runs}, or leave it out",
            )
        n = ask.runs or ask.batches or default
        return (1,) * n
    per = samples_per_batch(ask)
    runs = ask.runs
    batches = ask.batches or max(1, -(-(runs or default) // per))
    runs = batches * per if runs is None else runs
    if runs < batches:
        raise PlanError(
            f"{runs} runs cannot fill {batches} batches",
            where="--runs",
            allowed=f"{batches} or more",
        )
    base, more = divmod(runs, batches)
    return (base + 1,) * more + (base,) * (batches - more)


def _refuse_endless(ask: Extension) -> None:
    """Refuse a round that no search would end with, and no bench either."""
    for option, value in (("--runs", ask.runs), ("--batches", ask.batches)):
        if value is not None and value > MOST_RUNS:
            raise PlanError(
                f"{value} are asked for in one round", where=option, allowed=f"up to {MOST_RUNS}"
            )


def samples_per_batch(ask: Extension) -> int:
    """Give the usual number of runs of a batch in the rounds before."""
    if not ask.shared:
        return 1
    counts = Counter(
        batch
        for batch, kind in zip(ask.plan.batch, ask.plan.kind, strict=True)
        if batch is not None and kind not in ("control", "confirm")
    )
    return Counter(counts.values()).most_common(1)[0][0]


def shares_batches(plan: Plan) -> bool:
    """Tell whether runs of a plan share mill batches."""
    batches = [batch for batch in plan.batch if batch is not None]
    return len(set(batches)) < len(batches)


def links_needed(ask: Extension) -> int:
    """Count the link units that a new round needs beside its controls; 0 where it is random.

    A control that was run before and is run again links the rounds as well.
    """
    per = samples_per_batch(ask)
    if not make_frame(ask, (per,) * LINK_RUNS).is_fixed:
        return 0
    rule = block_rule(ask.study)
    before = set(ask.plan.control_names.values())
    turns = {"each": 1, "once": 1, "spread": 2}
    controls = sum(
        turns[control_turns(control, rule)]
        for control in ask.study.controls
        if control.name in before
    )
    return max(0, LINK_RUNS - controls)


def _blocks(ask: Extension, sizes: Sequence[int]) -> IntArray | None:
    rule = block_rule(ask.study)
    if rule is None or not sizes:
        return None
    # A block holds mill batches, whatever the number of samples in each.
    of_batch = np.repeat(
        np.arange(1, -(-len(sizes) // rule.room) + 1), block_sizes(len(sizes), rule.room)
    )
    # Dealt out in turn, so that links and repeats, which stand first, spread over the blocks.
    n_blocks = int(of_batch.max())
    room = Counter(of_batch.tolist())
    dealt: list[int] = []
    for i in range(len(sizes)):
        turn = [(i + t) % n_blocks + 1 for t in range(n_blocks)]
        block = next(b for b in turn if room[b] > 0)
        room[block] -= 1
        dealt.append(block)
    return np.repeat(np.array(dealt, dtype=np.int64), sizes)


def _with_blank_round(ask: Extension, batch: IntArray, block: IntArray | None) -> Plan:
    """Put a round without settings behind the plan, for its strata alone."""
    plan, n = ask.plan, len(batch)
    rule = block_rule(ask.study)
    number = ask.round_number
    first = {
        name: max((one for one in getattr(plan, name) if one is not None), default=0)
        for name in ("run", "day", "batch", "sample", "panel")
    }
    run = tuple(first["run"] + 1 + i for i in range(n))
    blank: tuple[None, ...] = (None,) * n
    by_day = rule is not None and rule.name == "day"
    days = blank if block is None else tuple(first["day"] + int(b) for b in block)
    details = {}
    if block is not None and not by_day:
        details = {"blocks": {r: f"{b} of round {number}" for r, b in zip(run, block, strict=True)}}
    values = np.vstack([plan.settings.values, np.zeros((n, len(ask.coding.axes)))])
    sampled = any(one is not None for one in plan.sample)
    return Plan(
        settings=settings_table(values, ask.coding),
        run=plan.run + run,
        round=plan.round + (number,) * n,
        day=plan.day + (days if by_day else blank),
        batch=plan.batch + tuple(first["batch"] + int(b) for b in batch),
        sample=plan.sample
        + (tuple(first["sample"] + 1 + i for i in range(n)) if sampled else blank),
        panel=plan.panel + blank,
        kind=plan.kind + of_kind("design", n),
        rounds=(*plan.rounds, Round(number=number, layout=LAYOUT, models=(), details=details)),
    )

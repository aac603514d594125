"""From the runs of a layout to bench order: days, blocks, controls, numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from doe.layouts.blocking import BlockRule, block_rule, block_sizes, divided
from doe.layouts.controls import control_row, control_turns
from doe.layouts.request import LayoutRuns
from doe.model.coding import coding_of, settings_table
from doe.model.matrix import model_matrix
from doe.model.terms import make_model
from doe.study.brief import STAGES, Stage, Study
from doe.study.plan import Kind, Plan, Round
from doe.study.settings import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundStart:
    """Where the numbers of a round begin, and what its entry records beside the runs.

    Attributes:
        number: Number of the round.
        run: First run number that is free in the study.
        batch: First batch number.
        sample: First sample number.
        panel: First panel number.
        day: First day.
        seed: Seed behind the order, for the record.
        version: Version of millbase.
        region_hash: Hash of the part of the brief that the runs rest on.
        goals_hash: Hash of the goals as they stand.
        details: Further entries for the record.
    """

    number: int = 1
    run: int = 1
    batch: int = 1
    sample: int = 1
    panel: int = 1
    day: int = 1
    seed: int | None = None
    version: str = ""
    region_hash: str = ""
    goals_hash: str = ""
    details: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Batch:
    """One mill batch in bench order: rows of the layout, or a control."""

    rows: tuple[int, ...]
    control: int | None = None
    block: int


def arrange(
    runs: LayoutRuns,
    study: Study,
    rng: np.random.Generator,
    first_run: int = 1,
    first_batch: int = 1,
    round: int = 1,
    start: RoundStart | None = None,
) -> Plan:
    """Put runs into bench order: randomised within days or blocks, centre and controls spread.

    Samples of one batch stand together and ascend. Controls are batches of their own, at least
    one a day or block where the brief says so, and not counted among the runs asked for.

    Args:
        runs: What the layout made.
        study: The brief: days, blocks, controls, stages.
        rng: Source of the order.
        first_run: First run number that is free in the study.
        first_batch: First batch number that is free.
        round: Number of the round.
        start: Where all numbers begin and what the entry records; replaces the three before it.

    Returns:
        The plan of this round alone.
    """
    begin = start or RoundStart(number=round, run=first_run, batch=first_batch)
    rule = block_rule(study)
    groups = _in_blocks(runs, study, rule, rng)
    batches = _with_controls(groups, study, rule)
    return _numbered(runs, study, batches, begin, rule)


def costs(plan: Plan) -> dict[str, int]:
    """Count what a plan takes: runs, mill batches, samples, panels, days, controls among them."""
    return {
        "runs": sum(kind != "control" for kind in plan.kind),
        "controls": sum(kind == "control" for kind in plan.kind),
        "mill batches": len({batch for batch in plan.batch if batch is not None}),
        "samples": len({s for s in plan.sample if s is not None}) or len(plan),
        "panels": len({panel for panel in plan.panel if panel is not None}) or len(plan),
        "days": len({day for day in plan.day if day is not None}),
    }


def _in_blocks(
    runs: LayoutRuns, study: Study, rule: BlockRule | None, rng: np.random.Generator
) -> list[list[_Batch]]:
    """Form batches, divide them into blocks, randomise within each."""
    rows = _batch_rows(runs, study)
    heads = [batch[0] for batch in rows]
    is_centre = np.array([runs.kind[head] == "centre" for head in heads])
    blocks = _block_of(runs, study, rule, heads, is_centre, rng)
    groups = []
    for block in sorted({int(block) for block in blocks}):
        members = np.flatnonzero(blocks == block)
        order = _randomised(members, is_centre, rng)
        groups.append([_Batch(rows=rows[i], block=block) for i in order])
    return groups


def _block_of(
    runs: LayoutRuns,
    study: Study,
    rule: BlockRule | None,
    heads: list[int],
    is_centre: BoolArray,
    rng: np.random.Generator,
) -> IntArray:
    """Give the block of each batch: the layout's own, else the best of random divisions."""
    if runs.block is not None:
        return np.asarray(runs.block[heads], dtype=np.int64)
    if rule is None:
        return np.ones(len(heads), dtype=np.int64)
    coding = coding_of(study)
    model = make_model(runs.models[-1], coding)
    X = model_matrix(np.asarray(runs.values[heads]), coding, model)
    return divided(X, block_sizes(len(heads), rule.room), rng, is_centre)


def _batch_rows(runs: LayoutRuns, study: Study) -> list[tuple[int, ...]]:
    """Group rows into batches; samples of a batch ascend by what is set per sample or panel."""
    if runs.batch is None:
        return [(i,) for i in range(len(runs))]
    later = _columns_from(study, "sample")
    numbers = [int(batch) for batch in runs.batch]
    grouped = [
        [i for i, batch in enumerate(numbers) if batch == number]
        for number in dict.fromkeys(numbers)
    ]
    return [
        tuple(sorted(group, key=lambda i: tuple(float(runs.values[i, j]) for j in later)))
        for group in grouped
    ]


def _columns_from(study: Study, stage: Stage) -> list[int]:
    """List the columns of settings that are set at a stage or a lower one."""
    least = STAGES.index(stage)
    per_package = [study.package.set_per] * len(study.additives) if study.package else []
    stages = [*per_package, *(factor.set_per for factor in study.varied_factors)]
    return [j for j, own in enumerate(stages) if STAGES.index(own) >= least]


def _randomised(members: IntArray, is_centre: BoolArray, rng: np.random.Generator) -> list[int]:
    """Order the batches of a block at random, with the centre runs spread evenly through it."""
    centre = rng.permutation(members[is_centre[members]])
    others = list(rng.permutation(members[~is_centre[members]]))
    n, c = len(members), len(centre)
    if c == 0 or not others:
        return [int(i) for i in (*others, *centre)]
    # Three or more centre runs also open and close the block.
    at = np.linspace(0, n - 1, c) if c > 2 else (np.arange(c) + 0.5) * n / c
    places = {int(place): int(run) for place, run in zip(np.floor(at), centre, strict=True)}
    return [places[i] if i in places else int(others.pop(0)) for i in range(n)]


def _with_controls(
    groups: list[list[_Batch]], study: Study, rule: BlockRule | None
) -> list[_Batch]:
    """Put the controls among the batches: those of each block, then those spread over the plan."""
    placed: list[_Batch] = []
    for turn, group in enumerate(_fitting(groups, rule)):
        batches = list(group)
        for c, control in enumerate(study.controls):
            if control_turns(control, rule) == "each":
                at = _place(turn, c, len(batches))
                batches.insert(at, _Batch(rows=(), control=c, block=batches[0].block))
        placed += batches
    for c, control in enumerate(study.controls):
        turns = control_turns(control, rule)
        if turns == "spread":
            placed = _spread_in(placed, c, max(2, -(-len(placed) // _RUNS_PER_CONTROL)))
        elif turns == "once":
            placed = _spread_in(placed, c, 1)
    return placed


# One control for about eight runs, and at least two, so that drift shows.
_RUNS_PER_CONTROL = 8
_GOLDEN = 0.618


def _place(turn: int, control: int, n: int) -> int:
    """Give the place of a control in its block: another one in each block, evenly over the day."""
    return int(((turn + control + 0.5) * _GOLDEN % 1.0) * (n + 1))


def _spread_in(batches: list[_Batch], control: int, times: int) -> list[_Batch]:
    result = list(batches)
    for at in sorted((int((i + 0.5) * len(batches) / times) for i in range(times)), reverse=True):
        block = batches[min(at, len(batches) - 1)].block
        result.insert(at, _Batch(rows=(), control=control, block=block))
    return result


def _fitting(groups: list[list[_Batch]], rule: BlockRule | None) -> list[list[_Batch]]:
    """Split blocks that are larger than a day holds."""
    if rule is None:
        return groups
    fitting: list[list[_Batch]] = []
    for group in groups:
        start = 0
        for size in block_sizes(len(group), rule.room):
            number = len(fitting) + 1
            part = group[start : start + size]
            fitting.append([_Batch(rows=batch.rows, block=number) for batch in part])
            start += size
    return fitting


def _numbered(
    runs: LayoutRuns,
    study: Study,
    batches: list[_Batch],
    begin: RoundStart,
    rule: BlockRule | None,
) -> Plan:
    coding = coding_of(study)
    rows: list[FloatArray] = []
    kinds: list[Kind] = []
    batch_of: list[int] = []
    block_of: list[int] = []
    controls: dict[int, str] = {}
    for number, batch in enumerate(batches):
        if batch.control is not None:
            control = study.controls[batch.control]
            controls[begin.run + len(rows)] = control.name
            rows.append(control_row(control, coding))
            kinds.append("control")
        else:
            rows += [np.asarray(runs.values[i]) for i in batch.rows]
            kinds += [runs.kind[i] for i in batch.rows]
        added = len(rows) - len(batch_of)
        batch_of += [begin.batch + number] * added
        block_of += [batch.block] * added
    values = np.vstack(rows)
    n = len(values)
    numbers = tuple(range(begin.run, begin.run + n))
    by_day = rule is not None and rule.name == "day"
    plan = Plan(
        settings=settings_table(values, coding),
        run=numbers,
        round=(begin.number,) * n,
        day=tuple(begin.day + block - 1 for block in block_of) if by_day else (None,) * n,
        batch=tuple(batch_of),
        sample=_units(values, batch_of, study, "sample", begin.sample),
        panel=_units(values, batch_of, study, "panel", begin.panel),
        kind=tuple(kinds),
        rounds=(),
    )
    details = {**runs.details, **begin.details, "costs": costs(plan)}
    if rule is not None and not by_day:
        details["blocks"] = {run: str(block) for run, block in zip(numbers, block_of, strict=True)}
    return _with_round(plan, runs, begin, controls, (details, _said(plan, runs, study, rule)))


def _with_round(
    plan: Plan,
    runs: LayoutRuns,
    begin: RoundStart,
    controls: dict[int, str],
    record: tuple[dict[str, Any], tuple[str, ...]],
) -> Plan:
    details, said = record
    entry = Round(
        number=begin.number,
        layout=runs.layout,
        models=runs.models,
        criterion=runs.criterion,
        criterion_value=runs.criterion_value,
        seed=begin.seed,
        version=begin.version,
        region_hash=begin.region_hash,
        goals_hash=begin.goals_hash,
        runs=plan.run,
        controls=controls,
        reasons=(*runs.reasons, *said),
        details=details,
    )
    return Plan(
        settings=plan.settings, run=plan.run, round=plan.round, day=plan.day, batch=plan.batch,
        sample=plan.sample, panel=plan.panel, kind=plan.kind, rounds=(entry,),
    )  # fmt: skip


def _units(
    values: FloatArray, batch_of: list[int], study: Study, stage: Stage, first: int
) -> tuple[int | None, ...]:
    """Number the units of a stage below the batch; None where nothing is set there or lower.

    Runs of one batch that agree in all settings above the panel share a sample.
    """
    if not _columns_from(study, stage):
        return (None,) * len(values)
    lower = set(_columns_from(study, "panel")) if stage == "sample" else set()
    # Where nothing is set below it, equal settings in one batch are samples drawn anew.
    shared = stage == "sample" and bool(lower)
    own = [j for j in range(values.shape[1]) if j not in lower]
    numbers: dict[Any, int] = {}
    units = []
    for i, (batch, row) in enumerate(zip(batch_of, values, strict=True)):
        settings = tuple(np.nan_to_num(row[own], nan=-1e9).tolist())
        key = (batch, settings) if shared else i
        units.append(numbers.setdefault(key, first + len(numbers)))
    return tuple(units)


def _said(plan: Plan, runs: LayoutRuns, study: Study, rule: BlockRule | None) -> tuple[str, ...]:
    """Say how the order came about and what the plan costs."""
    cost = costs(plan)
    said = ["The order is randomised" + (f" within each {rule.name}." if rule else ".")]
    if runs.batch is None and _columns_from(study, "sample"):
        said.append(
            "Every run is a mill batch of its own, also where a setting belongs to the sample; "
            "--batches B --runs N draws several samples from each batch instead."
        )
    total = f"It takes {cost['mill batches']} mill batches"
    if cost["samples"] != cost["mill batches"]:
        total += f" and {cost['samples']} samples"
    if cost["days"]:
        total += f" on {cost['days']} day{'s' if cost['days'] > 1 else ''}"
    if cost["controls"]:
        total += f", {cost['controls']} of the batches for controls"
    said.append(total + ".")
    return tuple(said)

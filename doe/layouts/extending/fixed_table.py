"""Rounds whose settings follow from a table (axial runs, mirror images), with centre and links."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from doe.errors import PlanError
from doe.layouts.extending.frame import links_needed, make_frame, samples_per_batch
from doe.layouts.extending.linking import best_units, repeatable_units
from doe.layouts.extending.measure import average_variance, n_links, yardstick
from doe.layouts.extending.request import Extension, way_for_a_model
from doe.layouts.extending.searching import NewRuns, as_layout
from doe.layouts.outside import why_outside
from doe.layouts.placing import REGION_TOLERANCE
from doe.layouts.request import LayoutRuns, Request
from doe.model.region import Region
from doe.model.strata import stages_of
from doe.study.brief import STAGES
from doe.study.finding import Finding
from doe.study.plan import Kind
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """The runs that a round cannot do without, and what is put beside them.

    Attributes:
        values: Settings, shape (n, k), lab units.
        kind: What each is for.
        beside: Settings that further runs take in turn (centre runs), shape (c, k).
        beside_kind: What those are for.
        default_beside: How many of them there are where nobody says how many runs.
        region: Where the runs may lie.
    """

    values: FloatArray
    kind: tuple[Kind, ...]
    beside: FloatArray
    beside_kind: Kind
    default_beside: int
    region: Region


def table_round(
    ask: Extension,
    table: Table,
    reasons: tuple[str, ...],
    *,
    purpose: str,
    findings: tuple[Finding, ...] = (),
) -> LayoutRuns:
    """Make a round of a table.

    Raises:
        PlanError: A run leaves the region, or the budget is smaller than the table and its links.
    """
    _refuse_outside(ask, table, purpose)
    stick = yardstick(ask)
    n_beside, n_units = _counts(ask, table)
    beside = table.beside[np.arange(n_beside) % max(len(table.beside), 1)]
    rows = np.vstack([table.values, beside])
    kinds = [*table.kind, *([table.beside_kind] * n_beside)]
    order, sizes = _batches(ask, table, rows)
    rows, kinds = rows[order], [kinds[i] for i in order]
    units = repeatable_units(ask)
    per = samples_per_batch(ask)
    frame = make_frame(ask, (*((per,) * n_units), *sizes))
    chosen = best_units(ask, stick, frame, n_units, rows) if n_units else []
    links = np.vstack([np.zeros((0, rows.shape[1])), *(units[i] for i in chosen)])
    values = np.vstack([links, rows])
    new = NewRuns(
        frame=frame, values=values, n_links=len(links),
        variance=average_variance(ask, stick, frame, np.vstack([ask.held, values])),
    )  # fmt: skip
    each: list[Kind] = ["replicate"] * len(links)
    return as_layout(ask, stick, new, "design", reasons, kinds=(*each, *kinds), findings=findings)


def _counts(ask: Extension, table: Table) -> tuple[int, int]:
    """Decide on the runs beside the table and on the units that link the rounds."""
    per = samples_per_batch(ask)
    needed = links_needed(ask)
    short = max(0, needed - n_links(ask.held, table.values))
    # Centre runs that were made before link the rounds as well as any.
    links_itself = len(table.beside) > 0 and n_links(ask.held, table.beside) == len(table.beside)
    units = 0 if links_itself else min(short, len(repeatable_units(ask)))
    least_beside = short if links_itself else 0
    total = ask.runs if ask.shared or ask.runs is not None else ask.batches
    if total is None:
        n_beside = table.default_beside if len(table.beside) else 0
        return max(n_beside, least_beside), units
    least = len(table.values) + least_beside + units * per
    if total < least:
        raise PlanError(
            f"{total} runs are asked for, and this round needs {least}: {len(table.values)} of the "
            f"layout and {least - len(table.values)} that link it to the rounds before",
            where="--runs" if ask.runs is not None else "--batches",
            allowed=f"{least} or more",
        )
    spare = total - len(table.values) - units * per
    if len(table.beside):
        return spare, units
    return 0, units + spare // per


def _batches(ask: Extension, table: Table, rows: FloatArray) -> tuple[list[int], tuple[int, ...]]:
    """Group rows into batches: each its own, or by the settings that batches hold."""
    if not ask.shared:
        return list(range(len(rows))), (1,) * len(rows)
    sample = STAGES.index("sample")
    own = [j for j, stage in enumerate(stages_of(ask.study)) if STAGES.index(stage) < sample]
    groups: dict[Hashable, list[int]] = {}
    for i, row in enumerate(rows):
        settings = tuple(np.round(np.nan_to_num(row[own], nan=-9e15), 9).tolist())
        same = i < len(table.values)
        label: Hashable = settings
        if not same and _stands(rows, groups.get(label, []), row):
            label = ("again", i)
        groups.setdefault(label, []).append(i)
    return [i for group in groups.values() for i in group], tuple(map(len, groups.values()))


def _stands(rows: FloatArray, group: Sequence[int], row: FloatArray) -> bool:
    """Tell whether a batch has a sample of these settings already."""
    return any(bool(np.array_equal(rows[i], row, equal_nan=True)) for i in group)


def _refuse_outside(ask: Extension, table: Table, purpose: str) -> None:
    inside = np.asarray(table.region.contains(table.values, REGION_TOLERANCE))
    if inside.all():
        return
    request = Request(study=ask.study, coding=ask.coding, region=ask.region)
    where = why_outside(table.values[int(np.argmin(inside))], request)
    raise PlanError(
        f"{int((~inside).sum())} of {len(inside)} runs leave the region, one at {where}",
        where=f"--for {purpose}",
        do=f"Take {way_for_a_model(ask)}, which places runs in any region.",
    )

"""From the points of a family to the runs of a plan: centre runs, replicates, number of runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from doe.errors import PlanError
from doe.layouts.placing import placed
from doe.layouts.request import LayoutRuns, Request
from doe.model.coding import decode
from doe.model.information import leverage
from doe.model.matrix import model_matrix
from doe.model.terms import make_model
from doe.study.finding import Finding
from doe.study.plan import Kind
from doe.study.settings import FloatArray, IntArray

# Centre runs up to which a larger budget is spent on the centre before points are repeated: five
# give four degrees of freedom of pure error, and more of them tell little about the surface.
_CENTRE_ENOUGH = 5
# Coded places are equal to this many decimals: rounding of the tables only.
_SAME_PLACE = 9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Points:
    """The points of one family, before centre runs and replicates.

    Attributes:
        layout: Name in the registry.
        coded: Shape (n, k): factors coded, shares as proportions, choices as level indices.
        kind: What each point is for, n entries.
        block: Number of the block of each point; None where it is free.
        centre: Shape (c, k): centre settings, taken in turn; no rows where there are none.
        checks: Shape (c, k): interior check blends, the most telling first; no rows without any.
        default_centre: Number of centre runs where the request names none.
        least_centre: Fewest centre runs without which the layout loses what it is for.
        centre_blocks: Blocks that each centre run goes to in turn; empty where it is free.
        details: For the record.
        reasons: How the points came about.
        findings: What the reader ought to know.
    """

    layout: str
    coded: FloatArray
    kind: tuple[Kind, ...]
    block: tuple[int, ...] | None = None
    centre: FloatArray
    checks: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    default_centre: int = 0
    least_centre: int = 0
    centre_blocks: tuple[int, ...] = ()
    details: Mapping[str, Any] = field(default_factory=dict)
    reasons: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


def complete(request: Request, points: Points) -> LayoutRuns:
    """Add centre runs, check blends and replicates, and reach the number of runs asked for.

    Raises:
        PlanError: Fewer runs are asked for than the layout needs.
    """
    points = _without_doubles(request, points)
    counts = _counts(request, points)
    n_core = len(points.coded)
    centre = points.centre[np.arange(counts.centre) % max(len(points.centre), 1)]
    added = [points.checks[: counts.checks]] if counts.checks else []
    coded = np.vstack([points.coded, centre, *added])
    values, moved = placed(coded, request.coding, request.search_region)
    again = _to_replicate(request, values[:n_core], counts.replicates)
    blocks = _blocks(points, counts, again)
    return LayoutRuns(
        layout=points.layout,
        models=request.wanted_models,
        values=np.vstack([values, values[again]]),
        kind=(
            *points.kind,
            *of_kind("centre", counts.centre),
            *of_kind("check", counts.checks),
            *of_kind("replicate", counts.replicates),
        ),
        block=blocks,
        details={
            **points.details,
            "points": n_core,
            "centre runs": counts.centre,
            "check blends": counts.checks,
            "replicates": counts.replicates,
        },
        reasons=(*points.reasons, counts.sentence(n_core)),
        findings=(*points.findings, *moved),
    )


def _without_doubles(request: Request, points: Points) -> Points:
    """Make points once that are equal where their level lacks a factor, first ones kept."""
    lacking = np.isnan(decode(points.coded, request.coding))
    if not lacking.any():
        return points
    cells = np.where(lacking, 0.0, np.round(points.coded, _SAME_PLACE))
    keys = [(tuple(row), block) for row, block in zip(cells.tolist(), _homes(points), strict=True)]
    first = dict(zip(reversed(keys), reversed(range(len(keys))), strict=True))
    kept = [i for i, key in enumerate(keys) if first[key] == i]
    n_gone = len(keys) - len(kept)
    if not n_gone:
        return points
    names = [request.coding.names[j] for j in np.flatnonzero(lacking.any(axis=0))]
    told = (
        f"{n_gone} points are left out: at a level that lacks {' and '.join(names)} they would "
        "only repeat others."
    )
    return replace(
        points,
        coded=points.coded[kept],
        kind=tuple(points.kind[i] for i in kept),
        block=None if points.block is None else tuple(points.block[i] for i in kept),
        reasons=(*points.reasons, told),
    )


def _homes(points: Points) -> tuple[int, ...]:
    return points.block or (0,) * len(points.coded)


def centre_count(request: Request, n_core: int, default: int, least: int = 0) -> int:
    """Decide on the number of centre runs: as asked for, else the default, else what runs allow.

    A larger budget is spent on the centre up to five runs, a smaller one taken from it.
    """
    if request.centre is not None:
        return max(request.centre, least)
    if request.runs is None:
        return max(default, least)
    spare = request.runs - n_core - request.n_replicates
    return max(min(spare, max(default, _CENTRE_ENOUGH)), least)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Counts:
    centre: int
    checks: int
    replicates: int

    def sentence(self, n_core: int) -> str:
        """Say how the number of runs was reached."""
        parts = [f"{n_core} points of the layout"]
        for number, word in (
            (self.centre, "centre run"),
            (self.checks, "check blend"),
            (self.replicates, "replicate"),
        ):
            if number:
                parts.append(f"{number} {word}{'s' if number > 1 else ''}")
        total = n_core + self.centre + self.checks + self.replicates
        said = parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]
        return f"{total} runs: {said}."


def _counts(request: Request, points: Points) -> _Counts:
    n_core = len(points.coded)
    least = points.least_centre if len(points.centre) else 0
    if request.runs is not None:
        needed = (
            n_core + (request.centre or least) * bool(len(points.centre)) + request.n_replicates
        )
        if request.runs < needed:
            raise PlanError(
                f"the layout '{points.layout}' needs {needed} runs here, and {request.runs} are "
                "asked for",
                where="--runs",
                allowed=f"{needed} or more",
            )
    n_centre = 0
    if len(points.centre):
        n_centre = centre_count(request, n_core, points.default_centre, least)
    n_checks = len(points.checks) if request.checks is None else request.checks
    n_checks = min(n_checks, len(points.checks))
    if request.runs is None:
        return _Counts(centre=n_centre, checks=n_checks, replicates=request.n_replicates)
    spare = request.runs - n_core - n_centre - request.n_replicates
    n_checks = min(n_checks, spare)
    return _Counts(
        centre=n_centre, checks=n_checks, replicates=request.n_replicates + spare - n_checks
    )


def _blocks(points: Points, counts: _Counts, again: list[int]) -> IntArray | None:
    if points.block is None:
        return None
    homes = points.centre_blocks or tuple(sorted(set(points.block)))
    added = [homes[i % len(homes)] for i in range(counts.centre + counts.checks)]
    repeated = [points.block[i] for i in again]
    return np.array([*points.block, *added, *repeated], dtype=np.int64)


def of_kind(kind: Kind, times: int) -> tuple[Kind, ...]:
    """Give the kind of several runs."""
    return (kind,) * times


def _to_replicate(request: Request, core: FloatArray, wanted: int) -> list[int]:
    """Choose the points to repeat: those of greatest leverage in turn, each once before twice."""
    if not wanted:
        return []
    X = model_matrix(core, request.coding, make_model(request.wanted_models[-1], request.coding))
    # Rounded, so that points which are equal by symmetry keep their order on every machine.
    h = np.round(leverage(X), 9) if len(X) >= X.shape[1] else np.zeros(len(X))
    order = [int(i) for i in np.argsort(-h, kind="stable")]
    spread = _spread_order(len(order)) if len(set(h.tolist())) == 1 else order
    return [spread[i % len(spread)] for i in range(wanted)]


def _spread_order(n: int) -> list[int]:
    """Order equal points so that the first few lie far apart in the table: 0, n−1, n/2, …."""
    ends = [0, n - 1]
    gaps = [(0, n - 1)]
    while gaps:
        low, high = gaps.pop(0)
        middle = (low + high) // 2
        if middle in (low, high):
            continue
        ends.append(middle)
        gaps += [(low, middle), (middle, high)]
    return list(dict.fromkeys(ends))

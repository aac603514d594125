"""The two-level core of a plan: the runs whose ranges all stand at one of two settings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.errors import PlanError
from doe.layouts.extending.request import Extension, way_for_a_model
from doe.layouts.parts import factor_kinds
from doe.model.coding import ChoiceAxis, ShareAxis, code
from doe.model.strata import stages_of
from doe.model.terms import is_blend
from doe.study.brief import STAGES
from doe.study.settings import FloatArray

# Bench steps move a corner by less than this part of the half range.
_NEAR = 0.15
_MIDDLE = 0.15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Core:
    """The two-level runs of a plan.

    Attributes:
        columns: Axes that take two settings in them: ranges and choices of two levels.
        ranges: Those of them that are ranges.
        signs: Shape (n, c), −1 or +1; the first level of a choice is +1.
        half: Coded distance of each range's two settings from its middle, shape (r,).
        values: Their settings, shape (n, k), lab units.
        centre: Settings of the centre runs, shape (z, k).
    """

    columns: tuple[int, ...]
    ranges: tuple[int, ...]
    signs: FloatArray
    half: FloatArray
    values: FloatArray
    centre: FloatArray

    def runs_at_each(self, others: tuple[int, ...]) -> float:
        """Count the core runs at each combination of other axes, on average."""
        if not others:
            return float(len(self.values))
        return len(self.values) / len(np.unique(self.values[:, list(others)], axis=0))


def core_of(ask: Extension, purpose: str) -> Core:
    """Find the two-level core of the rounds so far, failed runs included, repeats left out.

    Raises:
        PlanError: There is a package, or the runs are not those of a two-level layout.
    """
    instead = f"Take {way_for_a_model(ask)}, which places runs in any region."
    if is_blend(ask.coding):
        raise PlanError(
            "the shares of a package sum to 1, so they have no two-level layout",
            where=f"--for {purpose}",
            do=instead,
        )
    kinds = factor_kinds(ask.coding)
    plan = ask.plan
    rows = [i for i, kind in enumerate(plan.kind) if kind not in ("control", "confirm")]
    values = np.asarray(plan.settings.values)[rows]
    coded = code(values, ask.coding)
    ranges = list(kinds.ranges)
    if not ranges:
        raise PlanError("no factor of this study has a range", where=f"--for {purpose}", do=instead)
    z = coded[:, ranges]
    middle = np.all(np.abs(z[:, _in_the_middle(ask, ranges)]) <= _MIDDLE, axis=1)
    corner = ~middle
    half = np.median(np.abs(z[corner]), axis=0) if corner.any() else np.ones(len(ranges))
    on = np.abs(np.abs(z) - half) <= _NEAR * np.maximum(half, 1e-9)
    if not corner.any() or bool(np.any(half < _MIDDLE)) or not bool(np.all(on[corner])):
        n_off = int((~on.all(axis=1) & corner).sum())
        raise PlanError(
            f"the runs so far are no two-level layout: {n_off} of {len(rows)} lie neither at its "
            "corners nor in the middle",
            where=f"--for {purpose}",
            do=instead,
        )
    columns = tuple(sorted((*kinds.ranges, *kinds.two_level)))
    # Repeats would weigh some corners more, which is no alias.
    _, first = np.unique(np.nan_to_num(np.round(values, 9), nan=-9e15), axis=0, return_index=True)
    corner = corner & np.isin(np.arange(len(values)), first)
    signs = np.stack([_signs(ask, coded[corner, j], j) for j in columns], axis=1)
    return Core(
        columns=columns, ranges=kinds.ranges, signs=signs, half=half,
        values=values[corner], centre=values[middle],
    )  # fmt: skip


def _in_the_middle(ask: Extension, ranges: list[int]) -> list[int]:
    """List the ranges that a centre run has in the middle: of a shared batch those it is set by."""
    if not ask.shared:
        return list(range(len(ranges)))
    sample = STAGES.index("sample")
    stages = stages_of(ask.study)
    own = [p for p, j in enumerate(ranges) if STAGES.index(stages[j]) < sample]
    return own or list(range(len(ranges)))


def _signs(ask: Extension, column: FloatArray, j: int) -> FloatArray:
    axis = ask.coding.axes[j]
    if isinstance(axis, ChoiceAxis):
        return np.where(column == 0, 1.0, -1.0)
    if isinstance(axis, ShareAxis):
        raise ValueError("a share is no two-level column")
    return np.where(column > 0, 1.0, -1.0)

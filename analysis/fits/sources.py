"""Which columns answer one question together: the sources of an analysis of variance.

Source:
    DESIGN.md, section 5, "Models": linear blending terms are tested jointly as equal coefficients,
    shares × z as one set; Cornell (2002), Experiments with Mixtures, 3rd ed., section 5.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doe.model.coding import Coding
from doe.model.matrix import Column
from doe.model.terms import Term
from doe.study.settings import FloatArray

LINEAR_BLENDING = "linear blending"
IN_ANY_BLEND = " (in any blend)"
# What the row of a form's shape parameters begins with.
SHAPE = "shape of "


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Columns tested together.

    Attributes:
        name: What the table calls them.
        order: The kind of term they are: linear, interactions, squares, ….
        columns: Column numbers in the model matrix.
        equal: Test that the coefficients are equal, instead of zero.
        alike: Groups of columns whose coefficients are tested as equal, instead of all of them.
    """

    name: str
    order: str
    columns: tuple[int, ...]
    equal: bool = False
    alike: tuple[tuple[int, ...], ...] = ()

    def hypothesis(self, p: int) -> FloatArray:
        """Give L of the hypothesis L b = 0, shape (df, p)."""
        one = np.eye(p)
        if not self.equal:
            return one[list(self.columns)]
        groups = [list(group) for group in self.alike or (self.columns,)]
        L: FloatArray = np.vstack([one[group[:-1]] - one[group[-1]] for group in groups])
        return L


def sources_of(columns: Sequence[Column], labels: Sequence[str], coding: Coding) -> list[Source]:
    """Gather the columns of a model into sources, in the order of the model.

    Args:
        columns: Columns of the model matrix.
        labels: The name of each column's term.
        coding: Tells shares from factors.
    """
    shares = {axis.name for axis in coding.shares}
    gathered: dict[tuple[str, str], list[int]] = {}
    for j, (column, label) in enumerate(zip(columns, labels, strict=True)):
        if column.shape:
            gathered.setdefault((f"{SHAPE}{label}", "shape of the form"), []).append(j)
        elif column.term.powers:
            gathered.setdefault(_place(column.term, label, shares), []).append(j)
    return [
        Source(name=name, order=order, columns=tuple(numbers), equal=name == LINEAR_BLENDING)
        for (name, order), numbers in gathered.items()
        if not (name == LINEAR_BLENDING and len(numbers) < 2)
    ]


def tested_apart(
    sources: Sequence[Source], columns: Sequence[Column], coding: Coding
) -> list[Source]:
    """Add, behind each set of shares × factor, whether the factor acts alike in every blend.

    The set holds the factor itself, as shares add to 1: its test asks whether the factor acts in
    any blend. Equal coefficients mean that it acts, but no otherwise in one blend than in another.
    The shape of a form is no hypothesis and is left out.
    """
    shares = {axis.name for axis in coding.shares}
    tested: list[Source] = []
    for source in sources:
        if source.name.startswith(SHAPE):
            continue
        tested.append(source)
        if source.name.endswith(IN_ANY_BLEND):
            factor = source.name.removesuffix(IN_ANY_BLEND)
            groups: dict[tuple[tuple[str, str], ...], list[int]] = {}
            for j in source.columns:
                groups.setdefault(columns[j].levels, []).append(j)
            alike = tuple(tuple(group) for group in groups.values() if len(group) == len(shares))
            if alike:
                tested.append(
                    Source(
                        name=f"package × {factor}",
                        order=source.order,
                        columns=source.columns,
                        equal=True,
                        alike=alike,
                    )
                )
    return tested


def orders_of(sources: Sequence[Source]) -> list[Source]:
    """Gather sources of one kind into one, kinds in order of first appearance."""
    kinds = dict.fromkeys(source.order for source in sources)
    return [
        Source(
            name=kind,
            order=kind,
            columns=tuple(j for source in sources if source.order == kind for j in source.columns),
            equal=kind == LINEAR_BLENDING,
        )
        for kind in kinds
    ]


def _place(term: Term, label: str, shares: set[str]) -> tuple[str, str]:
    blend = [(name, power) for name, power in term.powers if name in shares]
    factors = [(name, power) for name, power in term.powers if name not in shares]
    degree = sum(power for _, power in blend)
    if degree == 1:
        if not factors:
            return LINEAR_BLENDING, LINEAR_BLENDING
        # The set of all shares with one factor: the factor's effect in any blend.
        others = " × ".join(name if power == 1 else f"{name}^{power}" for name, power in factors)
        return f"{others}{IN_ANY_BLEND}", "package × factors"
    if degree > 1:
        return label, _blend_order(term, degree, bool(factors))
    return label, _factor_order(factors)


def _blend_order(term: Term, degree: int, crossed: bool) -> str:
    if crossed:
        return "blending × factors"
    if term.delta:
        return "cubic blending"
    return {2: "blending in pairs", 3: "blending in threes"}.get(degree, "higher blending")


def _factor_order(factors: Sequence[tuple[str, int]]) -> str:
    if len(factors) == 1:
        return {1: "linear", 2: "squares"}.get(factors[0][1], "higher terms")
    return "interactions" if all(power == 1 for _, power in factors) else "higher terms"

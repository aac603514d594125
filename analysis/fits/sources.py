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


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Columns tested together.

    Attributes:
        name: What the table calls them.
        order: The kind of term they are: linear, interactions, squares, ….
        columns: Column numbers in the model matrix.
        equal: Test that the coefficients are equal, instead of zero.
    """

    name: str
    order: str
    columns: tuple[int, ...]
    equal: bool = False

    def hypothesis(self, p: int) -> FloatArray:
        """Give L of the hypothesis L b = 0, shape (df, p)."""
        picked = np.eye(p)[list(self.columns)]
        if not self.equal:
            return picked
        L: FloatArray = picked[:-1] - picked[-1]
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
        if column.term.powers:
            gathered.setdefault(_place(column.term, label, shares), []).append(j)
    return [
        Source(name=name, order=order, columns=tuple(numbers), equal=name == LINEAR_BLENDING)
        for (name, order), numbers in gathered.items()
        if not (name == LINEAR_BLENDING and len(numbers) < 2)
    ]


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
        # The set of all shares with one factor: the factor's effect in any package.
        others = " × ".join(name if power == 1 else f"{name}^{power}" for name, power in factors)
        return f"package × {others}", "package × factors"
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

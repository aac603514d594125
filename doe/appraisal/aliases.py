"""Which effects of the next order a plan mixes up with the terms of a model.

Source:
    Box and Wilson (1951), JRSS B 13, 1-45: the alias matrix (X'X)^-1 X'Z.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doe.model.coding import Coding, NumericAxis
from doe.model.matrix import Column, column_label
from doe.model.terms import Model, Term, make_model, model_names
from doe.study.settings import FloatArray

# A share below it bends an estimate by less than a twentieth of the other effect: not told.
_TOLD = 0.05
_ROUNDING = 1e-6
# Terms of third order stand beyond a model with interactions.
_TRIPLE = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Alias:
    """One column of a model and the effects outside the model that bias its estimate.

    Attributes:
        term: Label of the column.
        others: Labels of the effects, each with the part of it that is taken up by the estimate.
    """

    term: str
    others: tuple[tuple[str, float], ...]

    def sentence(self) -> str:
        """Say it in the words of the trade.

        Example:
            >>> Alias(term="dose", others=(("pH × grind time", 1.0),)).sentence()
            'dose is mixed up with pH × grind time'
        """
        told = [
            name if abs(part - 1.0) < _ROUNDING else f"{_sign(part)}{name}"
            for name, part in self.others
        ]
        return f"{self.term} is mixed up with {', '.join(told)}"


def _sign(part: float) -> str:
    return "minus " if abs(part + 1.0) < _ROUNDING else f"{part:.2f} of "


def alias_table(
    X: FloatArray,
    columns: Sequence[Column],
    X_next: FloatArray,
    columns_next: Sequence[Column],
) -> tuple[Alias, ...]:
    """Find what the estimates of a model take up of terms outside it.

    Args:
        X: Model matrix, shape (n, p).
        columns: Its columns.
        X_next: Matrix of the terms outside the model, shape (n, r).
        columns_next: Its columns.

    Returns:
        An entry for each column of the model that is mixed up with something.
    """
    if not len(columns_next):
        return ()
    # A = (X'X)^-1 X'Z as a least-squares problem: X'X would square the condition number.
    A, *_ = np.linalg.lstsq(X, X_next, rcond=None)
    entries = []
    for i, column in enumerate(columns):
        others = tuple(
            (column_label(other), float(A[i, j]))
            for j, other in enumerate(columns_next)
            if abs(A[i, j]) > _TOLD
        )
        if others:
            entries.append(Alias(term=column_label(column), others=others))
    return tuple(entries)


def next_order(model: Model, coding: Coding) -> Model:
    """Gather the terms just beyond a model: the larger named models, then those of third order.

    Returns:
        Terms that are not in the model; none beyond the largest blend model.
    """
    names = model_names(coding)
    beyond = names[names.index(model.name) + 1 :] if model.name in names else ()
    wanted = next((name for name in ("quadratic", *beyond) if name in beyond), None)
    terms: list[Term] = []
    if wanted is not None:
        terms += make_model(wanted, coding).terms
    if len(coding.shares) < 2 and model.name != "linear":
        terms += [
            Term(powers=tuple((axis.name, 1) for axis in chosen))
            for chosen in itertools.combinations(coding.factors, _TRIPLE)
        ]
        if model.name != "interactions":
            terms += _third_order(coding)
    kept = tuple(dict.fromkeys(term for term in terms if term not in model.terms))
    return Model(name=f"beyond {model.name}", terms=kept)


def _third_order(coding: Coding) -> list[Term]:
    """List squares times other factors, and cubes, of factors that can be set at enough places."""
    ranged = [axis for axis in coding.factors if isinstance(axis, NumericAxis)]
    curved = [axis.name for axis in ranged if len(axis.levels) not in {1, 2}]
    cubic = [axis.name for axis in ranged if not axis.levels or len(axis.levels) > _TRIPLE]
    products = [
        Term(
            powers=tuple(
                (axis.name, 2 if axis.name == name else 1)
                for axis in coding.factors
                if axis.name in {name, other.name}
            )
        )
        for name in curved
        for other in coding.factors
        if other.name != name
    ]
    return [*products, *(Term(powers=((name, 3),)) for name in cubic)]

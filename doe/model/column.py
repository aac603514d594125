"""The columns that a model's terms become, and how they are called."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from doe.model.coding import ChoiceAxis, Coding, NumericAxis, present_levels
from doe.model.term import Model, Term, product_label, quoted, term_label


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of the model matrix.

    Attributes:
        term: The term it belongs to.
        levels: For each named choice in the term, the level whose effect the column carries.
        shape: Of a form: the shape parameter along which the column is the slope of the value; its
            coefficient is what is missing to the estimate, 0. Its term is that of the bent factor.
    """

    term: Term
    levels: tuple[tuple[str, str], ...] = ()
    shape: str = ""


def model_columns(model: Model, coding: Coding) -> tuple[Column, ...]:
    """List the p columns of a model's matrix.

    A term with named choices has one column for each combination of all their levels but the last.
    Crossed with a ranged factor, a choice counts only the levels at which the factor exists. The
    shape parameters of a form come last.
    """
    own = tuple(column for term in model.terms for column in _columns_of(term, coding))
    return own + shape_columns(model)


def shape_columns(model: Model) -> tuple[Column, ...]:
    """List the columns of the shape parameters; none without a form, or without its weights."""
    if model.bend is None:
        return ()
    term = Term(powers=((model.bend.factor, 1),))
    return tuple(Column(term=term, shape=name) for name in model.bend.shape_columns)


def bent_columns(columns: tuple[Column, ...], factor: str) -> tuple[int, ...]:
    """Number the columns that hold a bent factor, its shape parameters left out."""
    return tuple(
        j for j, column in enumerate(columns) if factor in column.term.names and not column.shape
    )


def column_label(column: Column) -> str:
    """Write a column as tables show it.

    Example:
        >>> term = Term(powers=(("dose", 1), ("neutraliser", 1)))
        >>> column_label(Column(term=term, levels=(("neutraliser", "ammonia"),)))
        'dose × neutraliser (ammonia)'
        >>> term = Term(powers=(("dose × g", 1), ("neutraliser", 1)))
        >>> column_label(Column(term=term, levels=(("neutraliser", "ammonia"),)))
        '"dose × g" × neutraliser (ammonia)'
    """
    label = term_label(column.term)
    if column.shape:
        return f"{label}: {column.shape}"
    if not column.levels:
        return label
    levels = dict(column.levels)
    if len(column.term.powers) == 1:
        ((name, _),) = column.term.powers
        return f"{name} ({levels[name]})"
    parts = []
    for name, power in column.term.powers:
        shown = quoted(name) if power == 1 else product_label(((name, power),))
        parts.append(f"{shown} ({levels[name]})" if name in levels else shown)
    return " × ".join(parts)


def contrast_levels(choice: ChoiceAxis, term: Term, coding: Coding) -> tuple[str, ...]:
    """Give the levels over which a choice's columns in a term add up to zero, in order."""
    there = tuple(level for level in choice.levels if level not in choice.never)
    for name in term.names:
        axis = coding.axes[coding.index(name)]
        if isinstance(axis, NumericAxis) and axis.ranges and axis.ranges[0].choice == choice.name:
            present = present_levels(axis)
            there = tuple(level for level in there if level in present)
    return there


def _columns_of(term: Term, coding: Coding) -> list[Column]:
    axes = [coding.axes[coding.index(name)] for name in term.names]
    choices = [axis for axis in axes if isinstance(axis, ChoiceAxis)]
    sets = [
        [(choice.name, level) for level in contrast_levels(choice, term, coding)[:-1]]
        for choice in choices
    ]
    return [Column(term=term, levels=levels) for levels in product(*sets)]

"""A model less the terms that the runs cannot tell, each named with the reason.

Left out are terms of settings of which the runs of the study tell nothing, and products and squares
tied with one another: all of them, as none may speak for the rest. Main effects that only the runs
of one response leave tied are not cut away: a model without them would speak for settings that the
response was never read at.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.fits.as_tried import met_levels
from analysis.fits.gaps import NeverMet
from analysis.fits.least_squares import dependent_groups
from analysis.lab.response_data import ResponseData
from doe.model.coding import ChoiceAxis, Coding, NumericAxis
from doe.model.column import model_columns
from doe.model.matrix import model_matrix
from doe.model.term import Model, Term, term_label
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# Ties that are told one by one before the rest is counted.
_LISTED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Tie:
    """Terms left out together.

    Attributes:
        left: The terms that are left out.
        tied: All terms of which one is a weighted sum of the others; the intercept is not named.
    """

    left: tuple[Term, ...]
    tied: tuple[Term, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tellable:
    """A model that the runs can tell.

    Attributes:
        model: What is left of the model asked for; its name is kept.
        ties: What was left out, and why.
    """

    model: Model
    ties: tuple[Tie, ...] = ()


def tellable(
    model: Model,
    data: ResponseData,
    coding: Coding,
    untold: Iterable[str] = (),
) -> Tellable:
    """Leave out of a model what the runs of a response cannot tell.

    Args:
        model: The model.
        data: The response.
        coding: Its settings.
        untold: Settings that are to be in no term.

    Returns:
        The rest. A model with as many columns as runs or more, or with tied main effects, comes
        back whole but for `untold`: too few runs ask for a smaller model, not for a cut one.
    """
    without = set(untold)
    terms = tuple(term for term in model.terms if not set(term.names) & without)
    ties: list[Tie] = []
    rows = tried_rows(data)
    while True:
        whole = replace(model, terms=terms)
        X = model_matrix(rows, coding, whole)
        groups = dependent_groups(X) if ties or len(X) > X.shape[1] else ()
        of = [column.term for column in model_columns(whole, coding)]
        if not groups or any(of[group[-1]].order < 2 for group in groups):
            return Tellable(model=whole, ties=tuple(ties))
        found = [_tie([of[j] for j in group]) for group in groups]
        left = {term for tie in found for term in tie.left}
        ties += _joined(found)
        terms = tuple(t for t in terms if not any(_is_within(gone, t) for gone in left))


def tried_rows(data: ResponseData) -> FloatArray:
    """Give the settings of a response's runs as made, controls left out, shape (n, k)."""
    every = data.whole or data
    planned = np.array([name is None for name in every.control], dtype=np.bool_)
    rows: FloatArray = np.asarray(every.actual.values, dtype=np.float64)[planned]
    return rows


def unmet(tie: Tie, data: ResponseData, coding: Coding) -> tuple[NeverMet, ...]:
    """Give the combinations of levels that were never run, where a product was left out for it."""
    found = [
        met_levels([coding.index(name) for name in term.names], coding, tried_rows(data))
        for term in tie.left
        if _is_product_of_choices(term, coding)
    ]
    return tuple(one for one in found if one is not None)


def untold_terms(
    ties: Sequence[Tie], data: ResponseData, coding: Coding, model: str
) -> tuple[Finding, ...]:
    """Say which terms of a model were left out because the runs cannot tell them."""
    if not ties:
        return ()
    words = tie_words(ties, data, coding)
    n = len({term for tie in ties for term in tie.left})
    cells = any(unmet(tie, data, coding) for tie in ties)
    extend = f"'millbase extend --for model --model \"{model}\"' places them"
    return (
        Finding(
            level="caution" if cells else "note",
            what=f"{n} term{'s are' if n > 1 else ' is'} not in the model of "
            f"'{data.response.name}', as the runs cannot tell {'them' if n > 1 else 'it'}: "
            f"{words}.",
            evidence={"terms left out": n},
            advice=f"If what is missing matters, make runs that tell it ({extend}).",
        ),
    )


def tie_words(ties: Sequence[Tie], data: ResponseData, coding: Coding) -> str:
    """Say what is tied, in short."""
    said = [_sentence(tie, data, coding) for tie in ties]
    more = len(said) - _LISTED
    return "; ".join(said[:_LISTED]) + (f"; and {more} more such ties" if more > 0 else "")


def _tie(group: Sequence[Term]) -> Tie:
    tied = tuple(dict.fromkeys(term for term in group if term.powers))
    order = max(term.order for term in group)
    return Tie(left=tuple(term for term in tied if term.order == order), tied=tied)


def _joined(ties: Sequence[Tie]) -> list[Tie]:
    """Join ties that share a term left out, so that each term is told of once."""
    joined: list[Tie] = []
    for tie in ties:
        alike = [one for one in joined if set(one.left) & set(tie.left)]
        left = dict.fromkeys([t for one in alike for t in one.left] + list(tie.left))
        tied = dict.fromkeys([t for one in alike for t in one.tied] + list(tie.tied))
        joined = [one for one in joined if one not in alike]
        joined.append(Tie(left=tuple(left), tied=tuple(tied)))
    return joined


def _is_within(gone: Term, term: Term) -> bool:
    """Tell whether a term holds one that was left out; hierarchy lets it go with that."""
    powers = dict(term.powers)
    if gone == term:
        return True
    return bool(gone.powers) and all(powers.get(name, 0) >= p for name, p in gone.powers)


def _sentence(tie: Tie, data: ResponseData, coding: Coding) -> str:
    named = " and ".join(f"'{term_label(term)}'" for term in tie.left)
    cells = unmet(tie, data, coding)
    if cells:
        return f"{named} ({'; '.join(cell.words for cell in cells)})"
    few = [words for term in tie.left if (words := _few_values(term, data, coding))]
    if len(few) == len(tie.left):
        return f"{named} ({'; '.join(few)})"
    others = [f"'{term_label(term)}'" for term in tie.tied if term not in tie.left]
    if len(tie.left) > 1:
        return f"{named} cannot be told from one another"
    return f"{named} cannot be told from {' and '.join(others) or 'the middle of all runs'}"


def _few_values(term: Term, data: ResponseData, coding: Coding) -> str:
    """Say of a power that its factor was run at too few values; empty where that is not why."""
    if len(term.powers) != 1:
        return ""
    ((name, power),) = term.powers
    axis = coding.axes[coding.index(name)]
    if not isinstance(axis, NumericAxis) or power < 2:
        return ""
    own = tried_rows(data)[:, coding.index(name)]
    values = np.unique(np.round(own[np.isfinite(own)] / max(axis.high - axis.low, 1e-300), 9))
    if len(values) > power:
        return ""
    shown = " and ".join(f"{v:.6g}" for v in np.unique(own[np.isfinite(own)])[: len(values)])
    unit = f" {axis.unit}" if axis.unit else ""
    return f"'{name}' was run at {len(values)} values only, {shown}{unit}; a bend takes {power + 1}"


def _is_product_of_choices(term: Term, coding: Coding) -> bool:
    axes = [coding.axes[coding.index(name)] for name in term.names]
    return len(axes) > 1 and all(isinstance(axis, ChoiceAxis) for axis in axes)

"""A reduced model beside its full one, and the models that are nearly as good, as tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from analysis.fits.reduction import ModelFacts, Reduction
from analysis.report.rounding import error_text, plain
from analysis.report.table import Cell, Table
from doe.model.terms import term_label
from doe.study.sentence import listed

# More near models than this are for `fit --json`.
MOST_SHOWN = 12

_FACTS: tuple[tuple[str, Callable[[ModelFacts], float | int | None], int], ...] = (
    ("terms", lambda one: len(one.terms), 0),
    ("AICc", lambda one: one.aicc, 2),
    ("R², predicted with each run left out", lambda one: one.r2_predicted, 3),
    ("R², predicted with each unit left out", lambda one: one.r2_predicted_by_unit, 3),
    ("residual degrees of freedom", lambda one: one.residual_df, 0),
)


def beside_full_table(response: str, reduction: Reduction | None) -> Table:
    """Set the full model beside the one in use; no rows where nothing was left out."""
    rows = []
    if reduction is not None and reduction.dropped:
        both = (reduction.full, reduction.reduced)
        for name, value, digits in _FACTS:
            values = [value(one) for one in both]
            if any(number is not None for number in values):
                rows.append((Cell(text=name), *(_cell(number, digits) for number in values)))
        sds = [one.residual_sd for one in both]
        rows.append(
            (
                Cell(text="residual standard deviation"),
                *(Cell(text=error_text(sd), value=sd) for sd in sds),
            )
        )
    return Table(
        name=f"{response} full and reduced",
        title=f"{response}: the full model and the one in use.",
        head=("", "Full", "In use"),
        rows=tuple(rows),
        note=f"Left out: {listed(list(reduction.dropped))}."
        if reduction is not None and reduction.dropped
        else "",
    )


def near_models_table(response: str, reduction: Reduction | None) -> Table:
    """List the models within reach of the lowest AICc, best first, against the one in use."""
    near = reduction.near if reduction is not None else ()
    used = reduction.reduced.terms if reduction is not None else ()
    rows = []
    for one in near[:MOST_SHOWN]:
        terms = [term_label(term) for term in one.model.terms]
        rows.append(
            (
                Cell(text=difference_words(terms, used)),
                Cell(text=str(len(terms)), value=len(terms)),
                Cell(text=plain_fixed(one.aicc - near[0].aicc, 2), value=one.aicc - near[0].aicc),
                Cell(text=plain_fixed(one.weight, 3), value=one.weight),
            )
        )
    return Table(
        name=f"{response} near models",
        title=f"{response}: models that the readings hardly tell apart.",
        head=("Against the model in use", "Terms", "AICc above the lowest", "Weight"),
        rows=tuple(rows),
        note=_near_note(reduction, len(near)),
    )


def difference_words(terms: Sequence[str], used: Sequence[str]) -> str:
    """Say in what a model differs from the one in use.

    Example:
        >>> difference_words(["dose", "pH"], ["dose", "dose²"])
        'with pH, without dose²'
    """
    more = [term for term in terms if term not in used]
    less = [term for term in used if term not in terms]
    parts = [
        f"{word} {listed(names)}" for word, names in (("with", more), ("without", less)) if names
    ]
    return ", ".join(parts) or "the same"


def plain_fixed(value: float | int | None, digits: int) -> str:
    """Write a number with so many decimals; a dash where it does not exist."""
    return "–" if value is None else f"{value:.{digits}f}"


def _cell(value: float | int | None, digits: int) -> Cell:
    return Cell(text=plain_fixed(value, digits), value=value)


def _near_note(reduction: Reduction | None, n: int) -> str:
    if reduction is None or not n:
        return ""
    how = "all that hierarchy allows" if reduction.complete else "those that a search met"
    more = f" The first {MOST_SHOWN} of {n} are shown." if n > MOST_SHOWN else ""
    return (
        f"Of {plain(reduction.seen)} models looked at ({how}), those at most 7 above the lowest "
        f"AICc; weights are those of Akaike among the {n} listed.{more} Information only: every "
        "prediction is that of the model in use."
    )

"""What a response cannot depend on: settings of a stage after the one it is read at.

A batch is read before samples are drawn from it, a sample before panels are drawn down: what is set
after the reading cannot act on it. Its terms are no part of the response's model, which is another
thing than leaving terms out by choice.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.term import INTERCEPT, Model, Term
from doe.model.term_text import parse_term
from doe.study.brief import STAGES, Stage, Study
from doe.study.names import fold


def set_later(study: Study, per: Stage) -> tuple[str, ...]:
    """Name the settings of a stage after the one that a response is read at, in coding order."""
    place = STAGES.index(per)
    names = {factor.name for factor in study.varied_factors if STAGES.index(factor.set_per) > place}
    if study.package is not None and STAGES.index(study.package.set_per) > place:
        names |= {additive.name for additive in study.package.additives}
    return tuple(name for name in study.setting_names if name in names)


def without_settings(model: Model, names: Collection[str], coding: Coding) -> Model:
    """Take some settings out of a model, with every product they are in.

    Without the package its shares go as a whole: linear blending leaves an intercept, shares × z
    leave z, and blending proper goes.

    Args:
        model: The terms.
        names: Settings to take out; of shares all or none.
        coding: The settings.
    """
    shares = {axis.name for axis in coding.shares}
    if not shares & set(names):
        return replace(
            model, terms=tuple(term for term in model.terms if not set(term.names) & set(names))
        )
    factors = set(names) - shares
    kept = [
        _without_share(term, shares)
        for term in model.terms
        if not set(term.names) & factors and _share_degree(term, shares) < 2
    ]
    return replace(model, terms=tuple(dict.fromkeys(kept)))


def names_any(text: str, names: Collection[str], coding: Coding) -> bool:
    """Tell whether a term as written holds one of some settings."""
    try:
        return bool(set(parse_term(text, coding).names) & set(names))
    except FitError:
        # A whole set, `package × dose`, is no term of its own.
        parts = {fold(part) for part in text.replace("*", "×").split("×")}
        return bool(parts & {fold(name) for name in names})


def _share_degree(term: Term, shares: Collection[str]) -> int:
    return sum(power for name, power in term.powers if name in shares) + int(term.delta)


def _without_share(term: Term, shares: Collection[str]) -> Term:
    powers = tuple(pair for pair in term.powers if pair[0] not in shares)
    return Term(powers=powers) if powers else INTERCEPT

"""Which terms may leave a model, and what takes their place (DESIGN.md, section 5, "Models").

A term holds every smaller one that divides it, because a shift of the coding would bring the
smaller one back. With a package, shares × z is one set: shares add to 1, so the set holds z itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache

from doe.errors import FitError
from doe.model.coding import Coding, NumericAxis
from doe.model.term import INTERCEPT, Model, Term, term_label
from doe.model.term_text import parse_term
from doe.study.finding import Finding
from doe.study.names import fold

SOURCE = "Peixoto (1990), The American Statistician 44, 26-30; Cornell (2002), section 6.3"
# How a whole set is named on the command line: `package × dose`.
PACKAGE = "package"

_Powers = tuple[tuple[str, int], ...]
Group = tuple[Term, ...]


def may_drop(model: Model, coding: Coding) -> tuple[Group, ...]:
    """List what may leave the model next without breaking its hierarchy.

    Args:
        model: The model as it stands.
        coding: The settings.

    Returns:
        Groups of terms that leave together, in model order: a single term; a whole set shares × z;
        a term of a ranged factor with its crossing. `drop_group` says what takes their place.
    """
    groups = dict.fromkeys(_group_of(term, model, coding) for term in model.terms)
    return tuple(group for group in groups if group and _is_free(group, model, coding))


def drop_group(model: Model, group: Group, coding: Coding) -> Model:
    """Take a group of `may_drop` out of a model; a set shares × z becomes z."""
    gone = set(group)
    kept = [term for term in model.terms if term not in gone]
    heirs = [
        Term(powers=z)
        for z in dict.fromkeys(_factor_part(term, coding) for term in group)
        if _is_blending_set(z, group, coding)
    ]
    return in_order(replace(model, terms=(*kept, *heirs)), coding)


def drop_terms(
    model: Model, texts: Sequence[str], coding: Coding
) -> tuple[Model, tuple[Finding, ...]]:
    """Take the terms that a user names out of a model.

    Args:
        model: The model to start from.
        texts: Terms as written; `package × dose` stands for the set of every share × dose, which
            becomes `dose`. Every share × dose named singly leaves nothing, unless another term
            holds the dose.
        coding: The settings.

    Returns:
        The smaller model, and a caution for each term whose loss ties the model to its coding.

    Raises:
        FitError: The term is not in the model, or is never dropped (a share, the intercept).
    """
    gone: list[Term] = []
    heirs: list[Term] = []
    for text in texts:
        whole = _whole_set(text, model, coding)
        if whole:
            gone += whole
            heirs += [Term(powers=z) for z in dict.fromkeys(_factor_part(t, coding) for t in whole)]
        else:
            gone.append(_single(text, model, coding))
    kept = [term for term in model.terms if term not in set(gone)]
    heirs += _held_mains(gone, kept, coding)
    smaller = in_order(replace(model, terms=tuple(dict.fromkeys([*kept, *heirs]))), coding)
    return smaller, tuple(_warnings(dict.fromkeys(gone), smaller, coding))


def in_order(model: Model, coding: Coding) -> Model:
    """Put terms into the one order that a model has: blends, mains, sets, products, squares."""
    place = {term: i for i, term in enumerate(model.terms)}

    def key(term: Term) -> tuple[int, int, int]:
        z, blend = _factor_part(term, coding), _blend_part(term, coding)
        if not z:
            return (0, 0, place[term])
        if len(z) == 1 and z[0][1] == 1 and not blend:
            return (1, coding.index(z[0][0]), 0)
        return (2, 0, place[term])

    return replace(model, terms=tuple(sorted(model.terms, key=key)))


def _single(text: str, model: Model, coding: Coding) -> Term:
    term = parse_term(text, coding)
    if term not in model.terms:
        held = [t for t in model.terms if _factor_part(t, coding) == term.powers and term.powers]
        hint = f"It is held by {', '.join(map(term_label, held))}." if held else ""
        raise FitError(
            f"the {model.name} model has no term '{term_label(term)}' to drop",
            allowed=", ".join(term_label(t) for t in model.terms if not _is_fixed(t, coding)),
            do=hint or "Name a term of the model.",
        )
    if _is_fixed(term, coding):
        why = (
            "without it the response would be forced through 0 in the middle of every range"
            if term == INTERCEPT
            else "linear blending terms are never dropped: a blend without it would respond with 0"
        )
        raise FitError(
            f"the term '{term_label(term)}' stays: {why}",
            allowed=", ".join(term_label(t) for t in model.terms if not _is_fixed(t, coding)),
            do="Leave it in the model.",
        )
    return term


def _whole_set(text: str, model: Model, coding: Coding) -> list[Term]:
    """Read `package × z`; empty if the text is something else."""
    parts = text.replace("*", "×").split("×", 1)
    if len(parts) != 2 or fold(PACKAGE) in {fold(name) for name in coding.names}:
        return []
    head, tail = (parts[1], parts[0]) if fold(parts[1]) == PACKAGE else (parts[0], parts[1])
    if fold(head) != PACKAGE:
        return []
    z = parse_term(tail, coding)
    family = {t for v in _range_variants(z.powers, coding) for t in _set_of(v, coding)}
    members = [t for t in model.terms if t in family]
    if not members:
        raise FitError(
            f"the {model.name} model has no set {PACKAGE} × {term_label(z)} to drop",
            allowed=", ".join(term_label(t) for t in model.terms if not _is_fixed(t, coding)),
            do="Name a term of the model.",
        )
    return members


def _held_mains(gone: Iterable[Term], kept: Sequence[Term], coding: Coding) -> list[Term]:
    """Give z for each set shares × z that left whole while another term still holds z."""
    lost = list(dict.fromkeys(gone))
    parts = dict.fromkeys(_factor_part(term, coding) for term in lost)
    sets = [z for z in parts if _is_blending_set(z, lost, coding)]
    return [
        Term(powers=z)
        for z in sets
        if any(_divides(z, _factor_part(t, coding)) and t.powers != z for t in kept)
    ]


def _warnings(gone: Iterable[Term], smaller: Model, coding: Coding) -> Iterable[Finding]:
    for term in gone:
        holders = [t for t in smaller.terms if _holds(t, term, coding)]
        siblings = [t for t in _group_of(term, smaller, coding, present=True) if t in smaller.terms]
        ties = [t for t in dict.fromkeys([*holders, *siblings]) if t != term]
        if ties:
            yield Finding(
                level="caution",
                what=f"'{term_label(term)}' was dropped as asked, although the model keeps "
                f"{', '.join(repr(term_label(t)) for t in ties[:3])}: its predictions now depend "
                + (
                    "on the use of real proportions"
                    if _blend_part(term, coding)
                    else "on where the ranges have their middle"
                ),
                evidence={"terms left": len(smaller.terms)},
                advice="Keep the term, or drop those that hold it as well.",
                source=SOURCE,
            )


def _is_free(group: Group, model: Model, coding: Coding) -> bool:
    gone = set(group)
    return not any(_is_fixed(term, coding) for term in group) and not any(
        _holds(other, term, coding) for term in group for other in model.terms if other not in gone
    )


def _is_fixed(term: Term, coding: Coding) -> bool:
    """Tell the intercept and the linear blending terms, which never leave."""
    if term == INTERCEPT:
        return True
    alone = len(term.powers) == 1 and term.powers[0][1] == 1
    return alone and len(coding.shares) > 1 and bool(_blend_part(term, coding))


def _holds(larger: Term, smaller: Term, coding: Coding) -> bool:
    """Tell whether a shift of the coding of `larger` would bring back `smaller`."""
    if larger == smaller or smaller.delta:
        return False
    z, held_z = _factor_part(larger, coding), _factor_part(smaller, coding)
    blend, held_blend = _blend_part(larger, coding), _blend_part(smaller, coding)
    if not _divides(held_z, z):
        return False
    if blend and len(held_blend) <= 1:
        # Shares add to 1: x·z·w holds every share × z and z itself, whichever share x is.
        return len(blend) > len(held_blend) or z != held_z
    return (_divides(held_blend, blend) and (blend, z) != (held_blend, held_z)) or (
        larger.delta and blend == held_blend and z == held_z
    )


def _divides(small: _Powers, large: _Powers) -> bool:
    have = dict(large)
    return all(have.get(name, 0) >= power for name, power in small)


def _blend_part(term: Term, coding: Coding) -> _Powers:
    return _parts(term, tuple(axis.name for axis in coding.shares))[0]


def _factor_part(term: Term, coding: Coding) -> _Powers:
    return _parts(term, tuple(axis.name for axis in coding.shares))[1]


@lru_cache(maxsize=4096)
def _parts(term: Term, shares: tuple[str, ...]) -> tuple[_Powers, _Powers]:
    """Split a term into its shares and its factors; searches ask for it again and again."""
    blend = tuple(entry for entry in term.powers if entry[0] in shares)
    return blend, tuple(entry for entry in term.powers if entry[0] not in shares)


def _set_of(z: _Powers, coding: Coding) -> list[Term]:
    return [Term(powers=((axis.name, 1), *z)) for axis in coding.shares]


def _is_blending_set(z: _Powers, terms: Iterable[Term], coding: Coding) -> bool:
    have = set(terms)
    return bool(z) and len(coding.shares) > 1 and all(t in have for t in _set_of(z, coding))


def _group_of(term: Term, model: Model, coding: Coding, *, present: bool = False) -> Group:
    """Give the terms that leave with a term: its set, and its crossing with a ranging choice."""
    z, blend = _factor_part(term, coding), _blend_part(term, coding)
    variants = [v for v in _range_variants(z, coding)]
    if z and len(blend) == 1 and len(coding.shares) > 1 and not term.delta:
        family = [member for v in variants for member in _set_of(v, coding)]
    elif z:
        family = [_joined(blend, v, term.delta) for v in variants]
    else:
        family = [term]
    there = set(family) if present else set(model.terms)
    return tuple(t for t in family if t in there)


def _joined(blend: _Powers, z: _Powers, delta: bool) -> Term:
    return Term(powers=blend + z, delta=delta)


def _range_variants(z: _Powers, coding: Coding) -> list[_Powers]:
    """Give a product of factors without and with the choice that ranges one of them."""
    names = dict(z)
    choices = {
        axis.ranges[0].choice
        for axis in coding.factors
        if isinstance(axis, NumericAxis) and axis.ranges and axis.name in names
    }
    if not choices:
        return [z]
    bare = tuple(entry for entry in z if entry[0] not in choices)
    powers = dict(bare) | dict.fromkeys(choices, 1)
    full = tuple((name, powers[name]) for name in coding.names if name in powers)
    return [bare, full]

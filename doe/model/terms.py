"""Models by name: which terms each holds, for factors, a package, and both (DESIGN.md, section 5).

Source:
    Scheffé (1958, 1963) for blends; Kowalski, Cornell and Vining (2000), Communications in
    Statistics - Theory and Methods 29, for blends with process factors.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

from doe.errors import FitError
from doe.model.coding import ChoiceAxis, Coding, NumericAxis
from doe.model.hierarchy import drop_group, drop_terms, may_drop
from doe.model.term import INTERCEPT, Model, Term, product_label, quoted, term_label
from doe.model.term_text import parse_term, unambiguous_label

__all__ = [
    "INTERCEPT",
    "Model",
    "Term",
    "drop_group",
    "drop_terms",
    "make_model",
    "may_drop",
    "model_names",
    "parse_term",
    "product_label",
    "quoted",
    "term_label",
    "unambiguous_label",
]

MODELS_OF_FACTORS = ("linear", "interactions", "quadratic")
MODELS_OF_PACKAGE = ("linear", "quadratic", "special cubic", "cubic")
MODELS_OF_BOTH = ("linear", "interactions", "quadratic", "special cubic", "cubic", "crossed")

_Powers = tuple[tuple[str, int], ...]


def model_names(coding: Coding) -> tuple[str, ...]:
    """Give the names of the models that these settings allow, smallest first.

    A package of one additive is no blend: its share is 1, and the factors stand alone.
    """
    if not is_blend(coding):
        return MODELS_OF_FACTORS
    return MODELS_OF_BOTH if coding.factors else MODELS_OF_PACKAGE


def is_blend(coding: Coding) -> bool:
    """Tell whether shares vary: a package of two or more additives."""
    return len(coding.shares) > 1


def make_model(name: str, coding: Coding) -> Model:
    """Write out a model by its name.

    `crossed` multiplies the special cubic blend model (the quadratic one for two additives) with 1
    and every product of different factors (Cornell 2002, section 7.3: 7 × 8 terms for three
    additives and three factors). A factor with its own range at each level of a choice has each of
    its terms crossed with that choice, in every model.

    Args:
        name: One of `model_names(coding)`.
        coding: The settings.

    Returns:
        The terms: intercept or shares, then products of shares, main effects, shares × factors,
        products of factors, squares.

    Raises:
        FitError: These settings have no model of that name.
    """
    if name not in model_names(coding):
        subject = "factors alone"
        if is_blend(coding):
            subject = "a package with factors" if coding.factors else "a package alone"
        raise FitError(
            f"there is no {name} model for {subject}",
            allowed=", ".join(model_names(coding)),
            do="Choose one of these models.",
        )
    if not is_blend(coding):
        return _model(name, _factor_terms(name, coding))
    shares: list[_Powers] = [((axis.name, 1),) for axis in coding.shares]
    if not coding.factors or name == "linear":
        mains = _crossed_ranges(_mains(coding), coding) if coding.factors else []
        return _model(name, [*_blend_terms(name, shares), *map(_term, mains)])
    return _model(name, _blend_and_factor_terms(name, shares, coding))


def _model(name: str, terms: Iterable[Term]) -> Model:
    return Model(name=name, terms=tuple(dict.fromkeys(terms)))


def _term(powers: _Powers) -> Term:
    return Term(powers=powers)


def _factor_terms(name: str, coding: Coding) -> list[Term]:
    products = _crossed_ranges(_mains(coding), coding)
    if name in {"interactions", "quadratic"}:
        products += _crossed_ranges(_pairs(coding), coding)
    if name == "quadratic":
        products += _crossed_ranges(_squares(coding), coding)
    return [INTERCEPT, *map(_term, products)]


def _blend_terms(name: str, shares: Sequence[_Powers]) -> list[Term]:
    """Give the Scheffé terms; a full cubic has x·y·(x − y) for each pair."""
    flat = [share[0] for share in shares]
    terms = [_term((share,)) for share in flat]
    if name in {"quadratic", "special cubic", "cubic", "crossed"}:
        terms += [_term(pair) for pair in combinations(flat, 2)]
    if name == "cubic":
        terms += [Term(powers=pair, delta=True) for pair in combinations(flat, 2)]
    if name in {"special cubic", "cubic", "crossed"}:
        terms += [_term(triple) for triple in combinations(flat, 3)]
    return terms


def _blend_and_factor_terms(name: str, shares: Sequence[_Powers], coding: Coding) -> list[Term]:
    terms = _blend_terms(name, shares)
    mains = _crossed_ranges(_mains(coding), coding)
    pairs = [p for p in _crossed_ranges(_pairs(coding), coding) if p not in mains]
    if name == "crossed":
        products = _crossed_ranges(_products(coding), coding)
        return [*terms, *(_times(blend, product) for product in products for blend in terms)]
    terms += [_term(share + main) for main in mains for share in shares]
    terms += map(_term, pairs)
    if name != "interactions":
        terms += map(_term, _crossed_ranges(_squares(coding), coding))
    return terms


def _times(blend: Term, factor: _Powers) -> Term:
    return Term(powers=blend.powers + factor)


def _mains(coding: Coding) -> list[_Powers]:
    return [((axis.name, 1),) for axis in coding.factors]


def _pairs(coding: Coding) -> list[_Powers]:
    return [((a.name, 1), (b.name, 1)) for a, b in combinations(coding.factors, 2)]


def _products(coding: Coding) -> list[_Powers]:
    """Give every product of one or more different factors, shortest first."""
    names = [axis.name for axis in coding.factors]
    sizes = range(1, len(names) + 1)
    return [tuple((n, 1) for n in group) for size in sizes for group in combinations(names, size)]


def _squares(coding: Coding) -> list[_Powers]:
    return [((axis.name, 2),) for axis in coding.factors if has_square(axis)]


def has_square(axis: NumericAxis | ChoiceAxis) -> bool:
    """Tell whether a factor's square can be told from a constant: not on two levels."""
    return isinstance(axis, NumericAxis) and len(axis.levels) not in {1, 2}


def _crossed_ranges(products: Sequence[_Powers], coding: Coding) -> list[_Powers]:
    """Add, behind the products, each one of a ranged factor times the choice that ranges it."""
    crossed = [product_with_choices(product, coding) for product in products]
    own = list(products)
    return list(dict.fromkeys(own + [c for c, p in zip(crossed, own, strict=True) if c != p]))


def product_with_choices(product: _Powers, coding: Coding) -> _Powers:
    """Multiply a product with the choices on which the ranges of its factors hang."""
    powers = dict(product)
    for axis in coding.factors:
        if isinstance(axis, NumericAxis) and axis.ranges and axis.name in powers:
            powers.setdefault(axis.ranges[0].choice, 1)
    return tuple((name, powers[name]) for name in coding.names if name in powers)

"""What an effect of a term is: the change of the response between the ends of a range.

A numeric setting: between its ends. A square: end against centre. A choice: the largest pair of
levels. A share: along Cox's direction, the others in fixed proportion. A product of two shares:
what the middle of the edge between them gains over the straight line.

Source:
    DESIGN.md, section 5, "Power"; Cox (1971), Biometrika 58, 155-159.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from doe.model.coding import ChoiceAxis, Coding
from doe.model.column import Column, contrast_levels
from doe.model.region import Region
from doe.model.terms import Term
from doe.model.vertices import overall_centroid
from doe.study.settings import FloatArray

# Greatest value of x(1 − x)(2x − 1) on the edge between two shares.
_DELTA_PEAK = 1.0 / (6.0 * np.sqrt(3.0))


def effect_patterns(
    term: Term, columns: Sequence[Column], region: Region
) -> tuple[FloatArray, ...]:
    """Give the coefficients that stand for an effect of one unit, one array a way it may come.

    Args:
        term: A term of the model, not the intercept nor a linear blending term.
        columns: The columns of the model.
        region: The settings allowed: it gives the ranges of the shares.

    Returns:
        Coefficients of the term's own columns, shape (own,); several for a choice of three or
        more levels, one for each pair that may differ most.
    """
    own = [column for column in columns if column.term == term]
    size = 1.0 / term_span(term, region)
    choices = [
        axis
        for axis in region.coding.axes
        if isinstance(axis, ChoiceAxis) and any(name == axis.name for name, _ in term.powers)
    ]
    if not choices:
        return (np.full(len(own), size),)
    patterns = []
    there = [contrast_levels(axis, term, region.coding) for axis in choices]
    pairs = [list(itertools.combinations(levels, 2)) for levels in there]
    for chosen in itertools.product(*pairs):
        pattern = [
            size * _level_product(column, [axis.name for axis in choices], chosen) for column in own
        ]
        patterns.append(np.array(pattern))
    return tuple(patterns)


def _level_product(
    column: Column, choices: Sequence[str], chosen: Sequence[tuple[str, str]]
) -> float:
    """Give the effect of a column's levels where one level is up and another down."""
    levels = dict(column.levels)
    product = 1.0
    for name, (up, down) in zip(choices, chosen, strict=True):
        product *= 1.0 if levels[name] == up else -1.0 if levels[name] == down else 0.0
    return product


def term_span(term: Term, region: Region) -> float:
    """Give the change of a term's product between its ends, for a coefficient of one.

    Example: 2 for a main effect, an interaction or a choice, 1 for a square, r²/4 for a product of
    two shares with range r.
    """
    coding = region.coding
    shares = [axis.name for axis in coding.shares]
    in_term = [(name, power) for name, power in term.powers if name in shares]
    others = [(name, power) for name, power in term.powers if name not in shares]
    span = 1.0
    if others:
        span = 1.0 if all(power % 2 == 0 for _, power in others) else 2.0
    if not in_term:
        return span
    reach = min(_range_of(name, region) for name, _ in in_term)
    if term.delta:
        return float(span * _DELTA_PEAK * reach**3)
    degree = len(in_term)
    return float(span * (reach / degree) ** degree)


def _range_of(name: str, region: Region) -> float:
    low, high = region.implied[region.coding.index(name)]
    return float(high - low)


def cox_ends(name: str, region: Region) -> tuple[FloatArray, FloatArray]:
    """Give both ends of Cox's direction through the middle of the package, shape (q,) each.

    The share goes as low and as high as all share limits allow while the others keep their
    proportions.
    """
    q = len(region.coding.shares)
    middle = np.asarray(overall_centroid(region), dtype=np.float64).mean(axis=0)[:q]
    i = region.coding.index(name)
    rest = 1.0 - middle[i]
    direction = -middle / rest if rest > 0 else np.zeros(q)
    direction[i] = 1.0
    low = np.array([region.implied[j][0] for j in range(q)])
    high = np.array([region.implied[j][1] for j in range(q)])
    with np.errstate(divide="ignore", invalid="ignore"):
        to_low, to_high = (low - middle) / direction, (high - middle) / direction
    forth = np.fmax(to_low, to_high)[direction != 0]
    back = np.fmin(to_low, to_high)[direction != 0]
    return middle + back.max() * direction, middle + forth.min() * direction


def cox_contrast(term: Term, columns: Sequence[Column], region: Region) -> FloatArray:
    """Give the contrast of all columns that moves along Cox's direction of one share.

    Args:
        term: A linear blending term, or share × factors.
        columns: The columns of the model.
        region: The settings allowed.

    Returns:
        Shape (p,): change of each column between the ends; zero for columns of other factors.
    """
    coding = region.coding
    share = next(name for name, _ in term.powers if name in {a.name for a in coding.shares})
    low, high = cox_ends(share, region)
    partners = _without_shares(term, coding)
    span = 2.0 if partners else 1.0
    levels = next((column.levels for column in columns if column.term == term), ())
    contrast = [
        span * (_blend(column.term, coding, high) - _blend(column.term, coding, low))
        if _without_shares(column.term, coding) == partners and column.levels == levels
        else 0.0
        for column in columns
    ]
    return np.array(contrast)


def _without_shares(term: Term, coding: Coding) -> tuple[tuple[str, int], ...]:
    shares = {axis.name for axis in coding.shares}
    return tuple((name, power) for name, power in term.powers if name not in shares)


def _blend(term: Term, coding: Coding, shares: FloatArray) -> float:
    """Evaluate the share part of a term at a blend."""
    every = {axis.name for axis in coding.shares}
    named = [coding.index(name) for name, _ in term.powers if name in every]
    product = float(np.prod(shares[named]))
    return product * float(shares[named[0]] - shares[named[1]]) if term.delta else product

"""Moments of a model over the region: the average of f(x) f(x)', exact wherever that can be had.

A convex piece is the product of its blocks. A setting that nothing ties is integrated by a Gauss
rule in its coding, a tied block (shares, limits) simplex by simplex; both are exact for polynomials
of the model's degree. Where pieces overlap (forbids), a log-spaced setting is tied to others, or
the rule would have too many points, a seeded uniform sample stands for the region.

Source:
    Grundmann and Möller (1978), SIAM Journal on Numerical Analysis 15, 282-290 (simplex rule).
"""

from __future__ import annotations

from itertools import combinations_with_replacement
from math import factorial

import numpy as np

from doe.model.coding import Coding, NumericAxis, code
from doe.model.expansion import Expansion
from doe.model.polytope import triangulate
from doe.model.region import Block, Piece, Region
from doe.model.sampling import sample_region
from doe.study.settings import FloatArray

# More points than this of an exact rule take longer than the search itself.
MOST_POINTS = 200_000
# Points of the sample that stands in: a second sample moves the average by about half a per cent,
# and the plan that is best for it by far less.
SAMPLE = 40_000
_AT_ONCE = 20_000

_Rule = tuple[tuple[int, ...], FloatArray, FloatArray]


def region_moments(region: Region, expansion: Expansion, seed: int = 0) -> FloatArray:
    """Average f(x) f(x)' over the region, every combination of levels with equal weight.

    Args:
        region: All settings the brief allows.
        expansion: The model.
        seed: Of the sample that stands in where no exact rule can be had.

    Returns:
        Shape (p, p), positive semidefinite.
    """
    p = len(expansion.columns)
    total = np.zeros((p, p))
    groups = region.combinations
    room = MOST_POINTS // len(groups)
    for pieces in groups:
        widest = max(piece.dimension for piece in pieces)
        wide = [piece for piece in pieces if piece.dimension == widest]
        rules = _rules(wide[0], region.coding, expansion, room) if len(wide) == 1 else None
        if rules is None:
            points = sample_region(region, SAMPLE, np.random.default_rng([seed, 1]))
            X = expansion.matrix(code(points, region.coding))
            return np.asarray(X.T @ X / len(X))
        total += _integrated(wide[0], rules, expansion)
    return total / len(groups)


def block_degree(expansion: Expansion, columns: tuple[int, ...]) -> int:
    """Give the highest total power of some settings in any column of a model."""
    names = {expansion.coding.names[j] for j in columns}
    return max(
        sum(power for name, power in column.term.powers if name in names)
        + (1 if column.term.delta and names & set(column.term.names) else 0)
        for column in expansion.columns
    )


def simplex_rule(vertices: FloatArray, degree: int) -> tuple[FloatArray, FloatArray]:
    """Give points and weights that integrate a polynomial exactly over one simplex.

    Args:
        vertices: Shape (d + 1, c).
        degree: Degree up to which the rule is exact.

    Returns:
        Points (g, c) and weights (g,) that sum to 1; some weights are negative.

    Source:
        Grundmann and Möller (1978), equation (4.1).

    Example:
        >>> x, w = simplex_rule(np.eye(3), 4)
        >>> round(float(w @ (x[:, 0] * x[:, 1])), 12) == round(1 / 12, 12)
        True
    """
    d, s = len(vertices) - 1, max(degree // 2, 0)
    points, weights = [], []
    for i in range(s + 1):
        below = d + 2 * s + 1 - 2 * i
        weight = (
            (-1.0) ** i * factorial(d) * float(below) ** (2 * s + 1)
            / (4.0**s * factorial(i) * factorial(d + 2 * s + 1 - i))
        )  # fmt: skip
        for chosen in combinations_with_replacement(range(d + 1), s - i):
            powers = np.bincount(np.array(chosen, dtype=np.int64), minlength=d + 1)
            points.append((2 * powers + 1) / below)
            weights.append(weight)
    return np.array(points) @ vertices, np.array(weights)


def _rules(piece: Piece, coding: Coding, expansion: Expansion, room: int) -> list[_Rule] | None:
    """Give a rule for each block of a piece; None where there is none, or too many points."""
    rules: list[_Rule] = []
    count = 1
    for block in piece.blocks:
        rule = _block_rule(block, coding, 2 * block_degree(expansion, block.columns))
        if rule is None:
            return None
        rules.append(rule)
        count *= len(rule[2])
    return rules if count <= room else None


def _block_rule(block: Block, coding: Coding, degree: int) -> _Rule | None:
    vertices = block.polytope.vertices
    axes = [coding.axes[j] for j in block.columns]
    logs = [isinstance(axis, NumericAxis) and axis.spacing == "log" for axis in axes]
    if block.polytope.dimension == 0:
        return block.columns, vertices[:1], np.ones(1)
    if len(axes) == 1:
        nodes, weights = np.polynomial.legendre.leggauss(degree // 2 + 1)
        t = (nodes[:, None] + 1) / 2
        low, high = float(vertices.min()), float(vertices.max())
        points = low * (high / low) ** t if logs[0] else low + (high - low) * t
        return block.columns, points, weights / 2
    simplices = triangulate(block.polytope)
    if any(logs) or simplices is None:
        return None
    unit_points, unit_weights = simplex_rule(np.eye(block.polytope.dimension + 1), degree)
    if len(simplices) * len(unit_weights) > MOST_POINTS:
        return None
    corners = vertices[simplices]
    sides = corners[:, 1:] - corners[:, :1]
    volumes = np.sqrt(np.maximum(np.linalg.det(sides @ sides.transpose(0, 2, 1)), 0.0))
    points = np.einsum("gv,svc->sgc", unit_points, corners).reshape(-1, len(axes))
    weights = np.outer(volumes / volumes.sum(), unit_weights).ravel()
    return block.columns, points, weights


def _integrated(piece: Piece, rules: list[_Rule], expansion: Expansion) -> FloatArray:
    """Put the rules of the blocks together and add up, a part of the points at a time."""
    coding = expansion.coding
    k, p = len(coding.axes), len(expansion.columns)
    sizes = [len(weights) for *_, weights in rules]
    count = int(np.prod(sizes)) if sizes else 1
    total = np.zeros((p, p))
    for start in range(0, count, _AT_ONCE):
        at = np.arange(start, min(start + _AT_ONCE, count))
        places = np.unravel_index(at, sizes) if sizes else ()
        rows = np.full((len(at), k), np.nan)
        for j, value in piece.fixed.items():
            rows[:, j] = value
        weight = np.ones(len(at))
        for (columns, points, weights), place in zip(rules, places, strict=True):
            rows[:, list(columns)] = points[place]
            weight = weight * weights[place]
        X = expansion.matrix(code(rows, coding))
        total += (X * weight[:, None]).T @ X
    return total

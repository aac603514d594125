"""Definitive screening: three levels a factor, main effects clear of every second-order effect.

Source:
    Jones and Nachtsheim (2011), Journal of Quality Technology 43, 1-15; conference matrices:
    Xiao, Lin and Bai (2012), 44, 2-8; two-level factors: Jones and Nachtsheim (2013), 45, 121-129.
"""

from __future__ import annotations

import numpy as np

from doe.errors import PlanError
from doe.layouts.completing import Points, complete, of_kind
from doe.layouts.parts import (
    assembled,
    factor_kinds,
    require_every_factor,
    require_factors_alone,
)
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.study.finding import Finding
from doe.study.settings import FloatArray

NAME = "definitive screening"

# Orders from the squares modulo a prime (Paley 1933): the prime plus one.
_PRIMES = {4: 3, 6: 5, 8: 7, 12: 11, 14: 13, 18: 17, 20: 19, 24: 23}
_ORDERS = (4, 6, 8, 10, 12, 14, 16, 18, 20, 24)
# First rows of the two circulants of a conference matrix of order 10.
_CIRCULANTS_10 = ((0, 1, -1, -1, 1), (1, 1, 1, 1, -1))
_LEAST_RANGES = 3


def conference_matrix(order: int) -> FloatArray:
    """Make a square matrix with zero diagonal, ±1 elsewhere and C'C = (order − 1) I.

    Args:
        order: 4, 6, 8, 10, 12, 14, 16, 18, 20 or 24; there is none of order 22.

    Source:
        Paley (1933), Journal of Mathematics and Physics 12, 311-320; order 10 from two
        circulants; order 16 by doubling the skew one of order 8.
    """
    if order == 10:
        first, second = (
            np.array([np.roll(row, i) for i in range(5)], dtype=np.float64)
            for row in _CIRCULANTS_10
        )
        return np.block([[first, second], [second.T, -first.T]])
    if order == 16:
        skew = conference_matrix(8)
        unit = np.eye(8)
        return np.block([[skew, skew + unit], [skew - unit, -skew]])
    prime = _PRIMES[order]
    squares = {i * i % prime for i in range(1, prime)}
    character = np.array([0.0] + [1.0 if i in squares else -1.0 for i in range(1, prime)])
    inner = np.array([[character[(i - j) % prime] for j in range(prime)] for i in range(prime)])
    matrix = np.zeros((order, order))
    matrix[0, 1:] = 1.0
    # Symmetric where −1 is a square (prime = 1 modulo 4), else skew.
    matrix[1:, 0] = 1.0 if prime % 4 == 1 else -1.0
    matrix[1:, 1:] = inner
    return matrix


def definitive_screening_runs(n_ranges: int, n_two_level: int = 0) -> FloatArray:
    """Make a definitive screening table: pairs of mirror images and the centre.

    Args:
        n_ranges: Factors with three levels.
        n_two_level: Factors with two; their zeros become −1 and +1 in the two runs of a pair, and
            the centre is run twice, once at each.

    Returns:
        Coded, shape (2c + 1, n_ranges + n_two_level), or (2c + 2, …) with two-level factors; c is
        the number of factors, made even (or larger, where there is no conference matrix).

    Raises:
        PlanError: More than 24 factors.
    """
    n_factors = n_ranges + n_two_level
    order = next((size for size in _ORDERS if size >= n_factors), None)
    if order is None:
        raise PlanError(
            f"{n_factors} factors",
            where=f"layout '{NAME}'",
            allowed=f"up to {_ORDERS[-1]}",
            do="Hold some of them, or take 'Plackett-Burman' for up to 31.",
        )
    half = conference_matrix(order)[:, :n_factors]
    if not n_two_level:
        return np.vstack([half, -half, np.zeros((1, n_factors))])
    half = np.vstack([half, np.zeros((1, n_factors))])
    half = _two_level_filled(half, range(n_ranges, n_factors))
    return np.vstack([half, -half])


def _two_level_filled(half: FloatArray, columns: range) -> FloatArray:
    """Replace the zeros of some columns by the signs that give the most information.

    One sign at a time is turned as long as the determinant for the main effects grows; mirror
    images keep main effects clear of second-order effects whatever the signs.
    """
    filled = half.copy()
    zeros = [(i, j) for j in columns for i in range(len(half)) if half[i, j] == 0]
    for i, j in zeros:
        filled[i, j] = 1.0
    best = float(np.linalg.slogdet(filled.T @ filled)[1])
    improved = True
    while improved:
        improved = False
        for i, j in zeros:
            filled[i, j] *= -1
            value = float(np.linalg.slogdet(filled.T @ filled)[1])
            if value > best + 1e-9:
                best, improved = value, True
            else:
                filled[i, j] *= -1
    return filled


def make(request: Request) -> LayoutRuns:
    """Make the definitive screening table for the factors.

    Raises:
        PlanError: Fewer than three ranges, or a choice of three or more levels.
    """
    require_factors_alone(request, NAME)
    kinds = factor_kinds(request.coding)
    _check(request)
    n_ranges, n_two_level = len(kinds.ranges), len(kinds.two_level)
    table = definitive_screening_runs(n_ranges, n_two_level)
    n_centre = 2 if n_two_level else 1
    columns = kinds.ranges + kinds.two_level
    require_every_factor(request, NAME, columns)
    coded = assembled(request.coding, table, columns, ())
    at_centre = ~np.any(table[:, :n_ranges] != 0, axis=1)
    order = (len(table) - n_centre) // 2
    n_design = len(table) - n_centre
    return complete(
        request,
        Points(
            layout=NAME,
            coded=coded[~at_centre],
            kind=of_kind("design", n_design),
            centre=coded[at_centre],
            default_centre=n_centre,
            least_centre=n_centre,
            details={"columns of the conference matrix": order},
            reasons=_reasons(n_ranges + n_two_level, order, len(table)),
            findings=_findings(n_two_level, len(table)),
        ),
    )


def _check(request: Request) -> None:
    kinds = factor_kinds(request.coding)
    if kinds.choices:
        name = request.coding.names[kinds.choices[0]]
        raise PlanError(
            f"'{name}' has {len(request.coding.labels[name])} levels to choose from",
            where=f"layout '{NAME}'",
            allowed="ranges, and choices of two levels",
        )
    n = len(kinds.ranges)
    if n < _LEAST_RANGES:
        raise PlanError(
            f"{n} factor{' has' if n == 1 else 's have'} three levels or more",
            where=f"layout '{NAME}'",
            allowed=f"at least {_LEAST_RANGES}",
        )


def _reasons(n_factors: int, order: int, n_runs: int) -> tuple[str, ...]:
    said = (
        f"A definitive screening table of {n_runs} runs: main effects of {n_factors} factors, clear"
        " of one another's interactions and squares, and a first look at each curvature."
    )
    if order == n_factors:
        return (said,)
    return (
        said,
        f"The table has {order} columns, {order - n_factors} more than there are factors: they "
        "keep the main effects uncorrelated and give degrees of freedom for the error.",
    )


def _findings(n_two_level: int, n_runs: int) -> tuple[Finding, ...]:
    found = [
        Finding(
            level="note",
            what="Squares and interactions are partly mixed up with one another; a handful of them "
            "can be told apart, not all at once.",
            evidence={"runs": n_runs},
            advice="Follow up with the few factors that matter.",
            source="Jones and Nachtsheim (2011), Journal of Quality Technology 43, 1-15",
        )
    ]
    if n_two_level:
        found.append(
            Finding(
                level="note",
                what="Factors of two levels replace the middle setting by their ends; main effects "
                "are then slightly correlated.",
                evidence={"two-level factors": n_two_level},
                source="Jones and Nachtsheim (2013), Journal of Quality Technology 45, 121-129",
            )
        )
    return tuple(found)


LAYOUT = Layout(
    name=NAME,
    title="Definitive screening",
    for_="Several ranges to screen, with curvature expected in a few of them.",
    make=make,
)

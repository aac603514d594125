"""Simplex centroid: pure corners and all equal blends of two, three and more.

Source:
    Scheffé (1963), JRSS B 25, 235-263.
"""

from __future__ import annotations

import itertools

import numpy as np

from doe.layouts.completing import Points, complete, of_kind
from doe.layouts.parts import require_package_alone
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.simplex import centroid, check_blends, real_shares
from doe.study.settings import FloatArray

NAME = "simplex centroid"

_CENTRE = 2
# Up to four parts the whole layout has 15 points; beyond it only the blends that the model needs.
_WHOLE = 4
_ORDER = {"linear": 1, "quadratic": 2, "special cubic": 3, "cubic": 3}


def simplex_centroid_points(q: int, largest: int | None = None) -> FloatArray:
    """List the equal blends of every set of parts.

    Args:
        q: Number of parts.
        largest: Largest set below the whole; None for all sets.

    Returns:
        Shape (2^q − 1, q), or fewer rows with `largest`; the blend of all parts is the last.

    Example:
        >>> len(simplex_centroid_points(4))
        15
    """
    sizes = [size for size in range(1, q) if largest is None or size <= largest]
    rows = [
        [1.0 / size if j in chosen else 0.0 for j in range(q)]
        for size in (*sizes, q)
        for chosen in itertools.combinations(range(q), size)
    ]
    return np.array(rows)


def make(request: Request) -> LayoutRuns:
    """Make the simplex centroid layout with interior check blends.

    Raises:
        PlanError: The study has no package, or factors that vary.
    """
    require_package_alone(request, NAME)
    q = len(request.coding.shares)
    order = max(_ORDER.get(model, 2) for model in request.wanted_models)
    largest = request.degree or (None if q <= _WHOLE else max(order, 2))
    points = simplex_centroid_points(q, largest)
    interior = check_blends(q) if q > 2 else np.zeros((0, q))
    return complete(
        request,
        Points(
            layout=NAME,
            coded=real_shares(points, request.coding),
            kind=of_kind("design", len(points)),
            centre=real_shares(centroid(q), request.coding),
            default_centre=_CENTRE,
            checks=real_shares(interior, request.coding),
            details={"q": q, "largest set": largest or q},
            reasons=(
                f"A simplex centroid layout of {q} additives: each alone, and equal blends of two, "
                "three and more within the limits.",
                "Interior check blends show whether the model holds away from the edges.",
            ),
        ),
    )


LAYOUT = Layout(
    name=NAME,
    title="Simplex centroid",
    for_="A package whose limits leave a whole simplex, and blends of three may matter.",
    make=make,
)

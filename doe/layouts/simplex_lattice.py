"""Simplex lattice {q, m}: shares in steps of 1/m.

Source:
    Scheffé (1958), JRSS B 20, 344-360.
"""

from __future__ import annotations

import itertools

import numpy as np

from doe.layouts.completing import Points, complete, of_kind
from doe.layouts.parts import require_package_alone
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.simplex import centroid, check_blends, real_shares, without_points
from doe.study.settings import FloatArray

NAME = "simplex lattice"

# The least m whose lattice holds each model: an m-th degree polynomial needs m + 1 points a side.
_DEGREE = {"linear": 1, "quadratic": 2, "special cubic": 3, "cubic": 3}
_CENTRE = 3


def simplex_lattice_points(q: int, m: int) -> FloatArray:
    """List all blends of q parts whose proportions are multiples of 1/m.

    Returns:
        Shape ((q+m−1)! / (m! (q−1)!), q), the first part falling.

    Example:
        >>> len(simplex_lattice_points(3, 2))
        6
    """
    rows = [
        [row.count(j) for j in range(q)]
        for row in itertools.combinations_with_replacement(range(q), m)
    ]
    return np.array(rows, dtype=np.float64) / m


def make(request: Request) -> LayoutRuns:
    """Make the lattice of the model's degree, with the centroid and interior check blends.

    Raises:
        PlanError: The study has no package, or factors that vary.
    """
    require_package_alone(request, NAME)
    q = len(request.coding.shares)
    m = request.degree or max(_DEGREE.get(model, 2) for model in request.wanted_models)
    points = simplex_lattice_points(q, m)
    centre = without_points(centroid(q), points)
    interior = without_points(check_blends(q), points) if q > 1 else np.zeros((0, q))
    if not len(centre):
        centre = centroid(q)
    return complete(
        request,
        Points(
            layout=NAME,
            coded=real_shares(points, request.coding),
            kind=of_kind("design", len(points)),
            centre=real_shares(centre, request.coding),
            default_centre=_CENTRE,
            checks=real_shares(interior, request.coding),
            details={"q": q, "m": m},
            reasons=(
                f"A simplex lattice {{{q},{m}}}: blends in steps of 1/{m} of the room between the "
                "limits, all the way to the corners.",
                "Interior check blends show whether the model holds between the lattice points.",
            ),
        ),
    )


LAYOUT = Layout(
    name=NAME,
    title="Simplex lattice",
    for_="A package whose limits leave a whole simplex, and a model of known degree.",
    make=make,
)

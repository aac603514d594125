"""Box-Behnken: quadratic surfaces without runs at the corners.

Source:
    Box and Behnken (1960), Technometrics 2, 455-475, Table 4. Tables of 3 to 5 factors from
    pyDOE3; those of 6 and 7 from the published incomplete blocks, as pyDOE3's have more runs.
"""

from __future__ import annotations

import itertools

import numpy as np

from doe.errors import PlanError
from doe.layouts.classic_tables import box_behnken_table
from doe.layouts.completing import Points, complete, of_kind
from doe.layouts.parts import assembled, factor_kinds, require_factors_alone
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.two_level import centre_rows, sensible_centre
from doe.study.settings import FloatArray

NAME = "Box-Behnken"

# Factors that move together, all signs of the three, the rest at the middle.
_TRIPLES: dict[int, tuple[tuple[int, int, int], ...]] = {
    6: ((0, 1, 3), (1, 2, 4), (2, 3, 5), (0, 3, 4), (1, 4, 5), (0, 2, 5)),
    7: ((3, 4, 5), (0, 5, 6), (1, 4, 6), (0, 1, 3), (2, 3, 6), (0, 2, 4), (1, 2, 5)),
}
# Centre runs of the published tables.
CENTRE = {3: 3, 4: 3, 5: 6, 6: 6, 7: 6}


def box_behnken_runs(n_factors: int) -> FloatArray:
    """Make the published table without its centre runs.

    Args:
        n_factors: 3 to 7.

    Returns:
        Coded settings −1, 0, +1: 12, 24, 40, 48 or 56 rows.
    """
    if n_factors not in _TRIPLES:
        return box_behnken_table(n_factors)
    signs = np.array(list(itertools.product((-1.0, 1.0), repeat=3)))
    blocks = []
    for triple in _TRIPLES[n_factors]:
        block = np.zeros((len(signs), n_factors))
        block[:, triple] = signs
        blocks.append(block)
    return np.vstack(blocks)


def make(request: Request) -> LayoutRuns:
    """Make the Box-Behnken table of the ranges, at every level of the choices.

    Raises:
        PlanError: Fewer than three ranges or more than seven.
    """
    require_factors_alone(request, NAME)
    kinds = factor_kinds(request.coding)
    n_ranges = len(kinds.ranges)
    if n_ranges not in CENTRE:
        raise PlanError(
            f"{n_ranges} factor{' has' if n_ranges == 1 else 's have'} three levels or more",
            where=f"layout '{NAME}'",
            allowed="3 to 7",
        )
    crossed = kinds.two_level + kinds.choices
    coded = assembled(request.coding, box_behnken_runs(n_ranges), kinds.ranges, crossed)
    repeated = "" if not crossed else ", repeated at every level of the choices"
    centre = centre_rows(request.coding)
    return complete(
        request,
        Points(
            layout=NAME,
            coded=coded,
            kind=of_kind("design", len(coded)),
            centre=centre,
            # Without the centre all runs lie on one sphere, and squares can't be told apart.
            least_centre=1,
            default_centre=sensible_centre(centre, CENTRE[n_ranges]),
            reasons=(
                f"A Box-Behnken layout of {n_ranges} ranges{repeated}: a quadratic surface from "
                "three levels, with no run where all settings are at their ends together.",
            ),
        ),
    )


LAYOUT = Layout(
    name=NAME,
    title="Box-Behnken",
    for_="A quadratic surface over ranges whose corners are risky or impossible.",
    make=make,
)

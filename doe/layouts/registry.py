"""The registry of layouts: what `--layout NAME` may name."""

from __future__ import annotations

from collections.abc import Mapping

from doe.errors import PlanError
from doe.layouts import (
    box_behnken,
    central_composite,
    crossed,
    definitive_screening,
    extreme_vertices,
    fractional_factorial,
    full_factorial,
    plackett_burman,
    simplex_centroid,
    simplex_lattice,
)
from doe.layouts.optimal import layout as optimal
from doe.layouts.request import Layout
from doe.study.names import fold

OPTIMAL = "optimal"


def _found() -> dict[str, Layout]:
    every = [
        full_factorial.LAYOUT,
        fractional_factorial.LAYOUT,
        plackett_burman.LAYOUT,
        definitive_screening.LAYOUT,
        central_composite.LAYOUT,
        box_behnken.LAYOUT,
        simplex_lattice.LAYOUT,
        simplex_centroid.LAYOUT,
        extreme_vertices.LAYOUT,
        crossed.LAYOUT,
        optimal.LAYOUT,
    ]
    return {layout.name: layout for layout in every}


LAYOUTS: Mapping[str, Layout] = _found()


def find_layout(name: str) -> Layout:
    """Find a layout by its name, case-blind, with spaces or hyphens.

    Raises:
        PlanError: No layout has that name.

    Example:
        >>> find_layout("box behnken").name
        'Box-Behnken'
    """
    wanted = _key(name)
    for layout in LAYOUTS.values():
        if _key(layout.name) == wanted:
            return layout
    raise PlanError(
        f"there is no layout '{name}'",
        where="--layout",
        allowed=", ".join(LAYOUTS),
    )


def _key(name: str) -> str:
    return fold(name.replace("-", " ").replace("_", " "))

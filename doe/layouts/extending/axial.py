"""Axial runs: a two-level layout is completed to a central composite one.

Source:
    Box and Wilson (1951), JRSS B 13, 1-45; Box and Hunter (1957), Annals of Mathematical
    Statistics 28, 195-241.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from doe.errors import PlanError
from doe.layouts.axial_room import opened_region
from doe.layouts.central_composite import rotatable_distance
from doe.layouts.completing import of_kind
from doe.layouts.extending.fixed_table import Table, table_round
from doe.layouts.extending.request import Extension, Purpose, way_for_a_model
from doe.layouts.extending.two_level_core import Core, core_of
from doe.layouts.parts import assembled, factor_kinds
from doe.layouts.placing import placed
from doe.layouts.request import LayoutRuns
from doe.layouts.two_level import centre_rows
from doe.study.settings import FloatArray

# Centre runs beside the axial ones where nobody says how many.
_CENTRE = 3
_LEAST_RANGES = 2


def make(ask: Extension) -> LayoutRuns:
    """Add axial runs and centre runs to a two-level core.

    Raises:
        PlanError: The runs so far are no two-level layout, there is a package, the axial runs leave
            the region, or the budget is too small.
    """
    core = core_of(ask, "axial")
    if len(core.ranges) < _LEAST_RANGES:
        raise PlanError(
            "a central composite layout needs two ranges or more",
            where="--for axial",
            do=f"Take {way_for_a_model(ask)} instead.",
        )
    crossed = factor_kinds(ask.coding)
    others = crossed.two_level + crossed.choices
    distance = axial_distance(core, core.runs_at_each(others), beyond=ask.axial_beyond)
    table = np.vstack([sign * np.diag(distance) for sign in (-1.0, 1.0)])
    region = opened_region(ask.study) if ask.axial_beyond else ask.region
    axial, moved = placed(assembled(ask.coding, table, core.ranges, others), ask.coding, region)
    centre, _ = placed(centre_rows(ask.coding), ask.coding, region)
    wanted = ask if ask.asked_model else replace(ask, model="quadratic")
    runs = table_round(
        wanted,
        Table(
            values=axial, kind=of_kind("axial", len(axial)), beside=centre, beside_kind="centre",
            default_beside=max(_CENTRE, len(centre)), region=region,
        ),
        (_reason(core, distance, len(axial)),),
        purpose="axial",
        findings=moved,
    )  # fmt: skip
    told = {"axial at": float(distance.max()), "core at": float(core.half.max())}
    return replace(runs, details={**runs.details, **told})


def axial_distance(core: Core, n_core: float, *, beyond: bool) -> FloatArray:
    """Give the coded axial distance of each range, shape (r,).

    Within the ranges the axial runs go as far as the rotatable distance, and no further than the
    ends: face-centred where the core stands at the ends.

    Args:
        core: The core.
        n_core: Core runs at one combination of the other factors.
        beyond: Whether axial runs may leave the ranges.
    """
    wanted: FloatArray = core.half * rotatable_distance(max(round(n_core), 1))
    return wanted if beyond else np.minimum(wanted, 1.0)


def _reason(core: Core, distance: FloatArray, n_axial: int) -> str:
    apart = float((distance / core.half).max())
    kind = "on the ends of the ranges (face-centred)" if apart < 1.0 + _SAME else (
        f"at {apart:.3f} times the distance of the corners from the middle"
    )  # fmt: skip
    return (
        f"{n_axial} axial runs {kind} complete the two-level runs so far to a central composite "
        "layout, from which every square can be told."
    )


_SAME = 1e-6
PURPOSE = Purpose(
    name="axial",
    title="Axial runs",
    for_="A two-level layout shows curvature, and the squares are wanted.",
    make=make,
)

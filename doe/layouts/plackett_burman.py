"""Plackett-Burman: main effects of many factors in few runs.

Source:
    Plackett and Burman (1946), Biometrika 33, 305-325. Tables from pyDOE3, held against the
    published ones by the tests.
"""

from __future__ import annotations

from doe.errors import PlanError
from doe.layouts.classic_tables import plackett_burman_table
from doe.layouts.completing import Points, complete, of_kind
from doe.layouts.parts import (
    assembled,
    factor_kinds,
    require_every_factor,
    require_factors_alone,
)
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.two_level import centre_rows, sensible_centre
from doe.study.finding import Finding
from doe.study.settings import FloatArray

NAME = "Plackett-Burman"

_CENTRE = 3
_MOST_FACTORS = 31
_LEAST_RUNS = 8


def plackett_burman_runs(n_factors: int) -> FloatArray:
    """Make the smallest orthogonal two-level table with room for every factor.

    Args:
        n_factors: 2 to 31.

    Returns:
        Coded settings, shape (n, n_factors); n is a multiple of 4 above n_factors, at least 8.
    """
    # pyDOE3 has no table of 28 runs; the 32-run table holds 24 to 27 factors as well.
    columns = 28 if 24 <= n_factors <= 27 else max(n_factors, _LEAST_RUNS // 2)
    table = plackett_burman_table(columns)
    return table[:, :n_factors]


def make(request: Request) -> LayoutRuns:
    """Make the smallest Plackett-Burman table for the factors.

    Raises:
        PlanError: More than 31 factors, or fewer runs asked for than the table has.
    """
    require_factors_alone(request, NAME)
    kinds = factor_kinds(request.coding)
    columns = tuple(sorted(kinds.ranges + kinds.two_level))
    if not 2 <= len(columns) <= _MOST_FACTORS:
        raise PlanError(
            f"{len(columns)} factors can take two levels",
            where=f"layout '{NAME}'",
            allowed=f"2 to {_MOST_FACTORS}",
            do="Take 'full factorial' for fewer; hold some factors where there are more.",
        )
    require_every_factor(request, NAME, columns)
    table = plackett_burman_runs(len(columns))
    coded = assembled(request.coding, table, columns, kinds.choices)
    centre = centre_rows(request.coding)
    return complete(
        request,
        Points(
            layout=NAME,
            coded=coded,
            kind=of_kind("design", len(coded)),
            centre=centre,
            default_centre=sensible_centre(centre, _CENTRE),
            details={"runs of the table": len(table), "resolution": 3},
            reasons=(
                f"A Plackett-Burman table of {len(table)} runs keeps the main effects of "
                f"{len(columns)} factors apart.",
            ),
            findings=(
                Finding(
                    level="caution",
                    what=_mixed_up(len(table)),
                    evidence={"runs": len(table), "factors": len(columns)},
                    advice="Believe a main effect after a second round, such as a fold-over.",
                    source="Plackett and Burman (1946), Biometrika 33, 305-325",
                ),
            ),
        ),
    )


def _mixed_up(n_runs: int) -> str:
    # A table of 2^m runs is a regular fraction: each interaction equals a main effect or is clear.
    how = "wholly" if n_runs & (n_runs - 1) == 0 else "partly"
    return f"Main effects are {how} mixed up with interactions of two factors."


LAYOUT = Layout(
    name=NAME,
    title="Plackett-Burman",
    for_="Many factors, few runs, and only main effects are sought.",
    make=make,
)

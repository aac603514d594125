"""Full factorial: every level of every factor with every level of the others."""

from __future__ import annotations

import math

import numpy as np

from doe.errors import PlanError
from doe.layouts.classic_tables import full_factorial_table
from doe.layouts.completing import Points, complete, of_kind
from doe.layouts.parts import factor_kinds, level_count, require_factors_alone
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.two_level import block_plan, centre_rows, sensible_centre
from doe.model.coding import ChoiceAxis, NumericAxis
from doe.model.coding import code as coded_values
from doe.study.settings import FloatArray

NAME = "full factorial"

# Centre runs of a layout with ranges at two levels: they show curvature and give pure error.
_CENTRE = 3
# More combinations than this nobody runs; the table alone would fill the memory before long.
MOST_RUNS = 4096


def make(request: Request) -> LayoutRuns:
    """Make every combination of levels.

    Raises:
        PlanError: The study has a package, there are too many combinations, or fewer runs are asked
            for than there are.
    """
    require_factors_alone(request, NAME)
    squares = any(model in ("quadratic", "cubic") for model in request.wanted_models)
    counts = [
        level_count(axis, request.levels.get(axis.name, 3 if squares else 2))
        for axis in request.coding.factors
    ]
    n_runs = math.prod(counts)
    if n_runs > MOST_RUNS:
        raise PlanError(
            f"a full factorial of these levels has {n_runs} combinations",
            where=f"layout '{NAME}'",
            allowed=f"up to {MOST_RUNS}",
            do="Take a fraction of them, or hold some factors (value = …).",
        )
    coded = _grid(request, counts)
    first = len(request.coding.shares)
    at_two = [i for i in factor_kinds(request.coding).ranges if counts[i - first] == 2]
    centre = centre_rows(request.coding)
    n_centre = sensible_centre(centre, _CENTRE) if at_two else 0
    all_two = all(count == 2 for count in counts)
    blocked = block_plan(request, len(counts), len(coded), n_centre) if all_two else None
    shape = " × ".join(str(count) for count in counts)
    return complete(
        request,
        Points(
            layout=NAME,
            coded=coded,
            kind=of_kind("design", len(coded)),
            block=blocked.block if blocked else None,
            centre=centre,
            default_centre=n_centre,
            details={
                "levels": dict(
                    zip((axis.name for axis in request.coding.factors), counts, strict=True)
                )
            }
            | (blocked.details if blocked else {}),
            reasons=(
                f"A full factorial, {shape} levels: every combination is run, so that no effect "
                "is mixed up with another.",
                *(blocked.reasons if blocked else ()),
            ),
        ),
    )


def _grid(request: Request, counts: list[int]) -> FloatArray:
    """Combine the levels, the first factor changing fastest; shape (product of counts, k)."""
    indices = full_factorial_table(counts)
    first = len(request.coding.shares)
    # A package of one additive is no blend: its share is 1.
    columns = [np.ones(len(indices))] * first
    for position, axis in enumerate(request.coding.factors):
        if isinstance(axis, ChoiceAxis):
            levels = np.arange(len(axis.levels), dtype=np.float64)
        elif axis.levels:
            levels = _coded_levels(request, axis, first + position)
        else:
            levels = np.linspace(-1.0, 1.0, counts[position])
        columns.append(levels[indices[:, position]])
    return np.column_stack(columns)


def _coded_levels(request: Request, axis: NumericAxis, i: int) -> FloatArray:
    """Code the levels of a numeric factor, shape (levels,)."""
    rows = np.zeros((len(axis.levels), len(request.coding.axes)))
    for j, other in enumerate(request.coding.axes):
        rows[:, j] = 0.0 if isinstance(other, ChoiceAxis) else getattr(other, "low", 0.0)
    rows[:, i] = axis.levels
    return np.asarray(coded_values(rows, request.coding)[:, i], dtype=np.float64)


LAYOUT = Layout(
    name=NAME,
    title="Full factorial",
    for_="Few factors with few levels, and every interaction may matter.",
    make=make,
)

"""Crossed: every blend of a package layout at every setting of a factor layout.

Source:
    Cornell (2002), Experiments with Mixtures, 3rd ed., section 7.2.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from doe.errors import PlanError
from doe.layouts import (
    central_composite,
    extreme_vertices,
    fractional_factorial,
    full_factorial,
    simplex_centroid,
    simplex_lattice,
)
from doe.layouts.completing import Points, complete, of_kind
from doe.layouts.parts import factor_kinds, factor_part, package_part
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.simplex import centroid, is_simplex, real_shares
from doe.layouts.two_level import centre_rows, sensible_centre
from doe.model.coding import code
from doe.model.vertices import overall_centroid
from doe.study.settings import FloatArray

NAME = "crossed"

_CENTRE = 3
# What each model of package and factors asks of its two halves.
_PACKAGE_MODEL = {
    "linear": "linear",
    "interactions": "linear",
    "quadratic": "quadratic",
    "special cubic": "special cubic",
    "cubic": "cubic",
    "crossed": "quadratic",
}
_FACTOR_MODEL = {"linear": "linear", "interactions": "interactions"}
_LEAST_RANGES = 2
_LEAST_FRACTION = 3
_THREE = 3


def make(request: Request) -> LayoutRuns:
    """Cross a package layout with a factor layout, the smallest that the models allow.

    Raises:
        PlanError: The study lacks a package or varied factors, or too few runs are asked for.
    """
    if not request.coding.shares or not request.coding.factors:
        raise PlanError(
            f"the layout '{NAME}' combines a package with factors, and the brief has only one "
            "of them",
            do="Take a layout for what the brief has.",
        )
    blends = _blends(request)
    settings = _settings(request)
    n_blends, n_settings = len(blends), len(settings)
    values = np.column_stack(
        [np.repeat(blends.values, n_settings, axis=0), np.tile(settings.values, (n_blends, 1))]
    )
    centre = centre_rows(factor_part(request).coding)
    rows = np.column_stack([np.tile(_middle(request), (len(centre), 1)), centre])
    return complete(
        request,
        Points(
            layout=NAME,
            coded=code(values, request.coding),
            kind=of_kind("design", len(values)),
            centre=rows,
            default_centre=sensible_centre(centre, _CENTRE),
            details={"package layout": blends.layout, "blends": n_blends,
                     "factor layout": settings.layout, "settings": n_settings},
            reasons=(
                f"{n_blends} blends ({blends.layout}) at each of {n_settings} settings of the "
                f"factors ({settings.layout}): every effect of a factor is seen in every blend.",
            ),
        ),
    )  # fmt: skip


def _blends(request: Request) -> LayoutRuns:
    """Make the blends, without centre runs and checks."""
    models = tuple(dict.fromkeys(_PACKAGE_MODEL[model] for model in request.wanted_models))
    part = _bare(package_part(request), models)
    if not is_simplex(part.coding) or part.study.limits:
        return extreme_vertices.make(part)
    if "special cubic" in models and len(part.coding.shares) == _THREE:
        return simplex_centroid.make(part)
    return simplex_lattice.make(part)


def _settings(request: Request) -> LayoutRuns:
    """Make the settings of the factors, without centre runs beyond those the model needs."""
    models = tuple(dict.fromkeys(_FACTOR_MODEL.get(m, "quadratic") for m in request.wanted_models))
    part = _bare(factor_part(request), models)
    kinds = factor_kinds(part.coding)
    if "quadratic" in models and kinds.ranges:
        if len(kinds.ranges) < _LEAST_RANGES:
            return full_factorial.make(part)
        return central_composite.make(replace(part, centre=1))
    if "quadratic" in models:
        part = replace(part, models=("interactions",))
    if len(kinds.ranges) + len(kinds.two_level) < _LEAST_FRACTION:
        return full_factorial.make(part)
    # A linear model needs resolution III only: the blends give further runs of each setting.
    resolution = 3 if part.wanted_models == ("linear",) else 5
    return fractional_factorial.make(replace(part, resolution=resolution))


def _bare(part: Request, models: tuple[str, ...]) -> Request:
    return replace(part, models=models, runs=None, batches=None, centre=0, replicates=0, checks=0)


def _middle(request: Request) -> FloatArray:
    """Give the middle of the package, shape (q,)."""
    part = package_part(request)
    if is_simplex(part.coding) and not part.study.limits:
        row: FloatArray = real_shares(centroid(len(part.coding.shares)), part.coding)[0]
        return row
    middle: FloatArray = np.asarray(overall_centroid(part.region)).mean(axis=0)
    return middle


LAYOUT = Layout(
    name=NAME,
    title="Package layout crossed with factor layout",
    for_="A package and few factors together, with runs enough for every combination.",
    make=make,
)

"""A slice through the stationary point: the surface over two factors, and where it may be level."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.surface.lines import inside_region
from analysis.surface.ridge_path import predict_along
from analysis.surface.stationary_region import slope_test
from analysis.surface.survey import SurfaceShape
from doe.model.region import Region
from doe.study.settings import BoolArray, FloatArray

POINTS = 61


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StationarySlice:
    """One response over two factors, the other factors at the stationary point or its nearest.

    Attributes:
        response: Name of the response.
        unit: Its unit.
        x: Name of the factor across.
        y: Name of the factor upwards.
        x_unit: Unit of `x`.
        y_unit: Unit of `y`.
        x_values: Shape (g,), lab units, over its range.
        y_values: Shape (h,), lab units.
        values: Shape (h, g), response unit.
        inside: Shape (h, g), whether the settings lie in the region of the brief.
        slope_part: Shape (h, g), statistic of zero slopes as a part of its limit: a place may be
            the stationary point where it is 1 or less; NaN where that cannot be tested.
        at: The stationary point on the slice, lab units; NaN where there is none.
        held: The other factors.
        level: Confidence, 0..1.
    """

    response: str
    unit: str
    x: str
    y: str
    x_unit: str
    y_unit: str
    x_values: FloatArray
    y_values: FloatArray
    values: FloatArray
    inside: BoolArray
    slope_part: FloatArray
    at: tuple[float, float]
    held: Mapping[str, float | str]
    level: float


def stationary_slice(
    shape: SurfaceShape,
    region: Region,
    *,
    held: tuple[int, ...] = (),
    points: int = POINTS,
    level: float = 0.95,
) -> StationarySlice | None:
    """Lay a slice over the two factors that change the response most.

    Args:
        shape: The surface.
        region: The region of the brief.
        held: Columns of noise factors, whose place does not count for the region.
        points: Places along each range.
        level: Confidence of the set.

    Returns:
        The slice; None with fewer than two factors that move.
    """
    form, point = shape.form, shape.stationary
    m = len(form.columns)
    if m < 2:
        return None
    pull = np.abs(form.middle_slopes) + np.abs(form.curvature).sum(axis=1)
    i, j = sorted(np.argsort(-pull, kind="stable")[:2].tolist())
    has_point = bool(np.all(np.isfinite(point.at_coded)))
    centre = np.clip(point.at_coded, -1.0, 1.0) if has_point else np.zeros(m)
    along = np.linspace(-1.0, 1.0, points)
    grid = np.tile(centre, (points * points, 1))
    grid[:, i], grid[:, j] = np.tile(along, points), np.repeat(along, points)
    settings = form.settings(grid)
    test = slope_test(form, centre, level=level)
    part = np.full(len(grid), np.nan) if test is None else test.statistic(grid) / test.limit
    square = (points, points)
    columns = [form.columns[i], form.columns[j]]
    places = settings[:, columns].reshape(points, points, 2)
    others = [n for n in range(m) if n not in (i, j)]
    lab = form.settings(centre[None, :])[0]
    return StationarySlice(
        response=form.fit.response, unit=form.fit.unit, x=form.names[i], y=form.names[j],
        x_unit=form.units[i], y_unit=form.units[j], x_values=places[0, :, 0],
        y_values=places[:, 0, 1], values=predict_along(form, grid)[0].reshape(square),
        inside=inside_region(region, settings, held).reshape(square),
        slope_part=part.reshape(square), at=(float(point.at[i]), float(point.at[j])),
        held={**form.levels, **{form.names[n]: float(lab[form.columns[n]]) for n in others}},
        level=level,
    )  # fmt: skip

"""Contours of one response over the package: the triangle of three additives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.patches import Polygon
from matplotlib.tri import Triangulation

from analysis.figures.contour_marks import (
    SurfaceField,
    add_legend,
    add_scale,
    draw_surface,
    legend_keys,
    mark_compromise,
    mark_runs,
)
from analysis.figures.contours import slice_caption
from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    FORBIDDEN,
    INK,
    as_axes,
    in_house_look,
    new_figure,
    sentence_case,
    settle,
    with_unit,
)
from analysis.figures.triangle import CORNERS, TriangleFrame, draw_frame
from analysis.surface.contour import PackageSlice
from doe.study.settings import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TriangleCanvas:
    """Draws surfaces known at the points of a triangulation."""

    axes: Axes
    places: FloatArray
    inside: BoolArray
    outline: FloatArray

    def fill(self, values: FloatArray, levels: FloatArray, **look: Any) -> ContourSet:
        """Fill between levels, cut at the outline of the region."""
        x, y = self.places.T
        return self._cut(self.axes.tricontourf(x, y, values, levels=levels, **look))

    def line(self, values: FloatArray, levels: FloatArray, **look: Any) -> ContourSet:
        """Draw lines at levels, cut at the outline of the region."""
        x, y = self.places.T
        return self._cut(self.axes.tricontour(x, y, values, levels=levels, **look))

    def line_within(self, values: FloatArray, levels: FloatArray, **look: Any) -> ContourSet:
        """Draw lines at levels that end before the edge, so that labels on them lie inside."""
        mesh = Triangulation(*self.places.T)
        mesh.set_mask(~np.all(self.inside[mesh.triangles], axis=1))
        return self.axes.tricontour(mesh, values, levels=levels, **look)

    def _cut(self, drawn: ContourSet) -> ContourSet:
        drawn.set_clip_path(Polygon(self.outline, transform=self.axes.transData))
        return drawn


@in_house_look
def draw_package_contours(
    slice_: PackageSlice,
    response: str,
    *,
    mark: tuple[float, float, float] | None = None,
    runs: FloatArray | None = None,
) -> Drawn:
    """Draw one response over three additives.

    Args:
        slice_: Values of every response over the shares.
        response: The one that is drawn; limits of all are.
        mark: Shares of the recommended recipe.
        runs: Shape (n, 3), shares of the runs near the slice.
    """
    title = f"{sentence_case(response)} over the package"
    figure = new_figure(5.4, 5.1, title)
    axes = as_axes(figure.subplots())
    frame = TriangleFrame.around(slice_.names, slice_.outline)
    axes.fill(*CORNERS.T, facecolor=FORBIDDEN, edgecolor="none", zorder=0)
    places = frame.project(slice_.shares)
    outline = frame.project(slice_.outline)
    canvas = TriangleCanvas(axes=axes, places=places, inside=slice_.inside, outline=outline)
    field = SurfaceField(
        response=response, values=slice_.values, inside=slice_.inside, limits=slice_.limits
    )
    surface = draw_surface(axes, canvas, field)
    axes.fill(*outline.T, facecolor="none", edgecolor=INK, linewidth=1.3, zorder=6)
    draw_frame(axes, frame)
    has_runs = runs is not None and len(runs) > 0
    if runs is not None and has_runs:
        mark_runs(axes, *frame.project(runs).T)
    if mark is not None:
        x, y = frame.project(np.array([mark]))[0]
        mark_compromise(axes, float(x), float(y))
    add_scale(figure, surface.filled, axes, with_unit(response, slice_.units[response]))
    keys = legend_keys(surface, runs=has_runs, outside=True, compromise=mark is not None)
    add_legend(figure, keys)
    return Drawn(
        name=file_stem("package", response),
        kind="triangle",
        subject=response,
        title=title,
        caption=(
            f"{slice_caption(response, slice_.held, surface.window)} Shares of active matter; "
            "ticks lean the way their share is read. The outline is the region of the brief."
        ),
        figure=settle(figure),
    )

"""Response contours over two settings at the compromise, with limits and acceptance window."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet

from analysis.figures.contour_marks import (
    SurfaceField,
    add_legend,
    add_scale,
    draw_surface,
    legend_keys,
    mark_compromise,
    mark_runs,
)
from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    FORBIDDEN,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    number_text,
    plain_axes,
    sentence_case,
    settle,
    with_unit,
)
from analysis.figures.region_edge import cover_outside
from analysis.surface.contour import ContourSlice
from doe.study.settings import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GridCanvas:
    """Draws surfaces known on a rectangular grid."""

    axes: Axes
    x: FloatArray
    y: FloatArray
    inside: BoolArray

    def fill(self, values: FloatArray, levels: FloatArray, **look: Any) -> ContourSet:
        """Fill between levels, inside the region."""
        return self.axes.contourf(self.x, self.y, values, levels=levels, **look)

    def line(self, values: FloatArray, levels: FloatArray, **look: Any) -> ContourSet:
        """Draw lines at levels; what lies outside the region is covered afterwards."""
        return self.axes.contour(self.x, self.y, values, levels=levels, **look)

    def line_within(self, values: FloatArray, levels: FloatArray, **look: Any) -> ContourSet:
        """Draw lines at levels that end before the edge, so that labels on them lie inside."""
        within = np.where(self.inside, values, np.nan)
        return self.axes.contour(self.x, self.y, within, levels=levels, **look)


@in_house_look
def draw_contours(
    slice_: ContourSlice,
    response: str,
    *,
    mark: tuple[float, float] | None = None,
    runs: FloatArray | None = None,
) -> Drawn:
    """Draw one response over two settings.

    Args:
        slice_: Values of every response over the two settings.
        response: The one that is drawn; limits of all are.
        mark: Where the recommended recipe stands on the slice, lab units.
        runs: Shape (n, 2), the two settings of the runs near the slice, lab units.
    """
    title = f"{sentence_case(response)} over {slice_.x} and {slice_.y}"
    figure = new_figure(5.4, 5.2, title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    axes.set_facecolor(FORBIDDEN)
    field = SurfaceField(
        response=response, values=slice_.values, inside=slice_.inside, limits=slice_.limits
    )
    canvas = GridCanvas(axes=axes, x=slice_.x_values, y=slice_.y_values, inside=slice_.inside)
    cover_outside(axes, slice_.x_values, slice_.y_values, slice_.inside)
    surface = draw_surface(axes, canvas, field)
    has_runs = runs is not None and len(runs) > 0
    if runs is not None and has_runs:
        mark_runs(axes, runs[:, 0], runs[:, 1])
    if mark is not None:
        mark_compromise(axes, *mark)
    axes.set_xlim(float(slice_.x_values[0]), float(slice_.x_values[-1]))
    axes.set_ylim(float(slice_.y_values[0]), float(slice_.y_values[-1]))
    label_axes(
        axes,
        with_unit(slice_.x, slice_.x_unit),
        with_unit(slice_.y, slice_.y_unit),
    )
    add_scale(figure, surface.filled, axes, with_unit(response, slice_.units[response]))
    keys = legend_keys(
        surface,
        runs=has_runs,
        outside=not bool(np.all(slice_.inside)),
        compromise=mark is not None,
    )
    add_legend(figure, keys)
    return Drawn(
        name=file_stem("contours", response),
        kind="contours",
        subject=response,
        title=title,
        caption=slice_caption(response, slice_.held, surface.window),
        figure=settle(figure),
    )


def slice_caption(response: str, held: Mapping[str, float | str], window: bool | None) -> str:
    """Say what is held and how to read the window."""
    words = f"Predicted {response}"
    if held:
        told = [f"{n} {v if isinstance(v, str) else number_text(v)}" for n, v in held.items()]
        words += f", the other settings held at: {'; '.join(told)}"
    if window is None:
        return f"{words}."
    if window:
        return f"{words}. Settings that meet every limit are clear; what is hatched misses one."
    return f"{words}. No setting of this slice meets every limit."

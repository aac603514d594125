"""Where a response has no slope: its contours over two factors with the region of that point."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from analysis.figures.contour_marks import add_legend, add_scale, contour_levels
from analysis.figures.contours import slice_caption
from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    FORBIDDEN,
    INK,
    OXIDE,
    SURFACE_MAP,
    TICK_SIZE,
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
from analysis.surface.stationary_slice import StationarySlice


@in_house_look
def draw_stationary_slice(slice_: StationarySlice) -> Drawn:
    """Draw one response over two factors with its stationary point and where that may lie."""
    title = f"{sentence_case(slice_.response)}: where it has no slope"
    figure = new_figure(5.4, 5.1, title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    axes.set_facecolor(FORBIDDEN)
    levels = contour_levels(slice_.values)
    filled = axes.contourf(
        slice_.x_values, slice_.y_values, slice_.values, levels=levels, cmap=SURFACE_MAP
    )
    lines = axes.contour(
        slice_.x_values, slice_.y_values, slice_.values, levels=levels, colors=INK, linewidths=0.5
    )
    axes.clabel(lines, fmt=number_text, fontsize=TICK_SIZE)
    cover_outside(axes, slice_.x_values, slice_.y_values, slice_.inside)
    keys = [*_draw_set(axes, slice_), *_draw_point(axes, slice_)]
    axes.set_xlim(float(slice_.x_values[0]), float(slice_.x_values[-1]))
    axes.set_ylim(float(slice_.y_values[0]), float(slice_.y_values[-1]))
    label_axes(axes, with_unit(slice_.x, slice_.x_unit), with_unit(slice_.y, slice_.y_unit))
    add_scale(figure, filled, axes, with_unit(slice_.response, slice_.unit))
    add_legend(figure, keys, columns=1)
    return Drawn(
        name=file_stem("stationary", slice_.response),
        kind="stationary point",
        subject=slice_.response,
        title=title,
        caption=f"{slice_caption(slice_.response, slice_.held, None)} {_words(slice_)}",
        figure=settle(figure),
    )


def is_on(slice_: StationarySlice) -> bool:
    """Tell whether the stationary point lies within the ranges that are drawn."""
    x, y = slice_.at
    return bool(
        slice_.x_values[0] <= x <= slice_.x_values[-1]
        and slice_.y_values[0] <= y <= slice_.y_values[-1]
    )


def _draw_set(axes: Axes, slice_: StationarySlice) -> list[Artist]:
    part = slice_.slope_part
    if not np.any(np.isfinite(part)) or not np.nanmin(part) < 1.0:
        return []
    x, y = slice_.x_values, slice_.y_values
    # The statistic rises without bound; its logarithm keeps the edge smooth on the grid.
    height, edge = np.log1p(part), float(np.log(2.0))
    axes.contourf(x, y, height, levels=[-1.0, edge], colors=OXIDE, alpha=0.28, zorder=6)
    if np.nanmax(part) > 1.0:
        axes.contour(x, y, height, levels=[edge], colors=OXIDE, linewidths=1.3, zorder=6.1)
    words = f"may have no slope here ({slice_.level:.0%})"
    return [Patch(facecolor=OXIDE, alpha=0.35, edgecolor=OXIDE, label=words)]


def _draw_point(axes: Axes, slice_: StationarySlice) -> list[Artist]:
    if not is_on(slice_):
        return []
    look: Any = {"marker": "P", "markersize": 8, "color": "#ffffff", "markeredgecolor": INK}
    axes.plot(*slice_.at, linestyle="none", zorder=7, **look)
    return [Line2D([], [], linestyle="none", label="stationary point", **look)]


def _words(slice_: StationarySlice) -> str:
    if not np.all(np.isfinite(slice_.at)):
        point = "The model has no stationary point: it does not bend along every direction."
    elif is_on(slice_):
        point = "The cross is where the model has no slope."
    else:
        told = " and ".join(
            f"{name} {number_text(float(f'{value:.3g}'))} {unit}".rstrip()
            for name, value, unit in zip(
                (slice_.x, slice_.y), slice_.at, (slice_.x_unit, slice_.y_unit), strict=True
            )
        )
        point = f"The place without slope lies outside the ranges, at {told}."
    if not np.any(np.isfinite(slice_.slope_part)):
        return point
    return (
        f"{point} Coloured red: every place where all slopes may be zero at {slice_.level:.0%} "
        "confidence (F-test of the slopes, after Box and Hunter 1954); a section of that set."
    )

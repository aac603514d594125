"""Ridge paths: the highest and the lowest a response gets at each distance from the middle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from analysis.figures.contour_marks import add_legend
from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    BAND,
    INK,
    LABEL_SIZE,
    OXIDE,
    ROOM,
    as_axes,
    in_house_look,
    new_figure,
    plain_axes,
    sentence_case,
    settle,
    with_unit,
    wrap,
)
from analysis.surface.ridge_path import SurfacePath

COLUMNS = 3
PANEL_WIDTH, PANEL_HEIGHT = 2.45, 2.0
COLOURS = {"highest": OXIDE, "lowest": ROOM}
LINES: Mapping[str, Any] = {"highest": "-", "lowest": "--"}
DISTANCE = "distance (half ranges)"


@in_house_look
def draw_ridge_paths(
    paths: Sequence[SurfacePath], response: str, unit: str, *, where: str = ""
) -> Drawn:
    """Draw predicted value and settings along the ridge paths of one response.

    Args:
        paths: Highest and lowest, over the same factors.
        response: Name of the response.
        unit: Its unit.
        where: The levels of the choices, in words; empty where none changes the shape.
    """
    names, units = paths[0].names, paths[0].units
    title = f"{sentence_case(response)}: best and worst at each distance from the middle"
    columns = min(COLUMNS, 1 + len(names))
    rows = -(-(1 + len(names)) // columns)
    figure = new_figure(0.4 + PANEL_WIDTH * columns, 0.8 + PANEL_HEIGHT * rows, title)
    grid = figure.subplots(rows, columns, squeeze=False)
    panels = [as_axes(axes) for axes in grid.ravel()]
    _draw_values(panels[0], paths, with_unit(response, unit))
    for i, (name, name_unit) in enumerate(zip(names, units, strict=True)):
        plain_axes(panels[i + 1], ticks=4)
        for path in paths:
            _draw_line(panels[i + 1], path, path.settings[:, i])
        _label(panels[i + 1], with_unit(name, name_unit))
    for axes in panels[1 + len(names) :]:
        axes.set_axis_off()
    add_legend(
        figure,
        [
            Line2D([], [], color=COLOURS[path.towards], linestyle=LINES[path.towards],
                   label=f"{path.towards} {response}"[:60])
            for path in paths
        ],
    )  # fmt: skip
    return Drawn(
        name=file_stem("ridge", response),
        kind="ridge",
        subject=response,
        title=title,
        caption=(
            "Of all settings at one distance from the middle of the ranges (coded), those with the "
            f"highest and the lowest predicted {response}{where}; bands hold the true value with "
            "95 % confidence. Thick: inside the region; thin: outside, a guess. Read across the "
            "panels at one distance for one recipe."
        ),
        figure=settle(figure),
    )


def _draw_values(axes: Axes, paths: Sequence[SurfacePath], label: str) -> None:
    plain_axes(axes, ticks=4)
    for path in paths:
        axes.fill_between(path.distance, path.low, path.high, color=BAND, linewidth=0, zorder=1)
        _draw_line(axes, path, path.value)
    _label(axes, label)


def _draw_line(axes: Axes, path: SurfacePath, y: np.ndarray) -> None:
    colour, style = COLOURS[path.towards], LINES[path.towards]
    axes.plot(path.distance, y, color=colour, linewidth=0.8, linestyle=style, zorder=3)
    within = np.where(path.inside, y, np.nan)
    axes.plot(path.distance, within, color=colour, linewidth=2.0, linestyle=style, zorder=4)


def _label(axes: Axes, words: str) -> None:
    axes.set_xlabel(DISTANCE, fontsize=LABEL_SIZE, color=INK)
    axes.set_ylabel(wrap(words, 24), fontsize=LABEL_SIZE, color=INK)

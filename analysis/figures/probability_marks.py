"""Marks that figures of the joint probability share: levels, the wanted line, limits, choices."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from analysis.figures.contour_marks import DASHES, HALO, Canvas
from analysis.figures.looks import (
    FORBIDDEN,
    INK,
    LABEL_SIZE,
    OXIDE,
    PAPER,
    SURFACE_MAP,
    TICK_SIZE,
    wrap,
)
from analysis.figures.margins import limit_margin
from analysis.surface.acceptance import AcceptLimit
from doe.study.settings import BoolArray, FloatArray

# Levels that a team speaks of; equal parts of the map each, so that 90 and 95 of 100 part clearly.
LEVELS = np.array([0.0, 0.05, 0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0])
# Beyond the last level lies nothing, but a contour needs room above the highest value.
_TOP = 1.0 + 1e-9


def draw_probability(
    axes: Axes, canvas: Canvas, probability: FloatArray, inside: BoolArray, wanted: float
) -> ContourSet:
    """Fill by levels, and draw the line of the probability that is wanted."""
    levels = LEVELS.copy()
    levels[-1] = _TOP
    filled = canvas.fill(
        np.clip(probability, 0.0, 1.0), levels, cmap=SURFACE_MAP,
        norm=BoundaryNorm(levels, 256), zorder=1,
    )  # fmt: skip
    lines = canvas.line_within(
        probability, LEVELS[1:-1], colors=PAPER, linewidths=0.6, linestyles="solid", zorder=2
    )
    for text in axes.clabel(lines, fontsize=TICK_SIZE, fmt=_of_hundred, inline=True):
        text.set_color(INK)
        text.set_path_effects(list(HALO))
        text.set_zorder(7)
    within = probability[inside]
    if np.nanmin(within) < wanted < np.nanmax(within):
        canvas.line(probability, np.array([wanted]), colors=PAPER, linewidths=4.4, zorder=3)
        canvas.line(probability, np.array([wanted]), colors=INK, linewidths=2.4, zorder=4)
    return filled


def draw_limits(
    canvas: Canvas,
    limits: Sequence[AcceptLimit],
    values: Mapping[str, FloatArray],
    inside: BoolArray,
) -> list[tuple[str, tuple[float, ...]]]:
    """Draw where predicted values meet each limit; give words and dashes of those that cross."""
    drawn = []
    for i, limit in enumerate(limits):
        margin = limit_margin(limit, values[limit.response])
        within = margin[inside]
        if not (np.any(within < 0) and np.any(within > 0)):
            continue
        dashes = DASHES[i % len(DASHES)]
        look: dict[str, Any] = {"linestyles": [(0, dashes)], "zorder": 5}
        canvas.line(margin, np.array([0.0]), colors=PAPER, linewidths=2.6, zorder=4.5)
        canvas.line(margin, np.array([0.0]), colors=INK, linewidths=1.1, **look)
        drawn.append((limit.words(), dashes))
    return drawn


def mark_robust(axes: Axes, x: float, y: float) -> None:
    """Mark the robust choice: a ringed diamond, readable on light and on dark."""
    axes.plot(
        [x], [y], marker="D", markersize=8, markerfacecolor=PAPER, markeredgecolor=INK,
        markeredgewidth=1.6, linestyle="none", zorder=9, clip_on=False,
    )  # fmt: skip


def probability_keys(
    limits: Sequence[tuple[str, tuple[float, ...]]],
    wanted: float,
    *,
    has: Mapping[str, bool],
) -> list[Artist]:
    """Make the keys of what is drawn; `has` tells of choice, robust, runs, box, outside, line."""
    keys: list[Artist] = []
    if has.get("choice"):
        keys.append(
            Line2D([], [], marker="P", markersize=7, color=OXIDE, linestyle="none",
                   label="recommended recipe")
        )  # fmt: skip
    if has.get("robust"):
        keys.append(
            Line2D([], [], marker="D", markersize=6.5, markerfacecolor=PAPER, markeredgecolor=INK,
                   linestyle="none", label="most probable settings (others differ)")
        )  # fmt: skip
    if has.get("runs"):
        keys.append(
            Line2D([], [], marker="o", markersize=4.5, color=INK, linestyle="none",
                   label="runs near this slice")
        )  # fmt: skip
    if has.get("line"):
        keys.append(
            Line2D([], [], color=INK, linewidth=2.4, label=f"{100 * wanted:g} of 100 batches")
        )
    if has.get("box"):
        keys.append(Patch(facecolor="none", edgecolor=OXIDE, linewidth=1.8, label="tolerance box"))
    keys += [
        Line2D([], [], color=INK, linewidth=1.1, linestyle=(0, dashes),
               label=wrap(f"predicted {words}", 36))
        for words, dashes in limits
    ]  # fmt: skip
    if has.get("outside"):
        keys.append(
            Patch(facecolor=FORBIDDEN, edgecolor=INK, linewidth=0.4, label="outside the brief")
        )
    return keys


def add_probability_scale(figure: Figure, filled: ContourSet, axes: Axes) -> None:
    """Set the scale beside the picture, in batches of a hundred."""
    bar = figure.colorbar(filled, ax=axes, shrink=0.9, aspect=26, pad=0.03, ticks=LEVELS)
    bar.set_label("batches of 100 that meet every limit", fontsize=LABEL_SIZE, color=INK)
    bar.ax.tick_params(labelsize=TICK_SIZE, labelcolor=INK, width=0.7, length=3)
    bar.ax.yaxis.set_major_formatter(lambda value, _: _of_hundred(value))
    bar.outline.set_linewidth(0.5)


def _of_hundred(value: float) -> str:
    return f"{100 * min(value, 1.0):.3g}"

"""Marks that every contour figure shares: levels, limits, window, compromise, runs, legend."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from matplotlib import patheffects
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import BoundaryNorm
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from analysis.figures.looks import (
    FORBIDDEN,
    INK,
    LABEL_SIZE,
    OXIDE,
    PAPER,
    SURFACE_MAP,
    TICK_SIZE,
    number_text,
    wrap,
)
from analysis.figures.margins import limit_margin, worst_margin
from analysis.surface.acceptance import AcceptLimit
from doe.study.settings import BoolArray, FloatArray

LEVELS = 9
# From this ratio of highest to lowest value on, equal steps would leave most of a surface one hue.
STEEP = 4.0
RATIO_STEPS: tuple[tuple[float, ...], ...] = (
    (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0),
    (1.0, 1.5, 2.0, 3.0, 5.0, 7.0),
    (1.0, 2.0, 5.0),
    (1.0,),
)
HALO = (patheffects.withStroke(linewidth=2.2, foreground=PAPER),)
# Dashes that tell limits of up to six responses apart without colour.
DASHES: tuple[tuple[float, ...], ...] = (
    (6, 2), (2, 1.5), (6, 2, 1.5, 2), (9, 3), (4, 1.5, 1.5, 1.5, 1.5, 1.5), (1, 1),
)  # fmt: skip


class Canvas(Protocol):
    """Where a surface is drawn: a rectangle or the triangle of a package."""

    def fill(self, values: FloatArray, levels: FloatArray, **look: Any) -> ContourSet:
        """Fill between levels, inside the region."""
        ...

    def line(self, values: FloatArray, levels: FloatArray, **look: Any) -> ContourSet:
        """Draw lines at levels, cut at the edge of the region."""
        ...

    def line_within(self, values: FloatArray, levels: FloatArray, **look: Any) -> ContourSet:
        """Draw lines at levels that end before the edge, so that labels on them lie inside."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceField:
    """One response to draw, with the limits of all.

    Attributes:
        response: The response drawn.
        values: Values of every response at the points of the canvas, response units.
        inside: True where the settings lie in the region; same shape.
        limits: Acceptance limits.
    """

    response: str
    values: Mapping[str, FloatArray]
    inside: BoolArray
    limits: tuple[AcceptLimit, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnSurface:
    """What of a field is to be seen.

    Attributes:
        filled: The filled contours, for the scale.
        limits: Words and dashes of each limit that crosses the picture.
        hatched: Whether some settings break a limit and are hatched.
        window: Whether some settings meet every limit; None where there is no limit.
    """

    filled: ContourSet
    limits: tuple[tuple[str, tuple[float, ...]], ...]
    hatched: bool
    window: bool | None


def draw_surface(axes: Axes, canvas: Canvas, field: SurfaceField) -> DrawnSurface:
    """Draw levels, the hatching outside the acceptance window, and every limit that crosses."""
    values = field.values[field.response]
    levels = contour_levels(np.where(field.inside, values, np.nan))
    # Clipped to the levels: what lies beyond them is outside the region and gets covered.
    within = np.clip(values, levels[0], levels[-1])
    # Bands share the map equally, whatever the values that part them.
    shades = BoundaryNorm(levels, 256)
    filled = canvas.fill(within, levels, cmap=SURFACE_MAP, norm=shades, zorder=1)
    lines = canvas.line_within(
        values, levels, colors=PAPER, linewidths=0.7, linestyles="solid", zorder=2
    )
    margin = worst_margin(field.limits, field.values)
    window = None if margin is None else bool(np.any(margin[field.inside] >= 0))
    hatched = margin is not None and _hatch_refused(canvas, margin, field.inside)
    limits = _draw_limits(canvas, field)
    for text in axes.clabel(lines, fontsize=TICK_SIZE, fmt=number_text, inline=True):
        text.set_color(INK)
        text.set_path_effects(list(HALO))
        text.set_zorder(7)
    return DrawnSurface(filled=filled, limits=limits, hatched=hatched, window=window)


def _hatch_refused(canvas: Canvas, margin: FloatArray, inside: BoolArray) -> bool:
    """Hatch where some limit is not met; tell whether that is somewhere, not everywhere."""
    refused = margin[inside] < 0
    # Hatching everything would show no window and hide the surface; the caption says it instead.
    if not np.any(refused) or np.all(refused):
        return False
    levels = np.array([float(np.nanmin(margin)) - 1.0, 0.0])
    canvas.fill(margin, levels, colors="none", hatches=["///"], zorder=3)
    return True


def _draw_limits(canvas: Canvas, field: SurfaceField) -> tuple[tuple[str, tuple[float, ...]], ...]:
    """Draw each limit as a dashed line in a pale casing; leave out those off the picture."""
    drawn = []
    for i, limit in enumerate(field.limits):
        if limit.response not in field.values:
            continue
        margin = limit_margin(limit, field.values[limit.response])
        within = margin[field.inside]
        if not (np.any(within < 0) and np.any(within > 0)):
            continue
        dashes = DASHES[i % len(DASHES)]
        zero = np.array([0.0])
        canvas.line(margin, zero, colors=PAPER, linewidths=4.0, linestyles="solid", zorder=4)
        canvas.line(margin, zero, colors=INK, linewidths=1.8, linestyles=[(0, dashes)], zorder=5)
        drawn.append((limit.words(), dashes))
    return tuple(drawn)


def contour_levels(values: FloatArray) -> FloatArray:
    """Choose round levels for the finite values of a surface.

    Args:
        values: Response unit, any shape; NaN outside the region.

    Returns:
        Rising levels that enclose every value; two at least.
    """
    finite = values[np.isfinite(values)]
    low, high = float(finite.min()), float(finite.max())
    if high - low <= 1e-9 * max(abs(low), abs(high), 1e-300):
        # A flat surface has one colour; the pad keeps its two levels apart.
        pad = 0.5 * abs(low) or 0.5
        return np.array([low - pad, high + pad])
    if low > 0 and high / low >= STEEP:
        return _rising_levels(low, high)
    locator = MaxNLocator(nbins=LEVELS, steps=[1, 2, 2.5, 5, 10])
    return np.asarray(locator.tick_values(low, high), dtype=np.float64)


def _rising_levels(low: float, high: float) -> FloatArray:
    """Choose round levels that rise by about equal ratios, from below `low` to above `high`."""
    decades = range(math.floor(math.log10(low)) - 1, math.ceil(math.log10(high)) + 1)
    for steps in RATIO_STEPS:
        every = np.array([step * 10.0**decade for decade in decades for step in steps])
        first = int(np.searchsorted(every, low, side="right")) - 1
        last = int(np.searchsorted(every, high, side="left"))
        if last - first <= LEVELS:
            break
    # Beyond that, whole decades are left out.
    return every[first : last + 1] if last - first <= LEVELS else _decades(low, high)


def _decades(low: float, high: float) -> FloatArray:
    """Choose powers of ten, as many apart as keep the levels few."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    step = -(-(last - first) // LEVELS)
    exponents = np.arange(first, last + step, step, dtype=np.float64)
    return np.asarray(10.0**exponents, dtype=np.float64)


def mark_compromise(axes: Axes, x: float, y: float) -> None:
    """Mark the recommended recipe: a ringed cross, readable on light and on dark."""
    axes.plot(
        [x], [y], marker="o", markersize=11, markerfacecolor=PAPER, markeredgecolor=INK,
        markeredgewidth=1.2, linestyle="none", zorder=9, clip_on=False,
    )  # fmt: skip
    axes.plot(
        [x], [y], marker="P", markersize=7, markerfacecolor=OXIDE, markeredgecolor=OXIDE,
        linestyle="none", zorder=10, clip_on=False,
    )  # fmt: skip


def mark_runs(axes: Axes, x: FloatArray, y: FloatArray) -> None:
    """Mark runs that lie near the slice: small ringed dots."""
    axes.plot(
        x, y, marker="o", markersize=4.5, markerfacecolor=INK, markeredgecolor=PAPER,
        markeredgewidth=0.9, linestyle="none", zorder=8, clip_on=False,
    )  # fmt: skip


def legend_keys(
    surface: DrawnSurface, *, runs: bool, outside: bool, compromise: bool
) -> list[Artist]:
    """Make the keys of what a figure shows.

    Args:
        surface: What was drawn.
        runs: Whether runs are marked.
        outside: Whether some settings lie outside the region.
        compromise: Whether the recommended recipe is marked.
    """
    keys: list[Artist] = []
    if compromise:
        keys.append(
            Line2D([], [], marker="P", markersize=7, color=OXIDE, linestyle="none",
                   label="recommended recipe")
        )  # fmt: skip
    if runs:
        keys.append(
            Line2D([], [], marker="o", markersize=4.5, color=INK, linestyle="none",
                   label="runs near this slice")
        )  # fmt: skip
    keys += [
        Line2D([], [], color=INK, linewidth=1.8, linestyle=(0, dashes), label=wrap(words, 34))
        for words, dashes in surface.limits
    ]
    if surface.hatched:
        keys.append(
            Patch(facecolor=PAPER, edgecolor=INK, hatch="///", linewidth=0.6,
                  label="a limit is not met")
        )  # fmt: skip
    if outside:
        keys.append(
            Patch(facecolor=FORBIDDEN, edgecolor=INK, linewidth=0.4, label="outside the brief")
        )
    return keys


def add_legend(figure: Figure, keys: list[Artist], *, columns: int = 2) -> None:
    """Set the keys under the picture."""
    if keys:
        figure.legend(
            handles=keys, loc="outside lower left", ncols=columns, frameon=False,
            fontsize=TICK_SIZE + 0.3, handlelength=2.6, columnspacing=1.6, labelcolor=INK,
        )  # fmt: skip


def add_scale(figure: Figure, filled: ScalarMappable, axes: Axes, words: str) -> None:
    """Set the colour scale beside the picture, with name and unit."""
    bar = figure.colorbar(filled, ax=axes, shrink=0.9, aspect=26, pad=0.03)
    bar.set_label(wrap(words, 34), fontsize=LABEL_SIZE, color=INK)
    bar.ax.tick_params(labelsize=TICK_SIZE, labelcolor=INK, width=0.7, length=3)
    bar.ax.yaxis.set_major_formatter(lambda value, _: number_text(value))
    bar.outline.set_linewidth(0.5)

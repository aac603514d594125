"""The frontier: every pair of responses, what one costs in the other, compromise and controls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from analysis.choice.frontier import Frontier
from analysis.figures.contour_marks import add_legend
from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    OXIDE,
    PAPER,
    ROOM,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    settle,
    with_unit,
    wrap,
)
from analysis.surface.acceptance import AcceptLimit
from doe.study.settings import BoolArray, FloatArray

# Responses in the figure at most; a panel for each pair of more could not be read.
MOST_RESPONSES = 6
# Inches of a panel with few responses and with many, and of the margins.
LARGE, SMALL, MARGIN = 2.9, 1.75, 0.9
# A control further off than this part of what the frontier spans is left to the caption.
OFF = 0.6
CONTROL_MARKERS = ("s", "D", "^", "v", "P", "X")
KEY_CHARACTERS = 60
DIRECTIONS = {"low": "lower is better", "high": "higher is better", "target": "target"}


@in_house_look
def draw_frontier(
    frontier: Frontier,
    *,
    aims: Mapping[str, str],
    limits: Sequence[AcceptLimit] = (),
    controls: Mapping[str, Mapping[str, float]] | None = None,
    names: Sequence[str] = (),
) -> Drawn:
    """Draw one panel for each pair of responses.

    Args:
        frontier: The recipes.
        aims: By response, `low`, `high` or `target`.
        limits: Acceptance limits, drawn as lines.
        controls: By control, what it gave by response, response units.
        names: Which responses, six at most; empty for the first six of the frontier.
    """
    kept = [name for name in frontier.responses if not names or name in names][:MOST_RESPONSES]
    columns = [frontier.responses.index(name) for name in kept]
    n = len(kept) - 1
    size = LARGE if n < 3 else SMALL
    title = "What one response costs in another: recipes that nothing beats"
    if n == 1:
        size = 4.2
    figure = new_figure(MARGIN + size * n, MARGIN + 0.9 + size * n * 0.9, title)
    grid = figure.subplots(n, n, squeeze=False)
    off: dict[str, None] = {}
    for row in range(n):
        for column in range(n):
            axes = as_axes(grid[row, column])
            if column > row:
                axes.set_visible(False)
                continue
            pair = (columns[column], columns[row + 1])
            off |= dict.fromkeys(_panel(axes, frontier, pair, limits, controls or {}))
            _label(axes, frontier, pair, aims, outer=(row == n - 1, column == 0))
    shown = [name for name in controls or {} if name not in off or n > 1]
    _key(figure, shown, has_broken=not frontier.accepted.all(), limits=bool(limits))
    return Drawn(
        name=file_stem("frontier"),
        kind="frontier",
        subject="",
        title=title,
        caption=_caption(frontier, kept, list(off)),
        figure=settle(figure),
    )


def _panel(
    axes: Axes,
    frontier: Frontier,
    pair: tuple[int, int],
    limits: Sequence[AcceptLimit],
    controls: Mapping[str, Mapping[str, float]],
) -> list[str]:
    """Draw one pair; give the controls that lie off it."""
    plain_axes(axes, ticks=4)
    points: FloatArray = frontier.values[:, list(pair)]
    _points(axes, points, frontier.accepted)
    here = frontier.compromise[list(pair)]
    axes.plot(*here, marker="P", markersize=9, color=OXIDE, markeredgecolor=PAPER, zorder=6)
    every = np.vstack([points, here])
    low, high = every.min(axis=0), every.max(axis=0)
    span = np.maximum(high - low, 1e-12 + 1e-6 * np.abs(high))
    off, inside = [], [low, high]
    names = [frontier.responses[i] for i in pair]
    for i, (control, values) in enumerate(controls.items()):
        if not all(name in values for name in names):
            continue
        at = np.array([values[name] for name in names])
        if np.any(at < low - OFF * span) or np.any(at > high + OFF * span):
            off.append(control)
            continue
        inside.append(at)
        marker = CONTROL_MARKERS[i % len(CONTROL_MARKERS)]
        axes.plot(*at, marker=marker, markersize=6, color=INK, markeredgecolor=PAPER, zorder=5)
    low, high = np.min(inside, axis=0), np.max(inside, axis=0)
    margin = 0.06 * np.maximum(high - low, span)
    axes.set_xlim(low[0] - margin[0], high[0] + margin[0])
    axes.set_ylim(low[1] - margin[1], high[1] + margin[1])
    for limit in limits:
        if limit.response == names[0]:
            axes.axvline(limit.limit, color=FAINT_INK, linewidth=1.0, linestyle="--", zorder=1)
        if limit.response == names[1]:
            axes.axhline(limit.limit, color=FAINT_INK, linewidth=1.0, linestyle="--", zorder=1)
    return off


def _points(axes: Axes, points: FloatArray, accepted: BoolArray) -> None:
    """Set recipes that meet every limit as full dots, others as rings."""
    broken, met = points[~accepted].T, points[accepted].T
    axes.scatter(
        broken[0], broken[1], s=16, facecolors=PAPER, edgecolors=FAINT_INK, linewidths=0.8, zorder=2
    )
    axes.scatter(met[0], met[1], s=20, facecolors=ROOM, edgecolors=PAPER, linewidths=0.4, zorder=3)


def _label(
    axes: Axes,
    frontier: Frontier,
    pair: tuple[int, int],
    aims: Mapping[str, str],
    *,
    outer: tuple[bool, bool],
) -> None:
    """Name the axes at the rim of the grid, with the direction that is wanted."""
    words = [
        f"{with_unit(frontier.responses[i], frontier.units[i])}, "
        + DIRECTIONS.get(aims.get(frontier.responses[i], ""), "probability")
        for i in pair
    ]
    label_axes(
        axes, words[0] if outer[0] else "", words[1] if outer[1] else "", x_width=26, y_width=26
    )
    if not outer[0]:
        axes.tick_params(labelbottom=False)
    if not outer[1]:
        axes.tick_params(labelleft=False)


def _key(figure: Figure, controls: Sequence[str], *, has_broken: bool, limits: bool) -> None:
    keys: list[Artist] = []

    def mark(label: str, **looks: Any) -> None:
        label = wrap(label, KEY_CHARACTERS)
        keys.append(Line2D([], [], linestyle="none", label=label, **looks))

    met = "recipe on the frontier" + (", every limit met" if limits else "")
    mark(met, marker="o", color=ROOM, markersize=5)
    if has_broken:
        mark("a limit not met", marker="o", color=FAINT_INK, markerfacecolor=PAPER, markersize=5)
    mark("compromise", marker="P", color=OXIDE, markersize=8)
    for i, name in enumerate(controls):
        marker = CONTROL_MARKERS[i % len(CONTROL_MARKERS)]
        mark(f"control '{name}'", marker=marker, color=INK, markersize=5)
    if limits:
        label = "acceptance limit"
        keys.append(Line2D([], [], color=FAINT_INK, linewidth=1.0, linestyle="--", label=label))
    add_legend(figure, keys, columns=2)


def _caption(frontier: Frontier, kept: Sequence[str], off: Sequence[str]) -> str:
    parts = [
        f"{len(frontier.values)} recipes inside the region, between the bench's steps, that no "
        "other recipe betters in one response without losing in another, by the models' values; "
        "each is a dot in every panel."
    ]
    if frontier.is_useful:
        parts.append("Recipes with a response beyond its worst are left out.")
    if len(kept) < len(frontier.responses):
        parts.append(f"Of {len(frontier.responses)} responses the most important are drawn.")
    if len(kept) > 2:
        parts.append(
            "A dot that looks beaten in one panel is better in a response that the panel does not "
            "show."
        )
    if off:
        named = ", ".join(f"'{name}'" for name in off)
        parts.append(f"Controls that lie off a panel: {named}.")
    return " ".join(parts)

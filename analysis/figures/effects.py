"""What each setting does to one response: plain panels with confidence bands."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

import numpy as np
from matplotlib.axes import Axes

from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    BAND,
    FAINT_INK,
    INK,
    LABEL_SIZE,
    OXIDE,
    PAPER,
    TICK_SIZE,
    as_axes,
    in_house_look,
    new_figure,
    number_text,
    plain_axes,
    sentence_case,
    settle,
    with_unit,
    wrap,
)
from analysis.surface.effects import Effect

COLUMNS = 3
PANEL_WIDTH, PANEL_HEIGHT = 2.35, 1.95
NAME_CHARACTERS = 24
# Level names under a panel: as many characters as its width leaves each of them.
LEVEL_CHARACTERS = 26
SLANTED_CHARACTERS = 16
# How far aside of a level, in levels, its mark at equal real value stands.
EQUAL_ASIDE = 0.22
# A whole range is traced at many more places than a factor has numeric levels.
FEW_LEVELS = 12


@in_house_look
def draw_effects(panels: Sequence[Effect], *, shares: Collection[str], held: str) -> Drawn:
    """Draw one panel a setting on one common response axis.

    Args:
        panels: Effects of one response, one a setting; one at least.
        shares: Which of the settings are shares of the package.
        held: Where the settings stand that a panel does not vary, a phrase.
    """
    response, level = panels[0].response, panels[0].level
    title = f"{sentence_case(response)}: what each setting does"
    columns = min(COLUMNS, len(panels))
    rows = -(-len(panels) // columns)
    figure = new_figure(0.5 + PANEL_WIDTH * columns, 0.45 + PANEL_HEIGHT * rows, title)
    grid = figure.subplots(rows, columns, squeeze=False, sharey=True)
    for i, panel in enumerate(panels):
        unit = "share" if panel.setting in shares else panel.setting_unit
        _draw_panel(as_axes(grid[i // columns, i % columns]), panel, unit)
    for i in range(len(panels), rows * columns):
        as_axes(grid[i // columns, i % columns]).set_axis_off()
    figure.supylabel(
        wrap(with_unit(response, panels[0].unit), 18 * rows), fontsize=LABEL_SIZE, color=INK
    )
    return Drawn(
        name=file_stem("effects", response),
        kind="effects",
        subject=response,
        title=title,
        caption=(
            f"Each panel moves one setting, the others {held}; bands hold the true value with "
            f"{100 * level:g} % confidence. A dot marks where a setting is held. Dotted, or a "
            "cross: outside the region. A share moves at the cost of the others in their own "
            f"proportions.{_ranged_words(panels)}"
        ),
        figure=settle(figure),
    )


def _ranged_words(panels: Sequence[Effect]) -> str:
    """Explain the two marks of a choice whose levels have their own range of a factor."""
    ranged = dict.fromkeys(name for panel in panels for name in panel.ranged)
    if not ranged:
        return ""
    names = " and ".join(ranged)
    return (
        f" Levels with their own range of {names}: a circle keeps {names} at the same place of "
        f"each range (a level that lacks it has none), a diamond at the same real value, where the "
        "level's range holds it."
    )


def _draw_panel(axes: Axes, panel: Effect, unit: str) -> None:
    plain_axes(axes, ticks=4)
    if panel.labels:
        _draw_levels(axes, panel)
        _name_levels(axes, panel)
    elif len(panel.at) <= FEW_LEVELS:
        _draw_levels(axes, panel)
        axes.set_xticks(panel.at, [number_text(at) for at in panel.at], fontsize=TICK_SIZE)
    else:
        axes.fill_between(panel.at, panel.low, panel.high, color=BAND, linewidth=0, zorder=1)
        for edge in (panel.low, panel.high):
            axes.plot(panel.at, edge, color=FAINT_INK, linewidth=0.5, zorder=2)
        within = np.where(panel.inside, panel.value, np.nan)
        axes.plot(panel.at, panel.value, color=INK, linewidth=1.0, linestyle=":", zorder=3)
        axes.plot(panel.at, within, color=INK, linewidth=1.7, zorder=4)
        if np.isfinite(panel.base):
            _mark(axes, panel.base, float(np.interp(panel.base, panel.at, panel.value)))
        axes.set_xlim(float(panel.at[0]), float(panel.at[-1]))
    axes.set_xlabel(
        wrap(with_unit(panel.setting, unit), NAME_CHARACTERS), fontsize=LABEL_SIZE, color=INK
    )


def _draw_levels(axes: Axes, panel: Effect) -> None:
    there = np.asarray(panel.inside, dtype=np.bool_)
    axes.vlines(
        panel.at[there], panel.low[there], panel.high[there], color=FAINT_INK, linewidth=5,
        alpha=0.45, zorder=1,
    )  # fmt: skip
    for which, marker in ((there, "o"), (~there, "x")):
        if which.any():
            axes.plot(
                panel.at[which], panel.value[which], marker=marker, markersize=5, zorder=3,
                markerfacecolor=PAPER, markeredgecolor=INK if marker == "o" else FAINT_INK,
                linestyle="none",
            )  # fmt: skip
    if len(panel.equal):
        axes.plot(
            panel.at + EQUAL_ASIDE, panel.equal, marker="D", markersize=4, markerfacecolor=BAND,
            markeredgecolor=INK, linestyle="none", zorder=3,
        )  # fmt: skip
    margin = 0.6 * float(panel.at[-1] - panel.at[0]) / max(len(panel.at) - 1, 1) or 0.6
    axes.set_xlim(float(panel.at[0]) - margin, float(panel.at[-1]) + margin)
    if np.isfinite(panel.base):
        i = int(np.argmin(np.abs(panel.at - panel.base)))
        _mark(axes, float(panel.at[i]), float(panel.value[i]))


def _name_levels(axes: Axes, panel: Effect) -> None:
    """Write the levels under their marks, slanted where a word is wider than its place."""
    width = _level_width(panel)
    words = [panel.labels[int(i)] for i in panel.at]
    # Lines break at spaces and behind hyphens.
    if max(len(part) for word in words for part in re.findall(r"[^\s-]+-?|-", word)) <= width:
        axes.set_xticks(panel.at, [wrap(word, width) for word in words], fontsize=TICK_SIZE)
        return
    axes.set_xticks(
        panel.at, [wrap(word, SLANTED_CHARACTERS) for word in words], fontsize=TICK_SIZE,
        rotation=40, ha="right", rotation_mode="anchor",
    )  # fmt: skip


def _level_width(panel: Effect) -> int:
    return max(LEVEL_CHARACTERS // len(panel.labels), 5)


def _mark(axes: Axes, x: float, y: float) -> None:
    axes.plot([x], [y], marker="o", markersize=6, color=OXIDE, zorder=5, clip_on=False)

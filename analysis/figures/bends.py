"""How a response bends along its principal directions, with errors."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.fitted_scale import name_scale
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    ROOM,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    sentence_case,
    settle,
    with_unit,
    wrap,
)
from analysis.surface.canonical import Canonical
from analysis.surface.second_order import SecondOrder

WIDTH = 6.4
LABEL_CHARACTERS = 38


@in_house_look
def draw_bends(
    form: SecondOrder, canonical: Canonical, directions: Sequence[str], *, where: str = ""
) -> Drawn:
    """Draw one bar a principal direction, with its interval.

    Args:
        form: The surface.
        canonical: Its principal directions.
        directions: Each in words, real units, in the same order.
        where: The levels of the choices, in words; empty where none changes the shape.
    """
    fit = form.fit
    title = f"{sentence_case(fit.response)}: how it bends, and how surely"
    labels = [wrap(words, LABEL_CHARACTERS) for words in directions]
    heights = [0.34 + 0.12 * label.count("\n") for label in labels]
    figure = new_figure(WIDTH, 1.1 + sum(heights), title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    places = np.array(heights) / 2 - np.cumsum(heights)
    axes.axvline(0.0, color=FAINT_INK, linewidth=0.8, zorder=1)
    for y, axis in zip(places, canonical.axes, strict=True):
        face = ROOM if axis.bend != "flat" else "#ffffff"
        axes.barh(y, axis.curvature, height=0.17, facecolor=face, edgecolor=INK, linewidth=0.9)
        if np.all(np.isfinite(axis.interval)):
            axes.hlines(y, *axis.interval, color=INK, linewidth=1.4, zorder=3)
    axes.set_yticks(places, labels)
    axes.set_ylim(-sum(heights) - 0.1, 0.1)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    scale = name_scale(fit.response, fit.unit, fit.scale)
    label_axes(
        axes, f"bend, {with_unit(scale.short, scale.unit)} per squared half range", "", x_width=60
    )
    return Drawn(
        name=file_stem("bends", fit.response),
        kind="bends",
        subject=fit.response,
        title=title,
        caption=(
            f"Principal directions of the surface{where}, each as what one half range along it "
            "changes in real units; a bar to the left falls away on both sides, one to the right "
            f"rises. Lines: {canonical.level:.0%} intervals, to first order. Empty bars: no bend "
            "is told from scatter, the response is flat or only slopes along that direction."
        ),
        figure=settle(figure),
    )

"""Confirmation batches: the interval that was foretold, the limits, each batch and their mean."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from analysis.agreement.confirmation import ResponseOutcome, frozen_limits
from analysis.agreement.judged_round import JudgedRound
from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    BAND,
    FAINT_INK,
    INK,
    LABEL_SIZE,
    OXIDE,
    PAPER,
    ROOM,
    as_axes,
    in_house_look,
    new_figure,
    plain_axes,
    settle,
    with_unit,
    wrap,
)

WIDTH = 6.6
# Inches of one response, of the key below.
ROW, KEY = 0.95, 0.55
NAME_CHARACTERS = 20
# Of the span shown: left free at each end.
MARGIN = 0.08


@in_house_look
def draw_confirmation(judged: JudgedRound) -> Drawn:
    """Draw one round, a strip a response, each on its own axis in its own unit."""
    shown = [one for one in judged.outcome.responses if one.batches and one.n]
    where = "plant" if judged.entry.where == "plant" else "laboratory"
    title = f"What was foretold and what {len(_batch_numbers(shown))} batches of the {where} gave"
    figure = new_figure(WIDTH, 0.45 + ROW * len(shown) + KEY, title)
    grid = figure.subplots(len(shown), 1, squeeze=False)
    for axes, one in zip(grid[:, 0], shown, strict=True):
        _strip(as_axes(axes), one)
    _key(as_axes(grid[-1, 0]), shown, where)
    return Drawn(
        name=file_stem(f"confirmation {judged.entry.number}"), kind="confirmation",
        subject=f"round {judged.entry.round}", title=title, caption=_caption(judged),
        figure=settle(figure),
    )  # fmt: skip


def _strip(axes: Axes, one: ResponseOutcome) -> None:
    plain_axes(axes)
    axes.spines["left"].set_visible(False)
    axes.set_yticks([])
    axes.set_ylim(-1.0, 1.0)
    low, high = _span(one)
    axes.set_xlim(low, high)
    if one.interval is not None:
        axes.axvspan(*one.interval, ymin=0.16, ymax=0.84, color=BAND, linewidth=0, zorder=1)
    axes.plot([one.frozen.value] * 2, [-0.68, 0.68], color=INK, linewidth=1.6, zorder=2)
    for limit in frozen_limits(one.frozen):
        axes.axvline(limit.limit, color=FAINT_INK, linewidth=1.1, linestyle="--", zorder=2)
        # A short stroke towards what is forbidden.
        axes.plot(
            [limit.limit, limit.limit + limit.side * 0.02 * (high - low)], [0.9, 0.9],
            color=FAINT_INK, linewidth=2.2, zorder=2, solid_capstyle="butt",
        )  # fmt: skip
    for y, batch in zip(_heights(len(one.batches)), one.batches, strict=True):
        if batch.value is not None:
            missed = batch.within is False
            axes.plot(
                batch.value, y, marker="X" if missed else "o", markersize=7 if missed else 5.5,
                color=OXIDE if missed else ROOM, markeredgecolor=PAPER, zorder=4,
                linestyle="none",
            )  # fmt: skip
    if one.mean is not None:
        axes.plot(
            one.mean, -0.55, marker="D", markersize=7, zorder=5, linestyle="none",
            color=OXIDE if one.is_off else INK, markeredgecolor=PAPER,
        )  # fmt: skip
    axes.set_ylabel(
        wrap(with_unit(one.response, one.frozen.unit), NAME_CHARACTERS), fontsize=LABEL_SIZE,
        color=INK, rotation=0, ha="right", va="center", labelpad=10,
    )  # fmt: skip


def _heights(n: int) -> Iterator[float]:
    """Set batches one above the other in their order, so that equal values stay apart."""
    yield from np.linspace(0.6, -0.2, n) if n > 1 else [0.2]


def _span(one: ResponseOutcome) -> tuple[float, float]:
    shown = [one.frozen.value, *(b.value for b in one.batches if b.value is not None)]
    shown += [*(one.interval or ()), *(limit.limit for limit in frozen_limits(one.frozen))]
    if one.mean is not None:
        shown.append(one.mean)
    known = [value for value in shown if np.isfinite(value)]
    low, high = min(known), max(known)
    margin = MARGIN * (high - low) or 0.5
    return low - margin, high + margin


def _key(axes: Axes, shown: list[ResponseOutcome], where: str) -> None:
    keys: list[Artist] = []

    def mark(label: str, **looks: Any) -> None:
        keys.append(Line2D([], [], label=label, **looks))

    mark("foretold", color=INK, linewidth=1.6)
    if any(one.interval is not None for one in shown):
        words = "laboratory's interval" if where == "plant" else "where the mean must lie"
        mark(words, color=BAND, linewidth=7)
    if any(frozen_limits(one.frozen) for one in shown):
        mark("limit of a batch", color=FAINT_INK, linewidth=1.1, linestyle="--")
    mark("batch", marker="o", color=ROOM, linestyle="none", markersize=5.5)
    if any(batch.within is False for one in shown for batch in one.batches):
        mark("batch beyond a limit", marker="X", color=OXIDE, linestyle="none", markersize=7)
    mark("mean", marker="D", color=INK, linestyle="none", markersize=6)
    if any(one.is_off for one in shown):
        mark("mean off", marker="D", color=OXIDE, linestyle="none", markersize=6)
    figure = axes.figure
    figure.legend(
        handles=keys, loc="outside lower left", ncols=4, fontsize=LABEL_SIZE, frameon=False
    )


def _batch_numbers(shown: list[ResponseOutcome]) -> set[int]:
    return {batch.batch for one in shown for batch in one.batches}


def _caption(judged: JudgedRound) -> str:
    parts = [judged.verdict_words()]
    parts.append(
        "Batches stand one below the other in the order of their numbers, their mean at the foot; "
        "the stroke at the head of a limit points to what is forbidden."
    )
    if judged.entry.where == "plant":
        parts.append("The shaded interval is the laboratory's; the plant is not judged by it.")
    return " ".join(parts)

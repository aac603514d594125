"""What is lost if a run, a batch or a day fails, and how strongly each run pulls."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from analysis.figures.appraisal_subject import Pictured, whose
from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    INK,
    LABEL_SIZE,
    OXIDE,
    ROOM,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    settle,
)
from doe.appraisal.losses import Loss

WIDTH = 6.8
_PANEL = 1.75
# A rise above this many times the plan's own average is drawn at the edge, and said.
_EDGE = 2.0


@in_house_look
def draw_losses(one: Pictured, *, which: str = "") -> Drawn:
    """Draw leverage run by run, and the rise of the average variance without each unit.

    Args:
        one: A plan that can estimate the model.
        which: Its name, where there are two.
    """
    losses = one.appraisal.losses
    title = f"What each run holds up, and what fails with it{whose(which)}"
    figure = new_figure(WIDTH, 0.5 + _PANEL * (1 + len(losses)), title)
    panels = [as_axes(axes) for axes in np.atleast_1d(figure.subplots(1 + len(losses), 1))]
    _draw_leverage(panels[0], one)
    for axes, (unit, own) in zip(panels[1:], losses.items(), strict=True):
        _draw_unit(axes, unit, own)
    return Drawn(
        name="leverage-and-losses",
        kind="losses",
        subject="",
        title=title,
        caption="Leverage: pull of a run on its own fitted value; the dashed line is the mean. "
        "Below: by how much the average prediction variance rises without a run, batch or day; "
        "a cross at the edge: the model can't be estimated without it; an arrow: beyond the edge.",
        figure=settle(figure),
    )


def _draw_leverage(panel: Axes, one: Pictured) -> None:
    plain_axes(panel, ticks=8)
    numbers = list(one.appraisal.leverage)
    pull = np.array(list(one.appraisal.leverage.values()))
    panel.vlines(numbers, 0.0, pull, color=ROOM, linewidth=1.2)
    panel.scatter(numbers, pull, s=14, color=ROOM, zorder=3)
    panel.axhline(float(pull.mean()), color=INK, linewidth=0.8, linestyle=(0, (4, 3)))
    panel.set_ylim(min(0.0, float(pull.min()) * 1.1), max(1.0, float(pull.max()) * 1.05))
    _say(panel, f"dashed: mean, {pull.mean():.2f}", INK)
    label_axes(panel, "run", "leverage")


def _draw_unit(panel: Axes, unit: str, losses: tuple[Loss, ...]) -> None:
    plain_axes(panel, ticks=8)
    numbers = np.array([loss.number for loss in losses])
    rises = np.array([loss.average_rise for loss in losses])
    finite = rises[np.isfinite(rises)]
    edge = float(max(min(finite.max(initial=0.0), _EDGE), 0.05)) * 1.15
    drawn = np.minimum(np.where(np.isfinite(rises), rises, edge), edge)
    gone = ~np.isfinite(rises)
    for mask, colour in ((~gone, ROOM), (gone, OXIDE)):
        panel.vlines(numbers[mask], 0.0, drawn[mask], color=colour, linewidth=1.2)
    inside = ~gone & (rises <= edge)
    panel.scatter(numbers[inside], drawn[inside], s=14, color=ROOM, zorder=3)
    beyond = ~gone & (rises > edge)
    panel.scatter(numbers[beyond], drawn[beyond], s=26, marker="^", color=ROOM, zorder=3)
    panel.scatter(
        numbers[gone], drawn[gone], s=30, marker="x", color=OXIDE, zorder=3, clip_on=False
    )
    panel.set_ylim(0.0, edge * 1.08)
    panel.yaxis.set_major_formatter(lambda value, _: f"{100 * value:.0f}\N{NO-BREAK SPACE}%")
    panel.xaxis.set_major_locator(MaxNLocator(nbins=8, integer=True, steps=[1, 2, 5, 10]))
    label_axes(panel, f"{unit} left out", "rise of the average variance", y_width=18)
    if not len(finite):
        panel.set_yticks([])
    if gone.any():
        _say(panel, "cross: the model can't be estimated without it", OXIDE)
    elif beyond.any():
        _say(panel, f"arrow: above {100 * edge:.0f}\N{NO-BREAK SPACE}%", ROOM)


def _say(panel: Axes, text: str, colour: str) -> None:
    panel.annotate(
        text, (1.0, 1.0), xycoords="axes fraction", xytext=(0, 3), textcoords="offset points",
        ha="right", fontsize=LABEL_SIZE - 1, color=colour,
    )  # fmt: skip

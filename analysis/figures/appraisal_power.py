"""The chance that an effect of the size sought shows, term by term."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.figures.appraisal_subject import LOOKS, MARKS, Pictured, model_words
from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    BAND,
    FAINT_INK,
    LABEL_SIZE,
    RULE,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    settle,
    wrap,
)
from doe.appraisal.sought import WANTED_POWER
from doe.appraisal.summary import effect_words
from doe.appraisal.told import Told

WIDTH = 6.4
_LABEL = 40
_ROW = 0.22


@in_house_look
def draw_power(plans: Sequence[Pictured]) -> Drawn:
    """Draw the power of the settings' effects and of every other term.

    Args:
        plans: One or two plans that can estimate the model, and the same model.
    """
    asked = plans[0].appraisal.asked
    hardest = min(asked.sought, key=lambda sought: sought.ratio)
    title = f"Chance of seeing {effect_words(hardest)} over a range, {model_words(plans)}"
    rows = [_rows(one) for one in plans]
    labels = [wrap(told.name, _LABEL) for told in rows[0]]
    heights = [_ROW + 0.11 * label.count("\n") for label in labels]
    figure = new_figure(WIDTH, 1.1 + sum(heights) + 0.2 * (len(plans) > 1), title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    places = np.array(heights) / 2 - np.cumsum(heights)
    for y in places:
        axes.axhline(y, color=RULE, linewidth=0.4, zorder=0)
    axes.axvspan(WANTED_POWER, 1.0, color=BAND, alpha=0.45, linewidth=0, zorder=0)
    axes.annotate(
        f"{WANTED_POWER:g} and more", (WANTED_POWER, 0.08), xytext=(0, 2),
        textcoords="offset points", fontsize=LABEL_SIZE - 1, color=FAINT_INK,
    )  # fmt: skip
    for i, (one, told) in enumerate(zip(plans, rows, strict=True)):
        colour = LOOKS[i][0]
        powers = np.array([np.nan if t.power is None else t.power for t in told])
        if i == 0:
            axes.barh(
                places, powers, height=0.6 * _ROW, color=colour, alpha=0.85, linewidth=0, zorder=2
            )
        if len(plans) > 1:
            axes.scatter(
                powers, places, marker=MARKS[i], s=24, facecolor=colour if i == 0 else "#ffffff",
                edgecolor=colour, linewidth=1.0, zorder=3 + i, label=one.name, clip_on=False,
            )  # fmt: skip
        for y, t in zip(places, told, strict=True):
            if t.power is None and i == 0:
                axes.annotate(
                    "can't be tested", (0.01, y), va="center", fontsize=LABEL_SIZE - 1,
                    color=FAINT_INK,
                )  # fmt: skip
    axes.set_yticks(places, labels)
    axes.set_ylim(-sum(heights) - 0.08, 0.08)
    axes.set_xlim(0.0, 1.0)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    label_axes(axes, f"power at a chance of {asked.alpha:g} for a false alarm", "", x_width=60)
    if len(plans) > 1:
        figure.legend(loc="outside lower center", ncols=2, frameon=False, fontsize=LABEL_SIZE)
    return Drawn(
        name="power",
        kind="power",
        subject="",
        title=title,
        caption="Effects are differences between the ends of a range (a square: end against "
        f"centre; a choice: the largest pair; a share: along Cox's direction). Band: {WANTED_POWER}"
        " and more, as usually asked for. Settings first, then the other terms of the model.",
        figure=settle(figure),
    )


def _rows(one: Pictured) -> list[Told]:
    """Give the settings' effects, then the terms that are not one of them."""
    settings = list(one.appraisal.settings)
    known = {told.name for told in settings}
    others = [
        told for told in one.appraisal.terms if told.name not in known and told.name != "intercept"
    ]
    return [*settings, *others]

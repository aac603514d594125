"""How far the compromise moves without each run, batch and day."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from analysis.choice.influential import FAR, Influence, InfluenceOnChoice
from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    OXIDE,
    PAPER,
    ROOM,
    TICK_SIZE,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    settle,
)

# Units named on a panel: more names would run into each other.
NAMED = 3


@in_house_look
def draw_influence(found: InfluenceOnChoice) -> Drawn:
    """Draw one panel a kind of unit: the furthest move of a setting without each.

    Args:
        found: The influence of every unit; at least one.
    """
    kinds = list(dict.fromkeys(one.unit.kind for one in found.units))
    title = "How far the compromise moves without single runs, batches or days"
    figure = new_figure(7.2, 0.9 + 1.7 * len(kinds), title)
    panels = figure.subplots(len(kinds), 1, squeeze=False, sharey=True)
    top = max(2 * FAR, *(1.25 * one.reach for one in found.units))
    for kind, panel in zip(kinds, panels[:, 0], strict=True):
        own = [one for one in found.units if one.unit.kind == kind]
        _panel(as_axes(panel), sorted(own, key=lambda one: one.unit.number), kind, top)
    return Drawn(
        name="influence", kind="influence", subject="", title=title, caption=_caption(kinds),
        figure=settle(figure),
    )  # fmt: skip


def _panel(axes: Axes, units: Sequence[Influence], kind: str, top: float) -> None:
    plain_axes(axes)
    x = np.arange(len(units), dtype=np.float64)
    y = np.array([100 * one.reach for one in units])
    far = y > 100 * FAR
    axes.axhline(100 * FAR, color=FAINT_INK, linewidth=0.8, linestyle=(0, (5, 3)), zorder=1)
    axes.vlines(x, 0.0, y, color=FAINT_INK, linewidth=0.8, zorder=2)
    axes.scatter(x[~far], y[~far], s=18, color=ROOM, edgecolor=INK, linewidth=0.5, zorder=3)
    axes.scatter(
        x[far], y[far], s=26, marker="D", color=OXIDE, edgecolor=INK, linewidth=0.5, zorder=3
    )
    for i in sorted(range(len(units)), key=lambda i: -y[i])[:NAMED]:
        axes.annotate(
            units[i].unit.words, (float(x[i]), float(y[i])), xytext=(0, 5),
            textcoords="offset points", ha="center", va="bottom", fontsize=TICK_SIZE,
            color=OXIDE if far[i] else INK, zorder=4,
            # Paper behind the name, so that the line does not strike it out.
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6},
        )  # fmt: skip
    every = max(1, len(units) // 12)
    axes.set_xticks(x[::every], [str(one.unit.number) for one in units][::every])
    axes.set_ylim(0.0, 100 * top)
    axes.set_xlim(-0.8, len(units) - 0.2)
    label_axes(axes, f"{kind} left out", "furthest move, % of range")


def _caption(kinds: Sequence[str]) -> str:
    return (
        "Every response is fitted again without the unit and the compromise chosen again; shown is "
        "the setting that moves furthest, as a part of its range. Dashed: "
        f"{100 * FAR:g} % of the range, beyond which a bench would call it another recipe (common "
        "practice, no source): a move below the line is of no account, units beyond it are "
        f"diamonds.{_without_batches(kinds)} A unit that moves the compromise is worth a second "
        "look, not a reason to leave it out."
    )


def _without_batches(kinds: Sequence[str]) -> str:
    """Say why a kind of unit has no panel; nothing where all have one."""
    missing = [name for kind, name in (("batch", "batches"), ("day", "days")) if kind not in kinds]
    if not missing:
        return ""
    named = " and ".join(missing)
    return (
        f" There is no panel of {named}: they are left out as a whole only where one holds several "
        "runs, not all of them and not those of another unit; a batch of a single run is that run."
    )

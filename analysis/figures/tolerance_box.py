"""The tolerance box: how far every setting may be set off the choice, all at once."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    LABEL_SIZE,
    OXIDE,
    PAPER,
    ROOM,
    TICK_SIZE,
    as_axes,
    in_house_look,
    new_figure,
    number_text,
    settle,
    wrap,
)
from analysis.risk.tolerance import ToleranceBox, ToleranceSide
from analysis.risk.words import of_hundred
from doe.model.coding import ChoiceAxis, Coding

# Inches of a row, and the height of a strip in it.
ROW, STRIP = 0.62, 0.24


@in_house_look
def draw_tolerance_box(box: ToleranceBox, coding: Coding, *, around: str) -> Drawn:
    """Draw one strip a setting: its range, the box in it, the choice, what the plant holds.

    Args:
        box: The box; not an empty one.
        coding: The axes, for the whole range of each setting.
        around: What it is around, such as `the recommended recipe`.
    """
    wanted = f"{100 * box.level:g}"
    title = f"How far one may set off {around}: {wanted} of 100 batches meet every limit"
    figure = new_figure(7.6, 0.8 + ROW * len(box.sides), title)
    axes = as_axes(figure.subplots())
    axes.set_axis_off()
    axes.set_xlim(-0.5, 1.08)
    axes.set_ylim(-len(box.sides) + 0.1, 0.45)
    for i, side in enumerate(box.sides):
        _strip(axes, -float(i), side, coding)
    least = of_hundred(box.least.value, box.least.error)
    makes_room = any(side.is_share for side in box.sides)
    return Drawn(
        name="tolerance-box",
        kind="tolerance box",
        subject="",
        title=title,
        caption=(
            f"Each strip is the whole range of a setting, the dark part the box: set anywhere in "
            f"all of them at once, at least {wanted} of 100 production batches meet every limit "
            f"(least found {least}, tried at {box.tried} places inside, on faces and corners). "
            "The upright mark is the choice, the bracket below what the plant holds about it (± 2 "
            "standard deviations), which the probability counts already. Ends are rounded inward."
            + (
                " Shares move by their own grams, the others making room at the same dose."
                if makes_room
                else ""
            )
        ),
        figure=settle(figure),
    )


def _strip(axes: Axes, y: float, side: ToleranceSide, coding: Coding) -> None:
    axis = coding.axes[coding.index(side.setting)]
    assert not isinstance(axis, ChoiceAxis)
    low, high = min(axis.low, side.low), max(axis.high, side.high)
    span = (high - low) or 1.0
    left, right, at = ((value - low) / span for value in (side.low, side.high, side.at))
    axes.add_patch(
        Rectangle((0, y - STRIP / 2), 1.0, STRIP, facecolor=PAPER, edgecolor=FAINT_INK, lw=0.8)
    )
    axes.add_patch(
        Rectangle(
            (left, y - STRIP / 2), max(right - left, 0.004), STRIP, facecolor=ROOM, edgecolor=INK,
            lw=0.8,
        )
    )  # fmt: skip
    ends = [y - STRIP / 2 - 0.05, y + STRIP / 2 + 0.05]
    axes.plot([at, at], ends, color=PAPER, linewidth=4.5, zorder=4)
    axes.plot([at, at], ends, color=OXIDE, linewidth=2.4, zorder=5)
    if side.holds:
        reach = [max(0.0, at - side.holds / span), min(1.0, at + side.holds / span)]
        axes.plot(reach, [y - 0.24, y - 0.24], color=INK, linewidth=1.2, marker="|", markersize=5)
    unit = "" if side.is_share else f" {side.unit}"
    said = f"{number_text(side.low)} to {number_text(side.high)}{unit}"
    axes.text(
        min(max((left + right) / 2, 0.12), 0.9), y + STRIP / 2 + 0.05, said, fontsize=LABEL_SIZE,
        color=INK, ha="center", va="bottom",
    )  # fmt: skip
    for x, value, align in ((0.0, low, "left"), (1.0, high, "right")):
        axes.text(
            x, y - STRIP / 2 - 0.04, number_text(value), fontsize=TICK_SIZE, color=FAINT_INK,
            ha=align, va="top",
        )  # fmt: skip
    name = f"{side.setting} (share)" if side.is_share else side.setting
    axes.text(-0.49, y, wrap(name, 26), fontsize=LABEL_SIZE, color=INK, va="center")

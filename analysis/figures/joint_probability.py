"""The joint probability over two settings: where most production batches meet every limit."""

from __future__ import annotations

import numpy as np
from matplotlib.patches import Rectangle

from analysis.figures.contour_marks import add_legend, mark_compromise, mark_runs
from analysis.figures.contours import GridCanvas
from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    FORBIDDEN,
    OXIDE,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    number_text,
    plain_axes,
    settle,
    with_unit,
)
from analysis.figures.probability_marks import (
    add_probability_scale,
    draw_limits,
    draw_probability,
    mark_robust,
    probability_keys,
)
from analysis.figures.region_edge import cover_outside
from analysis.risk.tolerance import ToleranceBox
from analysis.risk.window import ProbabilitySlice
from doe.study.settings import FloatArray


@in_house_look
def draw_joint_probability(
    found: ProbabilitySlice,
    *,
    wanted: float,
    mark: tuple[float, float] | None = None,
    robust: tuple[float, float] | None = None,
    box: ToleranceBox | None = None,
    runs: FloatArray | None = None,
) -> Drawn:
    """Draw the probability over two settings, the others held.

    Args:
        found: The probability on its grid.
        wanted: Probability whose line is drawn, 0..1.
        mark: Where the recommended recipe stands, lab units.
        robust: Where the most probable settings stand.
        box: The tolerance box, if it is around the recipe that the slice goes through.
        runs: Shape (n, 2), the two settings of the runs near the slice.
    """
    slice_ = found.slice_
    title = f"How many production batches meet every limit, over {slice_.x} and {slice_.y}"
    figure = new_figure(5.6, 5.5, title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    axes.set_facecolor(FORBIDDEN)
    canvas = GridCanvas(axes=axes, x=slice_.x_values, y=slice_.y_values, inside=slice_.inside)
    cover_outside(axes, slice_.x_values, slice_.y_values, slice_.inside)
    p, inside = found.probability, slice_.inside
    filled = draw_probability(axes, canvas, p, inside, wanted)
    limits = draw_limits(canvas, slice_.limits, slice_.values, inside)
    ends = _box_ends(box, slice_.x, slice_.y)
    if ends is not None:
        x, y, width, height = ends
        axes.add_patch(
            Rectangle((x, y), width, height, fill=False, edgecolor=OXIDE, linewidth=1.8, zorder=8)
        )
    has_runs = runs is not None and len(runs) > 0
    if runs is not None and has_runs:
        mark_runs(axes, runs[:, 0], runs[:, 1])
    if robust is not None:
        mark_robust(axes, *robust)
    if mark is not None:
        mark_compromise(axes, *mark)
    axes.set_xlim(float(slice_.x_values[0]), float(slice_.x_values[-1]))
    axes.set_ylim(float(slice_.y_values[0]), float(slice_.y_values[-1]))
    label_axes(axes, with_unit(slice_.x, slice_.x_unit), with_unit(slice_.y, slice_.y_unit))
    add_probability_scale(figure, filled, axes)
    has = {
        "choice": mark is not None, "robust": robust is not None, "runs": has_runs,
        "line": bool(np.nanmin(p) < wanted < np.nanmax(p)), "box": ends is not None,
        "outside": not bool(np.all(inside)),
    }  # fmt: skip
    add_legend(figure, probability_keys(limits, wanted, has=has))
    return Drawn(
        name="joint-probability",
        kind="joint probability",
        subject="",
        title=title,
        caption=probability_caption(slice_.held, box=ends is not None),
        figure=settle(figure),
    )


def probability_caption(held: object, *, box: bool) -> str:
    """Say what the probability is, what is held and what the box means."""
    words = (
        "Of 100 production batches set here, how many meet every limit at once as tested: "
        "weighing, scatter of settings, drift, day, batch and test, and what the models do not "
        "know are all in it"
    )
    if isinstance(held, dict) and held:
        told = [f"{n} {v if isinstance(v, str) else number_text(v)}" for n, v in held.items()]
        words += f"; the other settings are held at: {'; '.join(told)}"
    words += ". Broken lines are where the predicted value itself meets a limit: on them one limit "
    words += "alone is missed by about every second batch."
    if box:
        words += (
            " In the box, whatever the other settings are inside theirs, the wanted probability "
            "holds. It is smaller than the zone because in it all settings move at once, while "
            "over the zone the others are held."
        )
    return words


def _box_ends(box: ToleranceBox | None, x: str, y: str) -> tuple[float, float, float, float] | None:
    if box is None or box.is_empty:
        return None
    sides = {side.setting: side for side in box.sides}
    if x not in sides or y not in sides:
        return None
    a, b = sides[x], sides[y]
    return a.low, b.low, a.high - a.low, b.high - b.low

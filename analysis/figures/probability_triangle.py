"""The joint probability over the package: the triangle of three additives."""

from __future__ import annotations

from itertools import product

import numpy as np
from matplotlib.patches import Polygon
from scipy.spatial import ConvexHull, QhullError

from analysis.figures.contour_marks import add_legend, mark_compromise, mark_runs
from analysis.figures.drawn import Drawn
from analysis.figures.joint_probability import probability_caption
from analysis.figures.looks import (
    FORBIDDEN,
    INK,
    OXIDE,
    as_axes,
    in_house_look,
    new_figure,
    settle,
)
from analysis.figures.package_contours import TriangleCanvas
from analysis.figures.probability_marks import (
    add_probability_scale,
    draw_limits,
    draw_probability,
    mark_robust,
    probability_keys,
)
from analysis.figures.triangle import CORNERS, TriangleFrame, draw_frame
from analysis.risk.tolerance import ToleranceBox
from analysis.risk.window import ProbabilityTriangle
from doe.study.settings import FloatArray

# Rounding of shares that add up.
SLACK = 1e-9
BOX_WORDS = (
    " The box drawn is the part of the tolerance box where the three shares add up; its strips say "
    "how far each additive's amount may go by itself."
)


@in_house_look
def draw_probability_triangle(
    found: ProbabilityTriangle,
    *,
    wanted: float,
    mark: FloatArray | None = None,
    robust: FloatArray | None = None,
    box: ToleranceBox | None = None,
    runs: FloatArray | None = None,
) -> Drawn:
    """Draw the probability over three additives, all else held.

    Args:
        found: The probability at its shares.
        wanted: Probability whose line is drawn, 0..1.
        mark: Shape (3,), shares of the recommended recipe.
        robust: Shape (3,), of the most probable settings.
        box: The tolerance box, if it is around the recipe that the triangle goes through.
        runs: Shape (n, 3), shares of the runs near the slice.
    """
    slice_ = found.slice_
    title = "How many production batches meet every limit, over the package"
    figure = new_figure(5.6, 5.4, title)
    axes = as_axes(figure.subplots())
    frame = TriangleFrame.around(slice_.names, slice_.outline)
    axes.fill(*CORNERS.T, facecolor=FORBIDDEN, edgecolor="none", zorder=0)
    outline = frame.project(slice_.outline)
    canvas = TriangleCanvas(
        axes=axes, places=frame.project(slice_.shares), inside=slice_.inside, outline=outline
    )
    p, inside = found.probability, slice_.inside
    filled = draw_probability(axes, canvas, p, inside, wanted)
    limits = draw_limits(canvas, slice_.limits, slice_.values, inside)
    axes.fill(*outline.T, facecolor="none", edgecolor=INK, linewidth=1.3, zorder=6)
    draw_frame(axes, frame)
    corners = _box_corners(box, slice_.names, frame.total)
    if corners is not None:
        axes.add_patch(
            Polygon(frame.project(corners), fill=False, edgecolor=OXIDE, linewidth=1.8, zorder=8)
        )
    has_runs = runs is not None and len(runs) > 0
    if runs is not None and has_runs:
        mark_runs(axes, *frame.project(runs).T)
    if robust is not None and abs(float(robust.sum()) - frame.total) < 1e-6:
        mark_robust(axes, *map(float, frame.project(robust[None, :])[0]))
    if mark is not None:
        mark_compromise(axes, *map(float, frame.project(mark[None, :])[0]))
    add_probability_scale(figure, filled, axes)
    within = p[inside]
    has = {
        "choice": mark is not None, "robust": robust is not None, "runs": has_runs,
        "line": bool(within.min() < wanted < within.max()), "box": corners is not None,
        "outside": True,
    }  # fmt: skip
    add_legend(figure, probability_keys(limits, wanted, has=has))
    return Drawn(
        name="probability-triangle",
        kind="probability triangle",
        subject="",
        title=title,
        caption=probability_caption(dict(slice_.held), box=corners is not None)
        + " Shares of active matter; ticks lean the way their share is read."
        + (BOX_WORDS if corners is not None else ""),
        figure=settle(figure),
    )


def _box_corners(
    box: ToleranceBox | None, names: tuple[str, str, str], total: float
) -> FloatArray | None:
    """Give the corners of the part of the box where the shares add up, in order, shape (v, 3).

    Amounts in the box need not add up; as shares of their sum they would reach beyond its limits.
    """
    if box is None or box.is_empty:
        return None
    sides = {side.setting: side for side in box.sides if side.is_share}
    if not all(name in sides for name in names):
        return None
    ends = [(sides[n].low, sides[n].high) for n in names]
    corners = [
        corner
        for open_place in range(3)
        for pair in product(*(ends[i] for i in range(3) if i != open_place))
        if ends[open_place][0] - SLACK <= total - sum(pair) <= ends[open_place][1] + SLACK
        for corner in [np.insert(np.array(pair), open_place, total - sum(pair))]
    ]
    shares: FloatArray = np.array(corners)
    try:
        hull = ConvexHull(shares[:, :2])
    except (QhullError, ValueError, IndexError):
        return None
    return shares[hull.vertices]

"""The triangle that three shares of a package span: projection, frame, ticks and names.

Corners stand at (0, 0), (1, 0) and (1/2, √3/2): first additive at the top, second at the lower
left, third at the lower right. The frame is the smallest upright triangle that holds the region,
so a package that varies little still fills the figure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from analysis.figures.looks import FAINT_INK, INK, LABEL_SIZE, RULE, TICK_SIZE, number_text, wrap
from doe.study.settings import FloatArray

HEIGHT = 3**0.5 / 2
CORNERS = np.array([[0.5, HEIGHT], [0.0, 0.0], [1.0, 0.0]])
TICK_LENGTH = 0.018


@dataclass(frozen=True, slots=True, kw_only=True)
class TriangleFrame:
    """The part of the whole triangle that is drawn.

    Attributes:
        names: The three additives: top, lower left, lower right.
        lows: The least share of each in the frame.
        total: What the three shares add to.
    """

    names: tuple[str, str, str]
    lows: tuple[float, float, float]
    total: float = 1.0

    @property
    def span(self) -> float:
        """The width of the frame in shares."""
        return self.total - sum(self.lows)

    @classmethod
    def around(cls, names: Sequence[str], shares: FloatArray) -> TriangleFrame:
        """Frame some points of the package.

        Args:
            names: The three additives.
            shares: Shape (n, 3), proportions with one common sum.
        """
        total = float(np.mean(shares.sum(axis=1)))
        spare = total - float(shares.min(axis=0).sum())
        # A margin of a thirtieth keeps the outline off the frame; shares are never negative.
        lows = np.maximum(shares.min(axis=0) - spare / 30, 0.0)
        top, left, right = names
        a, b, c = (float(low) for low in lows)
        return cls(names=(top, left, right), lows=(a, b, c), total=total)

    def project(self, shares: FloatArray) -> FloatArray:
        """Find where shares lie on the paper.

        Args:
            shares: Shape (n, 3), proportions that add to `total`.

        Returns:
            Shape (n, 2); the frame has unit sides.

        Example:
            >>> frame = TriangleFrame(names=("a", "b", "c"), lows=(0.0, 0.0, 0.0))
            >>> frame.project(np.array([[0.0, 0.0, 1.0]]))
            array([[1., 0.]])
        """
        scaled = (shares - np.asarray(self.lows)) / self.span
        places: FloatArray = scaled @ CORNERS
        return places


def draw_frame(axes: Axes, frame: TriangleFrame) -> None:
    """Draw sides, ticks along each side with grid lines, and the names of the additives."""
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.fill(*CORNERS.T, facecolor="none", edgecolor=INK, linewidth=0.9, zorder=6)
    for i in range(3):
        _draw_scale(axes, frame, i)
    axes.set_xlim(-0.15, 1.15)
    axes.set_ylim(-0.24, HEIGHT + 0.16)


def _draw_scale(axes: Axes, frame: TriangleFrame, i: int) -> None:
    """Draw the scale of one additive along the side that leads up to its corner."""
    low = frame.lows[i]
    # The additive rises from the corner before it to its own corner, anticlockwise: along that
    # side the third additive stays at its low.
    foot, side_mate = ((2, 1), (0, 2), (1, 0))[i]
    top = low + frame.span
    for value in MaxNLocator(nbins=6, steps=[1, 2, 2.5, 5, 10]).tick_values(low, top):
        if not low - 1e-9 <= value <= top + 1e-9:
            continue
        along = (value - low) / frame.span
        start = CORNERS[foot] + along * (CORNERS[i] - CORNERS[foot])
        end = CORNERS[side_mate] + along * (CORNERS[i] - CORNERS[side_mate])
        axes.plot(*np.array([start, end]).T, color=RULE, linewidth=0.5, zorder=0.5)
        out = CORNERS[foot] - CORNERS[side_mate]
        tick = start + TICK_LENGTH * out
        axes.plot(*np.array([start, tick]).T, color=FAINT_INK, linewidth=0.7, zorder=6)
        x, y = (float(part) for part in start + 2.4 * TICK_LENGTH * out)
        axes.text(
            x, y, number_text(round(float(value), 10)),
            fontsize=TICK_SIZE, color=INK,
            ha=("left", "right", "center")[i], va=("center", "center", "top")[i],
        )  # fmt: skip
    _name_corner(axes, frame, i)


def _name_corner(axes: Axes, frame: TriangleFrame, i: int) -> None:
    """Write the name outside its corner, with the side its share is read on."""
    place = ((0.5, HEIGHT + 0.06), (-0.14, -0.09), (1.14, -0.09))[i]
    side = ("right side", "left side", "bottom")[i]
    x, y = place
    axes.text(
        x, y, f"{wrap(frame.names[i], 24)}\n(share, {side})",
        fontsize=LABEL_SIZE, color=INK, linespacing=1.2,
        ha=("center", "left", "right")[i], va=("bottom", "top", "top")[i],
    )  # fmt: skip

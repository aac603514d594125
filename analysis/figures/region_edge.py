"""The edge of the region on a grid, drawn straight where it is straight."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Polygon
from matplotlib.path import Path
from scipy.ndimage import distance_transform_edt, gaussian_filter
from scipy.spatial import ConvexHull, QhullError

from analysis.figures.looks import FORBIDDEN, INK
from doe.study.settings import BoolArray, FloatArray

# Cells over which a bent edge is smoothed: a step of one cell disappears.
EDGE_SMOOTHING = 2.0
EDGE_MARGIN = 8


def cover_outside(axes: Axes, x: FloatArray, y: FloatArray, inside: BoolArray) -> None:
    """Paint over what lies outside the region and draw its edge.

    Args:
        axes: Where the surface was drawn, over the whole grid.
        x: Shape (g,), rising.
        y: Shape (h,), rising.
        inside: Shape (h, g).
    """
    if np.all(inside) or not np.any(inside):
        return
    outline = convex_outline(inside)
    if outline is None:
        _cover_bent(axes, x, y, inside)
        return
    corners = np.column_stack(
        [
            np.interp(outline[:, 0], np.arange(len(x)), x),
            np.interp(outline[:, 1], np.arange(len(y)), y),
        ]
    )
    frame = np.array([[x[0], y[0]], [x[-1], y[0]], [x[-1], y[-1]], [x[0], y[-1]]])
    # A path inside a path that runs the other way round is a hole.
    hole = Path.make_compound_path(_closed(frame), _closed(corners[::-1]))
    axes.add_patch(PathPatch(hole, facecolor=FORBIDDEN, edgecolor="none", zorder=5.5))
    axes.add_patch(Polygon(corners, facecolor="none", edgecolor=INK, linewidth=0.8, zorder=5.6))


def convex_outline(inside: BoolArray) -> FloatArray | None:
    """Find the corners of a convex region on a grid, in cells.

    Args:
        inside: Shape (h, g).

    Returns:
        Shape (v, 2), column and row of each corner, anticlockwise; None where the region is not
        convex, or only a line.
    """
    rows, columns = np.nonzero(inside)
    points = np.column_stack([columns, rows]).astype(np.float64)
    try:
        hull = ConvexHull(points)
    except (QhullError, ValueError):
        return None
    rows, columns = np.nonzero(~inside)
    beyond = np.column_stack([columns, rows, np.ones(len(rows))])
    holds = np.all(beyond @ hull.equations.T <= 1e-9, axis=1)
    corners: FloatArray = points[hull.vertices]
    return None if np.any(holds) else corners


def cells_beyond(inside: BoolArray) -> FloatArray:
    """Give how many cells each point lies beyond the edge of the region, negative inside it.

    A smoothed distance makes a slanting edge straight where the truth values alone make steps.
    """
    beyond = distance_transform_edt(~inside) - distance_transform_edt(inside)
    # Carried on straight past the frame, so that the edge meets the frame without a bend.
    margin = min(EDGE_MARGIN, *(size - 1 for size in beyond.shape))
    carried_on = np.pad(beyond, margin, mode="reflect", reflect_type="odd")
    smooth = gaussian_filter(carried_on, EDGE_SMOOTHING)
    kept: FloatArray = smooth[margin:-margin, margin:-margin]
    return kept


def _cover_bent(axes: Axes, x: FloatArray, y: FloatArray, inside: BoolArray) -> None:
    beyond = cells_beyond(inside)
    top = float(beyond.max()) + 1.0
    axes.contourf(x, y, beyond, levels=[0.0, top], colors=FORBIDDEN, zorder=5.5)
    axes.contour(x, y, beyond, levels=[0.0], colors=INK, linewidths=0.8, zorder=5.6)


def _closed(corners: FloatArray) -> Path:
    return Path(np.vstack([corners, corners[:1]]), closed=True)

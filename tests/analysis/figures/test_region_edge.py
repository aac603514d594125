"""The edge of the region on a grid."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from analysis.figures.region_edge import cells_beyond, convex_outline, cover_outside

X, Y = np.meshgrid(np.arange(61.0), np.arange(61.0))


def test_a_slanting_limit_is_drawn_within_a_cell_of_where_it_lies() -> None:
    """No steps of the grid along it."""
    outline = convex_outline(X + 0.93 * Y <= 60.0)

    assert outline is not None
    slanting = outline[(outline > 0).all(axis=1)]
    distance = (60.0 - slanting @ [1.0, 0.93]) / np.hypot(1.0, 0.93)
    assert np.all((distance >= 0) & (distance < 1.0))


def test_a_rectangle_keeps_its_four_corners() -> None:
    """The plainest region of all."""
    outline = convex_outline((X >= 10) & (Y <= 50))

    assert outline is not None
    assert {tuple(corner) for corner in outline.tolist()} == {(10, 0), (60, 0), (60, 50), (10, 50)}


def test_a_region_with_a_corner_cut_out_is_not_convex() -> None:
    """A forbidden combination bends the edge inwards."""
    assert convex_outline((X < 30) | (Y < 30)) is None


def test_a_line_has_no_outline() -> None:
    """A factor with numeric levels may leave a single column."""
    assert convex_outline(X == 30) is None


def test_a_bent_edge_lies_within_a_cell_and_a_half() -> None:
    """Smoothing rounds the inner corner and little else."""
    inside = (X < 30) | (Y < 30)
    beyond = cells_beyond(inside)

    assert np.all(beyond[~inside & (X > 32) & (Y > 32)] > 0)
    assert np.all(beyond[inside & ((X < 27) | (Y < 27))] < 0)


def test_every_kind_of_region_can_be_covered() -> None:
    """Convex, bent, whole, empty."""
    for inside in (X + Y < 60, (X < 30) | (Y < 30), X >= 0, X < 0):
        axes = Figure().subplots()
        cover_outside(axes, X[0], Y[:, 0], inside)

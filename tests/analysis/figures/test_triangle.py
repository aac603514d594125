"""The triangle of a package: where shares lie on the paper."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure

from analysis.figures.triangle import CORNERS, TriangleFrame, draw_frame

NAMES = ("a", "b", "c")


@given(st.floats(0, 0.3), st.floats(0, 0.3), st.floats(0, 0.3))
def test_pure_corners_of_the_frame_lie_on_its_corners(a: float, b: float, c: float) -> None:
    """The frame is the triangle between the least shares."""
    frame = TriangleFrame(names=NAMES, lows=(a, b, c))
    shares = np.array([a, b, c]) + frame.span * np.eye(3)

    np.testing.assert_allclose(frame.project(shares), CORNERS, atol=1e-9)


@given(st.floats(0.05, 0.9), st.floats(0.05, 0.9))
def test_equal_shares_of_one_additive_lie_on_a_line_along_the_opposite_side(
    first: float, along: float
) -> None:
    """Grid lines of the top additive run level."""
    frame = TriangleFrame(names=NAMES, lows=(0.0, 0.0, 0.0))
    rest = 1 - first
    shares = np.array([[first, rest * along, rest * (1 - along)], [first, 0.0, rest]])
    places = frame.project(shares)

    assert places[0, 1] == pytest.approx(places[1, 1])


def test_the_frame_holds_the_region_and_never_asks_for_negative_shares() -> None:
    """Including a package that leaves part of its sum to a fourth additive."""
    shares = np.array([[0.0, 0.3, 0.5], [0.2, 0.4, 0.2], [0.1, 0.1, 0.6]])
    frame = TriangleFrame.around(NAMES, shares)
    weights = (shares - np.array(frame.lows)) / frame.span

    assert frame.total == pytest.approx(0.8)
    assert min(frame.lows) >= 0
    assert np.all(weights >= -1e-12)


def test_each_scale_stands_on_the_side_that_its_name_tells() -> None:
    """A share read off the wrong side is a wrong recipe."""
    frame = TriangleFrame(names=NAMES, lows=(0.1, 0.2, 0.3))
    axes = Figure().subplots()
    draw_frame(axes, frame)
    top, left, bottom = ([], [], [])
    for text in axes.texts:
        if "\n" not in text.get_text():
            side = {"left": top, "right": left, "center": bottom}[text.get_horizontalalignment()]
            side.append((float(text.get_text()), *text.get_position()))

    # On the right side the left additive is at its least, and so on round the triangle.
    for share, x, y in top:
        place = frame.project(np.array([[share, 0.2, 0.8 - share]]))[0]
        assert y == pytest.approx(place[1])
        assert 0 < x - place[0] < 0.06
    for share, x, y in left:
        place = frame.project(np.array([[0.7 - share, share, 0.3]]))[0]
        assert np.hypot(x - place[0], y - place[1]) < 0.06
        assert x < place[0]
    for share, x, y in bottom:
        place = frame.project(np.array([[0.1, 0.9 - share, share]]))[0]
        assert np.hypot(x - place[0], y - place[1]) < 0.06
        assert y < place[1]
    assert min(len(top), len(left), len(bottom)) >= 4

"""Levels and margins of contour figures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.figures.contour_marks import LEVELS, contour_levels
from analysis.figures.margins import worst_margin
from analysis.surface.acceptance import AcceptLimit

AT_MOST = AcceptLimit(response="viscosity", unit="mPa·s", limit=600.0, side=1)
AT_LEAST = AcceptLimit(response="strength", unit="%", limit=97.0, side=-1)


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6))
def test_levels_enclose_every_value_and_stay_few(low: float, width: float) -> None:
    """A value outside the levels would stay white."""
    levels = contour_levels(np.array([low, low + width, np.nan]))

    assert np.all(np.diff(levels) > 0)
    # Values are clipped to the levels, so a rounding error beyond the last one does not show.
    slack = 1e-9 * max(abs(low), width)
    assert levels[0] <= low + slack
    assert levels[-1] >= low + width - slack
    assert len(levels) <= LEVELS + 3


@given(st.floats(1e-3, 1e3), st.floats(4.5, 1e4))
def test_steep_surfaces_get_levels_of_about_equal_ratio(low: float, ratio: float) -> None:
    """Viscosity over dose falls by decades; equal steps would leave it one hue."""
    levels = contour_levels(np.array([low, low * ratio]))

    assert np.max(levels[1:] / levels[:-1]) <= 10.0 + 1e-6
    assert levels[0] > 0


@pytest.mark.parametrize("value", [0.0, 7.0, -3.0, 1e-12])
def test_a_flat_surface_has_two_levels_around_it(value: float) -> None:
    """One colour, no division by nothing."""
    low, high = contour_levels(np.array([value, value]))

    assert low < value < high


def test_the_worst_margin_is_negative_exactly_where_some_limit_is_broken() -> None:
    """The hatching ends on the limit, whichever response it is of."""
    values = {
        "viscosity": np.array([500.0, 700.0, 600.0, 500.0]),
        "strength": np.array([98.0, 98.0, 97.0, 96.0]),
    }
    margin = worst_margin((AT_MOST, AT_LEAST), values)

    assert margin is not None
    np.testing.assert_array_equal(np.sign(margin), [1, -1, 0, -1])


def test_limits_on_other_responses_give_no_margin() -> None:
    """Nothing to hatch by."""
    assert worst_margin((AT_MOST,), {"uptake": np.array([1.0])}) is None

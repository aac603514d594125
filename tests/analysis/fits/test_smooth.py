"""The local trend of a residual plot."""

from __future__ import annotations

import numpy as np

from analysis.fits.smooth import local_trend


def test_a_straight_line_is_its_own_trend_in_any_order() -> None:
    """Local lines follow a line exactly (Cleveland 1979, section 2)."""
    rng = np.random.default_rng(4)
    x = rng.permutation(np.linspace(0.0, 9.0, 25))
    trend = local_trend(x, 3.0 - 0.5 * x)

    assert trend is not None
    np.testing.assert_allclose(trend[:, 1], 3.0 - 0.5 * trend[:, 0], atol=1e-9)
    assert (np.diff(trend[:, 0]) > 0).all()


def test_one_wild_run_does_not_bend_the_trend() -> None:
    """Robust weights take the outlier out."""
    x = np.linspace(0.0, 9.0, 25)
    y = np.where(np.arange(25) == 12, 40.0, 1.0)
    trend = local_trend(x, y)

    assert trend is not None
    np.testing.assert_allclose(trend[:, 1], 1.0, atol=0.05)


def test_few_places_have_no_trend() -> None:
    """A two-level factor shows two heaps, not a trend."""
    assert local_trend(np.repeat([0.0, 1.0], 10), np.arange(20.0)) is None

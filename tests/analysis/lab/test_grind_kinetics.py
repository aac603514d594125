"""Grind kinetics: plateau reached or not, nothing seen, all over at the first time."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from analysis.lab.grind_kinetics import fit_grind
from doe.errors import ResultsError

TIMES = np.array([10.0, 20.0, 35.0, 60.0])


def test_three_parameters_agree_with_an_independent_fit() -> None:
    """Levenberg-Marquardt with numerical derivatives, errors and all."""
    value = np.array([77.4, 88.9, 98.3, 102.4])
    fit = fit_grind(TIMES, value, "first order")
    found, covariance = curve_fit(
        lambda t, limit, rate, start: limit + (start - limit) * np.exp(-rate * t),
        TIMES, value, (100.0, 0.05, 50.0),
    )  # fmt: skip

    assert (fit.limit, fit.rate, fit.start) == pytest.approx(found, rel=1e-6)
    assert fit.limit_error == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-4)
    assert fit.rate_error == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-4)


@pytest.mark.parametrize("rate", [0.06, 0.15])
def test_a_plateau_that_was_reached_is_told(rate: float) -> None:
    """At the last time less than a tenth of the gain is still to come."""
    fit = fit_grind(TIMES, 104.0 - 49.0 * np.exp(-rate * TIMES), "first order")

    assert fit.reaches_plateau()
    assert fit.still_to_come == pytest.approx(math.exp(-rate * 60.0))


@pytest.mark.parametrize("value", [55.0 + 0.5 * TIMES, 104.0 - 49.0 * np.exp(-0.02 * TIMES)])
def test_values_that_still_rise_reach_no_plateau(value: np.ndarray) -> None:
    """A straight line has no limit; a slow approach has one, but far off."""
    assert not fit_grind(TIMES, value, "first order").reaches_plateau()


def test_a_limit_that_few_noisy_times_show_is_not_known() -> None:
    """The curve bends, but its end could lie anywhere."""
    fit = fit_grind(TIMES, np.array([80.0, 91.0, 91.0, 99.0]), "first order")

    assert fit.is_seen
    assert not fit.reaches_plateau()


def test_scatter_is_no_approach() -> None:
    """Equal values, and values that go up and down."""
    for value in ([100.0, 100.0, 100.0, 100.0], [100.0, 98.0, 101.0, 99.0]):
        assert not fit_grind(TIMES, np.array(value), "first order").is_seen


def test_a_plateau_before_the_first_time_leaves_no_rate() -> None:
    """After the jump nothing moves: the limit is known, the rate only bounded."""
    fit = fit_grind(
        np.array([0.0, *TIMES]), np.array([50.0, 100.0, 100.1, 99.9, 100.0]), "first order"
    )

    assert fit.is_over_at_first
    assert fit.reaches_plateau()
    assert fit.limit == pytest.approx(100.0)


def test_fineness_falls_towards_its_limit() -> None:
    """The same law downwards: 60 µm more at the start, 5 µm in the end."""
    fit = fit_grind(TIMES, 5.0 + 60.0 * np.exp(-0.09 * TIMES), "first order")

    assert (fit.limit, fit.start, fit.rate) == pytest.approx((5.0, 65.0, 0.09))


def test_too_few_times_are_refused() -> None:
    """Three parameters need four times."""
    with pytest.raises(ResultsError, match="3 grind times"):
        fit_grind(TIMES[:3], TIMES[:3], "first order")

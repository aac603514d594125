"""Scales: what they take, how they come back, which one the data choose."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.assessment import BoxCox
from analysis.fits.box_cox import automatic_scale, box_cox
from analysis.fits.fit import Scale
from analysis.fits.scales import forward, inverse, log_slope, scale_of, scale_words
from doe.errors import FitError
from doe.study.brief import Response

SCALES = [
    Scale(),
    Scale(name="log"),
    Scale(name="square root"),
    Scale(name="power", power=-0.5),
    Scale(name="power", power=0.0),
    Scale(name="logit", bounds=(0.0, 10.0)),
]


@pytest.mark.parametrize("scale", SCALES, ids=scale_words)
def test_log_slope_is_the_logarithm_of_the_derivative(scale: Scale) -> None:
    """By central differences."""
    y, step = np.array([0.7, 2.0, 6.5]), 1e-6
    slope = (forward(scale, y + step) - forward(scale, y - step)) / (2 * step)

    np.testing.assert_allclose(log_slope(scale, y), np.log(slope), atol=1e-8)


def test_power_zero_is_the_logarithm() -> None:
    """And a tiny power nearly so."""
    y = np.array([0.5, 3.0])

    np.testing.assert_allclose(forward(Scale(name="power", power=0.0), y), np.log(y))
    np.testing.assert_allclose(forward(Scale(name="power", power=1e-9), y), np.log(y), rtol=1e-8)


def test_beyond_the_end_of_a_scale_the_end_is_given() -> None:
    """A prediction below zero on the square root is zero; beyond 2 at λ −0.5 it has no end."""
    assert inverse(Scale(name="square root"), np.array([-0.5]))[0] == 0.0
    assert inverse(Scale(name="power", power=-0.5), np.array([2.5]))[0] == np.inf


@pytest.mark.parametrize(
    ("response", "words"),
    [
        ({"scale": "logit"}, "needs the two ends"),
        ({"scale": "power"}, "needs its power"),
    ],
)
def test_a_scale_without_what_it_needs_is_refused(response: dict[str, str], words: str) -> None:
    """Bounds for logit, λ for power."""
    with pytest.raises(FitError, match=words):
        scale_of(Response.model_validate({"name": "y", **response}))


def test_a_scale_of_another_name_is_refused_with_the_list() -> None:
    """As asked on the command line."""
    with pytest.raises(FitError, match="identity, log, logit, square root, power, auto"):
        scale_of(Response(name="y"), name="cube root")


def _found(power: float, low: float, high: float) -> BoxCox:
    return BoxCox(power=power, interval=(low, high), level=0.95, suggestion="", supported=())


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (None, "identity"),
        (_found(0.6, 0.1, 1.1), "identity"),
        (_found(0.45, 0.1, 0.8), "square root"),
        (_found(0.1, -0.2, 0.7), "log"),
        (_found(-0.75, -1.1, -0.4), "power"),
        (_found(2.0, 1.5, 2.5), "power"),
    ],
)
def test_the_automatic_scale(found: BoxCox | None, expected: str) -> None:
    """As read wherever λ allows 1, else log or square root inside the interval, else the power."""
    assert automatic_scale(found).name == expected


def test_no_power_is_sought_where_values_are_not_positive_or_nothing_is_left() -> None:
    """A zero reading, or two degrees of freedom."""
    basis = np.full((4, 1), 0.5)

    assert box_cox([[1.0], [2.0], [0.0], [3.0]], basis, 3) is None
    assert box_cox([[1.0], [2.0], [4.0], [3.0]], basis, 2) is None


@pytest.mark.parametrize(
    ("found", "power"),
    [
        (_found(-0.75, -1.1, -0.4), -1.0),
        (_found(2.04, 1.5, 2.5), 2.0),
        (_found(1.62, 1.55, 1.7), 1.6),
        (_found(1.623, 1.62, 1.63), 1.62),
    ],
)
def test_a_power_has_the_fewest_digits_that_its_interval_allows(
    found: BoxCox, power: float
) -> None:
    """A power is typed into the brief by hand."""
    assert automatic_scale(found).power == power
    assert found.interval[0] <= power <= found.interval[1]

"""Digits follow the standard error."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.report.rounding import (
    error_text,
    fixed,
    interval_text,
    p_text,
    places_for,
    plain,
    with_error,
)


@pytest.mark.parametrize(
    ("error", "places"),
    [(1.0, 1), (0.1, 2), (0.99, 2), (0.0996, 2), (9.96, 0), (23.0, 0), (230.0, -1), (1e-7, 8)],
)
def test_two_significant_digits_of_the_error_decide_the_places(error: float, places: int) -> None:
    """9.96 rounds to 10, so one place fewer than its first digit suggests."""
    assert places_for(error) == places


@pytest.mark.parametrize("error", [0.0, -1.0, math.nan, math.inf])
def test_no_usable_error_gives_no_places(error: float) -> None:
    """A saturated fit has no error; its numbers get plain digits."""
    assert places_for(error) is None


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e4))
def test_printed_value_lies_within_half_a_last_digit_of_the_error(
    value: float, error: float
) -> None:
    """Rounding never moves a value by more than a twentieth of its error."""
    printed = float(with_error(value, error).replace("−", "-"))

    assert abs(printed - value) <= 0.0501 * error * 1.0001 + 1e-9


@pytest.mark.parametrize(
    ("value", "error", "text"),
    [
        (3.14e-11, 2.1e-13, "3.140e−11"),
        (-3.14e-11, 2.1e-11, "−3.1e−11"),
        (3.14e-17, 2.1e-13, "0"),
        (1134.2, 2.1e-13, "1134.20000000"),
        (3.14e-6, 2.1e-7, "0.00000314"),
    ],
)
def test_a_value_too_small_for_a_place_is_an_exponent_or_nothing(
    value: float, error: float, text: str
) -> None:
    """`0.00000000` says neither; what drowns in its error is 0."""
    assert with_error(value, error) == text
    assert float(error_text(error).replace("−", "-")) == pytest.approx(error, rel=0.05)


@given(st.floats(-1e-3, 1e-3), st.integers(0, 6))
def test_no_number_prints_as_negative_zero(value: float, places: int) -> None:
    """`-0.00` reads as a sign where there is none."""
    text = fixed(value, places)

    assert not (text.startswith(("-", "−")) and float(text[1:]) == 0)


@pytest.mark.parametrize(
    ("p", "text"), [(0.00099, "< 0.001"), (0.001, "0.001"), (0.5, "0.500"), (None, "–")]
)
def test_small_chances_print_as_smaller_than_a_thousandth(p: float | None, text: str) -> None:
    """`0.000` would claim certainty."""
    assert p_text(p) == text


def test_missing_numbers_print_as_a_dash() -> None:
    """NaN must never reach a page."""
    assert [plain(math.nan), plain(math.inf), error_text(math.nan), with_error(None, 1.0)] == [
        "–"
    ] * 4


def test_both_ends_of_an_interval_carry_the_same_places() -> None:
    """Ends of unequal length read as unequal care."""
    assert interval_text(-0.5, 12.3456, 0.21) == "−0.50 to 12.35"

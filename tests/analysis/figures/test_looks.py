"""The house look: wrapping, numbers, and no state left behind."""

from __future__ import annotations

import matplotlib as mpl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.figures.looks import house_look, number_text, sentence_case, text_width, wrap


@given(st.text(max_size=80), st.integers(4, 30))
def test_no_wrapped_line_is_wider_than_asked(text: str, width: int) -> None:
    """A line that is too wide runs into its neighbour."""
    assert all(text_width(line) <= width for line in wrap(text, width).split("\n"))


@given(st.text(max_size=80), st.integers(4, 30))
def test_wrapping_loses_no_character(text: str, width: int) -> None:
    """Only white space may go."""
    assert "".join(wrap(text, width).split()) == "".join(text.split())


def test_full_width_characters_count_twice() -> None:
    """Chinese names need twice the room."""
    assert text_width("分散剂") == 6


@pytest.mark.parametrize(
    ("value", "text"), [(-0.0, "0"), (-1e-20, "−1e−20"), (1234567.0, "1.23457e+06"), (0.5, "0.5")]
)
def test_numbers_on_axes_have_a_true_minus_and_no_negative_zero(value: float, text: str) -> None:
    """As the report prints them."""
    assert number_text(value) == text


@pytest.mark.parametrize(("name", "start"), [("viscosity", "Viscosity"), ("pH drift", "pH drift")])
def test_a_name_with_capitals_of_its_own_keeps_them(name: str, start: str) -> None:
    """`PH` is not what the trade writes."""
    assert sentence_case(name) == start


def test_the_look_is_given_back() -> None:
    """A notebook user's own settings survive."""
    before = dict(mpl.rcParams)
    with house_look():
        assert mpl.rcParams["text.parse_math"] is False

    assert dict(mpl.rcParams) == before

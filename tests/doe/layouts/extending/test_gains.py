"""What a round buys, in words."""

from __future__ import annotations

from doe.layouts.extending.gains import Gains


def said(before: float, after: float) -> str:
    """Give the first sentence for two average variances."""
    gains = Gains(
        model="quadratic", variance=(before, after), differences=(before, after), pure_error=(0, 1)
    )
    return gains.sentences()[0]


def test_a_variance_from_which_nothing_could_be_read_is_no_number_to_compare_with() -> None:
    """From 750 000 to 1.18 the model becomes estimable; from 2.3 to 0.8 it becomes surer."""
    assert "could in effect not be estimated before" in said(7.5e5, 1.18)
    assert "7.5e+05" not in said(7.5e5, 1.18)
    assert "goes from 2.3 to 0.8" in said(2.3, 0.8)

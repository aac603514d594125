"""How a form is typed, and what of a study may be bent."""

from __future__ import annotations

import pytest

from analysis.fits.forms.bendable import OF_DOSE, plain_axis, settings_tried, wanted_form
from doe.errors import FitError
from doe.model.coding import AxisRange, ChoiceAxis, Coding, NumericAxis
from tests.analysis.fits.forms.kinetics import TIMES, kinetics

CODING = Coding(
    axes=(
        NumericAxis(name="dose", unit="%", low=0.5, high=3.0),
        NumericAxis(name="grind time", unit="min", low=5.0, high=60.0),
        NumericAxis(
            name="speed", unit="m/s", low=5.0, high=15.0,
            ranges=(AxisRange(choice="mill", level="bead", low=5.0, high=15.0),),
        ),
        ChoiceAxis(name="mill", levels=("bead", "roll")),
    )
)  # fmt: skip


def test_a_form_is_read_whatever_its_case() -> None:
    """As every other name is."""
    found = wanted_form("Grind Time: First Order", CODING)
    assert found is not None
    assert (found.factor, found.forms) == ("grind time", ("first order",))


def test_a_demand_curve_is_any_of_its_forms() -> None:
    """The readings choose."""
    found = wanted_form("dose: demand curve", CODING)
    assert found is not None
    assert found.forms == OF_DOSE


def test_polynomial_takes_a_form_back() -> None:
    """With or without the factor."""
    assert wanted_form("polynomial", CODING) is None
    assert wanted_form("dose: polynomial", CODING) is None


@pytest.mark.parametrize("text", ["dose: bell", "mill: first order", "speed: coverage", "dose"])
def test_an_unknown_form_is_refused_with_what_is_allowed(text: str) -> None:
    """Also a factor in words, and one whose range hangs on a choice."""
    with pytest.raises(FitError, match="there is no form") as caught:
        wanted_form(text, CODING)
    assert "first order" in str(caught.value)


def test_only_a_factor_with_one_range_is_bent() -> None:
    """Shares, choices and ranged factors are not."""
    known = [axis.name for axis in CODING.axes if plain_axis(axis.name, CODING) is not None]
    assert known == ["dose", "grind time"]


def test_settings_are_counted_as_planned() -> None:
    """Repeats are one setting."""
    data, coding = kinetics(batches=False)
    assert settings_tried(data, coding, "grind time").tolist() == list(TIMES)

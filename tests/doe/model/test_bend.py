"""Forms bend one axis: the ends that they keep, and what they are at settings worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from doe.model.bend import FORM_KINDS, FORMS, Bend, FormName
from doe.model.coding import AxisRange, Coding, NumericAxis, ShareAxis, code, lab_values
from doe.model.information import pseudo_matrix
from doe.model.matrix import column_label, compile_model, model_columns, model_matrix
from doe.model.terms import make_model

SHAPES: dict[FormName, tuple[float, ...]] = {
    "first order": (0.7,),
    "coverage": (0.9,),
    "plateau": (1.5,),
    "two lines": (1.5, 0.4),
    "parabola": (1.8,),
}
DOSE = NumericAxis(name="dose", unit="%", low=0.5, high=4.0)


def _bend(form: FormName) -> Bend:
    return Bend(factor="dose", form=form, shape=SHAPES[form], low=0.5, high=4.0)


@pytest.mark.parametrize("form", [form for form in FORMS if form != "parabola"])
def test_a_bent_axis_starts_at_minus_one(form: FormName) -> None:
    """The low end keeps its code, so that the other terms of a model mean what they meant."""
    assert _bend(form).at(np.array([0.5])).value[0] == pytest.approx(-1.0, abs=1e-14)


@pytest.mark.parametrize("form", ["first order", "coverage", "plateau"])
def test_a_form_without_a_turn_ends_at_one(form: FormName) -> None:
    """So does the high end."""
    assert _bend(form).at(np.array([4.0])).value[0] == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize(
    ("form", "dose", "expected"),
    [
        # 2 (1 − exp(−0.7·1)) / (1 − exp(−0.7·3.5)) − 1
        ("first order", 1.5, 2 * (1 - np.exp(-0.7)) / (1 - np.exp(-2.45)) - 1),
        # θ = 0.9 D / (1 + 0.9 D): 0.310345 at 0.5, 0.574468 at 1.5, 0.782609 at 4
        ("coverage", 1.5, 2 * (0.5744680851 - 0.3103448276) / (0.7826086957 - 0.3103448276) - 1),
        ("plateau", 1.0, 1 - 2 * np.log(1.5) / np.log(3.0)),
        ("plateau", 3.0, 1.0),
        ("two lines", 3.0, 1 - 2 * 0.4 * np.log(2.0) / np.log(3.0)),
        ("parabola", 3.6, (np.log(2.0) / (np.log(8.0) / 2)) ** 2),
    ],
)
def test_a_form_is_what_its_formula_says(form: FormName, dose: float, expected: float) -> None:
    """Worked by hand from the printed formulas; calculated."""
    assert _bend(form).at(np.array([dose])).value[0] == pytest.approx(expected, abs=1e-9)


def test_a_bent_model_has_a_column_for_each_shape_parameter() -> None:
    """The column is named by the factor and the parameter, and stands behind the terms."""
    coding = Coding(axes=(DOSE,))
    weights = np.array([2.0])
    model = replace(make_model("linear", coding), bend=_bend("two lines"))
    known = replace(model, bend=model.bend and model.bend.of_shape(np.array([1.5, 0.4]), weights))

    assert [column_label(column) for column in model_columns(model, coding)] == [
        "intercept", "dose",
    ]  # fmt: skip
    assert [column_label(column) for column in model_columns(known, coding)][2:] == [
        "dose: critical dose", "dose: rise over fall",
    ]  # fmt: skip


def test_a_bent_factor_is_never_squared() -> None:
    """The bend takes the place of the square: both together would be told apart by nothing."""
    coding = Coding(axes=(DOSE,))
    model = replace(make_model("quadratic", coding), bend=_bend("first order"))

    with pytest.raises(ValueError, match="bent and squared"):
        compile_model(coding, model)


def test_a_range_that_hangs_on_a_choice_is_not_bent() -> None:
    """A form has one range to be bent over."""
    ranges = (AxisRange(choice="mill", level="bead", low=1.0, high=2.0),)
    with pytest.raises(ValueError, match="hangs on a choice"):
        lab_values(np.zeros(1), replace(DOSE, ranges=ranges))


def test_a_setting_left_open_stays_open() -> None:
    """NaN in, NaN out, as for a straight axis."""
    coding = Coding(axes=(DOSE,))
    for form in FORMS:
        model = replace(make_model("linear", coding), bend=_bend(form))
        assert np.isnan(model_matrix(np.array([[np.nan]]), coding, model)[0, 1])


def test_pseudo_components_leave_the_column_of_a_shape_alone() -> None:
    """The column is a slope of the value, which no coding of the shares moves."""
    shares = tuple(ShareAxis(name=name, low=0.2, high=0.6) for name in "ab")
    coding = Coding(axes=(*shares, DOSE))
    model = make_model("interactions", coding)
    bend = _bend("coverage").of_shape(np.array([0.9]), np.array([3.0, 1.0]))
    model = replace(model, bend=bend)
    settings = np.array([[0.4, 0.6, 1.0], [0.6, 0.4, 2.0]])

    X = model_matrix(settings, coding, model)
    pseudo = pseudo_matrix(settings, coding, model)
    np.testing.assert_allclose(pseudo[:, -1], X[:, -1], rtol=1e-14)
    assert not np.allclose(pseudo[:, 0], X[:, 0])


def test_every_form_says_what_it_needs() -> None:
    """Each has a formula, and a unit for every parameter."""
    for kind in FORM_KINDS.values():
        assert kind.formula.startswith("y = ")
        assert len(kind.parameters) == len(kind.units)
        assert kind.least_values >= 3 + len(kind.parameters)


def test_lab_values_undo_coding() -> None:
    """Even and log spacing alike."""
    for spacing in ("even", "log"):
        axis = replace(DOSE, spacing=spacing)
        settings = np.array([[0.5], [1.0], [4.0]])
        coded = code(settings, Coding(axes=(axis,)))[:, 0]
        np.testing.assert_allclose(lab_values(coded, axis)[0], settings[:, 0], rtol=1e-14)

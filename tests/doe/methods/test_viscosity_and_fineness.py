"""What the methods of viscosity and fineness say of themselves."""

from __future__ import annotations

import re

import pytest

from analysis.lab.computing import fineness as computing_fineness
from analysis.lab.computing import viscosity as computing_viscosity
from analysis.lab.efflux_cups import CUPS
from analysis.lab.flow_curves import FLOW_MODELS
from analysis.lab.grind_kinetics import APPROACHES
from doe.methods import fineness, flow_curve, grind_kinetics, viscosity
from doe.methods.method import Method

EVERY = (*viscosity.METHODS, *fineness.METHODS)


def test_every_method_has_its_arithmetic_and_none_is_left_over() -> None:
    """A name in a brief must lead to a number."""
    assert {one.name for one in viscosity.METHODS} == set(computing_viscosity.COMPUTE)
    assert {one.name for one in fineness.METHODS} == set(computing_fineness.COMPUTE)


def test_words_of_options_are_those_that_the_arithmetic_knows() -> None:
    """The two packages cannot import each other's lists."""
    assert viscosity.CUPS == tuple(CUPS)
    assert grind_kinetics.APPROACHES == APPROACHES
    words = flow_curve.METHODS[0].option("model").words
    assert words == ("auto", *FLOW_MODELS)


@pytest.mark.parametrize("method", EVERY, ids=lambda one: one.name)
def test_formulas_name_raw_columns_and_options_that_are_there(method: Method) -> None:
    """A brace without a column would leave the sheet's cell blank for ever."""
    columns = {column.name for column in method.table.columns} if method.table else set()
    for name in re.findall(r"\{([^{}]*)\}", method.formula):
        if name.startswith("option:"):
            assert method.option(name.removeprefix("option:")).default is not None
        else:
            assert name in columns


@pytest.mark.parametrize("method", EVERY, ids=lambda one: one.name)
def test_defaults_fit_their_own_options(method: Method) -> None:
    """A default outside its words or ends would be refused in a brief."""
    for option in method.options:
        if isinstance(option.default, str):
            assert option.default in option.words
        elif option.default is not None:
            assert option.low is None or option.low <= option.default
            assert option.high is None or option.default <= option.high


@pytest.mark.parametrize("method", EVERY, ids=lambda one: one.name)
def test_no_method_claims_conformity(method: Method) -> None:
    """Numbers are calculated in the manner of a standard; its text is needed for more."""
    said = " ".join((method.gives, *method.notes)).lower()

    assert "conform" not in said
    assert "complies" not in said

"""Models by name, against DESIGN.md, section 5."""

from __future__ import annotations

import numpy as np
import pytest

from doe.errors import FitError
from doe.model.coding import AxisRange, ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.model.matrix import compile_model, model_columns
from doe.model.terms import make_model, model_names, term_label

A, B, C = (ShareAxis(name=name, low=0.1, high=0.7) for name in "abc")
DOSE = NumericAxis(name="dose", unit="%", low=1, high=2, spacing="log")
PH = NumericAxis(name="pH", unit="", low=8, high=9)
BEAD2 = NumericAxis(name="bead", unit="mm", low=0.6, high=1.2, levels=(0.6, 1.2))
BEAD3 = NumericAxis(name="bead", unit="mm", low=0.6, high=1.2, levels=(0.6, 0.8, 1.2))
ACID = ChoiceAxis(name="neutraliser", levels=("ammonia", "amine", "soda"))


def labels(name: str, *axes: ShareAxis | NumericAxis | ChoiceAxis) -> list[str]:
    """Write out a model."""
    return [term_label(term) for term in make_model(name, Coding(axes=axes)).terms]


@pytest.mark.parametrize(
    ("name", "terms"),
    [
        ("linear", "intercept, dose, pH"),
        ("interactions", "intercept, dose, pH, dose × pH"),
        ("quadratic", "intercept, dose, pH, dose × pH, dose², pH²"),
    ],
)
def test_factors_alone(name: str, terms: str) -> None:
    """Polynomials with an intercept."""
    assert ", ".join(labels(name, DOSE, PH)) == terms


@pytest.mark.parametrize(
    ("name", "terms"),
    [
        ("linear", "a, b, c"),
        ("quadratic", "a, b, c, a × b, a × c, b × c"),
        ("special cubic", "a, b, c, a × b, a × c, b × c, a × b × c"),
        (
            "cubic",
            "a, b, c, a × b, a × c, b × c, a × b × (a − b), a × c × (a − c), b × c × (b − c), "
            "a × b × c",
        ),
    ],
)
def test_a_package_alone(name: str, terms: str) -> None:
    """Scheffé (1958): no intercept, no squares."""
    assert ", ".join(labels(name, A, B, C)) == terms


@pytest.mark.parametrize(
    ("name", "terms"),
    [
        ("linear", "a, b, dose, pH"),
        ("interactions", "a, b, a × dose, b × dose, a × pH, b × pH, dose × pH"),
        (
            "quadratic",
            "a, b, a × b, a × dose, b × dose, a × pH, b × pH, dose × pH, dose², pH²",
        ),
    ],
)
def test_a_package_with_factors(name: str, terms: str) -> None:
    """Kowalski, Cornell and Vining (2000): shares × z hold the main effects of z."""
    assert ", ".join(labels(name, A, B, DOSE, PH)) == terms


def test_special_cubic_adds_the_triples() -> None:
    """And nothing else."""
    more = set(labels("special cubic", A, B, C, DOSE)) - set(labels("quadratic", A, B, C, DOSE))

    assert more == {"a × b × c"}


def test_crossed_multiplies_blend_with_factors() -> None:
    """(a, b, a × b) × (1, dose, pH, dose × pH) are twelve terms."""
    terms = labels("crossed", A, B, DOSE, PH)

    assert len(terms) == 12
    assert "a × b × dose × pH" in terms


def test_crossed_has_as_many_terms_as_cornell_prints() -> None:
    """Source: Cornell (2002), pp. 361-365, fish patties: 7 blend terms × 8 of three factors."""
    assert len(labels("crossed", A, B, C, DOSE, PH, BEAD2)) == 56


def test_choices_and_two_levels_have_no_square() -> None:
    """On two levels x² is the same number; three levels have one."""
    assert "bead²" not in labels("quadratic", PH, BEAD2, ACID)
    assert "neutraliser²" not in labels("quadratic", PH, BEAD2, ACID)
    assert "bead²" in labels("quadratic", PH, BEAD3)


def test_a_package_of_one_is_no_blend() -> None:
    """Its share is 1: the factors stand alone with an intercept."""
    assert labels("linear", A, PH) == ["intercept", "pH"]


@pytest.mark.parametrize(
    ("name", "axes"),
    [
        ("cubic", (DOSE, PH)),
        ("crossed", (DOSE, PH)),
        ("interactions", (A, B, C)),
        ("crossed", (A, B, C)),
        ("quartic", (A, B, DOSE)),
    ],
)
def test_models_that_do_not_exist_are_refused(
    name: str, axes: tuple[ShareAxis | NumericAxis, ...]
) -> None:
    """With those that do."""
    with pytest.raises(FitError) as caught:
        make_model(name, Coding(axes=axes))

    assert "linear" in caught.value.faults[0].allowed


@pytest.mark.parametrize(
    "axes",
    [(DOSE, PH, ACID, BEAD3), (A, B, C), (A, B, C, DOSE, PH, ACID), (A, B, DOSE, BEAD2, ACID)],
)
def test_every_model_has_full_rank_over_its_region(
    axes: tuple[ShareAxis | NumericAxis | ChoiceAxis, ...],
) -> None:
    """No term of a model is a mixture of the others."""
    coding = Coding(axes=axes)
    rng = np.random.default_rng(1)
    coded = rng.uniform(-1, 1, (400, len(axes)))
    shares = [j for j, axis in enumerate(axes) if isinstance(axis, ShareAxis)]
    if shares:
        coded[:, shares] = rng.dirichlet(np.ones(len(shares)), 400)
    for j, axis in enumerate(axes):
        if isinstance(axis, ChoiceAxis):
            coded[:, j] = rng.integers(0, len(axis.levels), 400)
        elif isinstance(axis, NumericAxis) and axis.levels:
            coded[:, j] = rng.choice(np.linspace(-1, 1, len(axis.levels)), 400)

    for name in model_names(coding):
        model = make_model(name, coding)
        X = compile_model(coding, model).matrix(coded)
        assert np.linalg.matrix_rank(X) == len(model_columns(model, coding)), name


def ranged(lows: tuple[float | None, ...]) -> NumericAxis:
    """A dose with its own range at some of the neutralisers."""
    ranges = tuple(
        AxisRange(choice="neutraliser", level=level, low=low, high=low and low * 2)
        for level, low in zip(ACID.levels, lows, strict=True)
    )
    return NumericAxis(name="dose", unit="%", low=1, high=6, ranges=ranges)


def test_a_ranged_factor_is_crossed_with_its_choice_in_every_model() -> None:
    """Each of its terms (DESIGN.md, section 5)."""
    dose = ranged((1.0, 2.0, 3.0))

    assert labels("linear", dose, ACID) == [
        "intercept",
        "dose",
        "neutraliser",
        "dose × neutraliser",
    ]
    assert labels("quadratic", dose, PH, ACID)[-4:] == [
        "dose × pH × neutraliser",
        "dose²",
        "pH²",
        "dose² × neutraliser",
    ]


@pytest.mark.parametrize("lows", [(1.0, 2.0, 3.0), (1.0, None, 3.0), (None, 2.0, None)])
def test_a_factor_that_levels_lack_costs_no_rank(lows: tuple[float | None, ...]) -> None:
    """Its slopes count the levels that have it; where none is left to compare, none stands."""
    coding = Coding(axes=(ranged(lows), PH, ACID))
    rng = np.random.default_rng(2)
    coded = np.column_stack([rng.uniform(-1, 1, (300, 2)), rng.integers(0, 3, 300)])
    coded[[lows[int(i)] is None for i in coded[:, 2]], 0] = np.nan

    for name in model_names(coding):
        model = make_model(name, coding)
        X = compile_model(coding, model).matrix(coded)
        present = sum(low is not None for low in lows)
        assert np.linalg.matrix_rank(X) == X.shape[1], name
        if name == "linear":
            assert X.shape[1] == 1 + 1 + 2 + present

"""What may leave a model, and what follows (DESIGN.md, section 5, "Models")."""

from __future__ import annotations

import numpy as np
import pytest

from doe.errors import FitError
from doe.model.coding import AxisRange, ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.model.matrix import compile_model
from doe.model.terms import Model, drop_group, drop_terms, make_model, may_drop, term_label

SHARES = tuple(ShareAxis(name=name, low=0.1, high=0.7) for name in "abc")
DOSE = NumericAxis(name="dose", unit="%", low=1, high=2)
PH = NumericAxis(name="pH", unit="", low=8, high=9)
SALT = ChoiceAxis(name="salt", levels=("sodium", "ammonium"))
FACTORS = Coding(axes=(DOSE, PH))
BLEND = Coding(axes=SHARES)
BOTH = Coding(axes=(*SHARES, DOSE, PH))


def labels(model: Model) -> list[str]:
    """Write out a model."""
    return [term_label(term) for term in model.terms]


def groups(model: Model, coding: Coding) -> list[str]:
    """Write out what may leave."""
    return [" + ".join(term_label(t) for t in group) for group in may_drop(model, coding)]


def test_squares_and_products_go_before_main_effects() -> None:
    """A main effect stays while a square or product holds it."""
    model = make_model("quadratic", FACTORS)

    assert groups(model, FACTORS) == ["dose × pH", "dose²", "pH²"]
    smaller, _ = drop_terms(model, ["dose × pH", "dose²"], FACTORS)
    assert groups(smaller, FACTORS) == ["dose", "pH²"]


def test_an_intercept_alone_stays() -> None:
    """With no other term beside it, it is still no term that may leave."""
    alone, _ = drop_terms(make_model("linear", FACTORS), ["dose", "pH"], FACTORS)

    assert labels(alone) == ["intercept"]
    assert groups(alone, FACTORS) == []


def test_pairs_of_shares_go_singly_and_a_triple_keeps_its_pairs() -> None:
    """Linear blending terms never go."""
    assert groups(make_model("quadratic", BLEND), BLEND) == ["a × b", "a × c", "b × c"]
    assert groups(make_model("special cubic", BLEND), BLEND) == ["a × b × c"]
    assert groups(make_model("linear", BLEND), BLEND) == []
    deltas = ["a × b × (a − b)", "a × c × (a − c)", "b × c × (b − c)", "a × b × c"]
    assert groups(make_model("cubic", BLEND), BLEND) == deltas


def test_an_antisymmetric_part_keeps_its_pair() -> None:
    """Two shares have no triple that could hold the pair instead."""
    two = Coding(axes=SHARES[:2])

    assert groups(make_model("cubic", two), two) == ["a × b × (a − b)"]


def test_shares_times_a_factor_leave_as_a_set_and_become_the_factor() -> None:
    """Then the factor may go, unless its square or a product holds it."""
    model = make_model("interactions", BOTH)
    dose_set = next(g for g in may_drop(model, BOTH) if "a × dose" in map(term_label, g))

    assert [term_label(t) for t in dose_set] == ["a × dose", "b × dose", "c × dose"]
    smaller = drop_group(model, dose_set, BOTH)
    assert labels(smaller) == ["a", "b", "c", "dose", "a × pH", "b × pH", "c × pH", "dose × pH"]
    assert "dose" not in groups(smaller, BOTH)
    least, _ = drop_terms(smaller, ["dose × pH"], BOTH)
    assert "dose" in groups(least, BOTH)


def test_only_the_highest_products_of_a_crossed_model_may_go() -> None:
    """A blend × product of factors holds every smaller blend × every smaller product."""
    coding = Coding(axes=(*SHARES[:2], DOSE, PH))

    assert groups(make_model("crossed", coding), coding) == ["a × b × dose × pH"]


def test_a_set_that_a_higher_set_holds_is_dropped_with_a_caution() -> None:
    """Share × dose × pH would bring share × dose back with another middle of the pH."""
    coding = Coding(axes=(*SHARES[:2], DOSE, PH))
    model, _ = drop_terms(
        make_model("crossed", coding), ["a × b × dose × pH", "a × b × dose"], coding
    )

    _, findings = drop_terms(model, ["package × dose"], coding)

    assert len(findings) == 2


def test_every_group_that_may_go_leaves_a_model_inside_the_former() -> None:
    """Selection compares nested models only, down to the linear blend."""
    coding = Coding(axes=(*SHARES, DOSE, SALT))
    rng = np.random.default_rng(3)
    coded = np.column_stack(
        [rng.dirichlet(np.ones(3), 200), rng.uniform(-1, 1, 200), rng.integers(0, 2, 200)]
    )
    model = make_model("special cubic", coding)
    while left := may_drop(model, coding):
        X = compile_model(coding, model).matrix(coded)
        for group in left:
            fewer = compile_model(coding, drop_group(model, group, coding)).matrix(coded)
            assert fewer.shape[1] < X.shape[1]
            rest = fewer - X @ np.linalg.lstsq(X, fewer, rcond=None)[0]
            assert np.abs(rest).max() < 1e-9
        model = drop_group(model, left[0], coding)

    assert labels(model) == ["a", "b", "c"]


def test_a_ranged_factor_leaves_with_its_crossing() -> None:
    """Equal coded slopes over unlike ranges would be no statement about the bench."""
    ranges = tuple(
        AxisRange(choice="salt", level=level, low=low, high=low * 2)
        for level, low in zip(SALT.levels, (1.0, 3.0), strict=True)
    )
    dose = NumericAxis(name="dose", unit="%", low=1, high=6, ranges=ranges)
    coding = Coding(axes=(dose, SALT))

    model = make_model("quadratic", coding)
    assert groups(model, coding) == ["dose² + dose² × salt"]
    assert groups(make_model("linear", coding), coding) == ["dose + dose × salt"]


@pytest.mark.parametrize(
    ("name", "coding", "text", "said"),
    [
        ("quadratic", BLEND, "a", "linear blending terms are never dropped"),
        ("quadratic", FACTORS, "intercept", "forced through 0"),
        ("linear", FACTORS, "dose²", "has no term 'dose²'"),
        ("interactions", BOTH, "dose", "held by a × dose, b × dose, c × dose"),
        ("linear", BOTH, "package × dose", "no set package × dose"),
    ],
)
def test_what_cannot_be_dropped_is_refused(name: str, coding: Coding, text: str, said: str) -> None:
    """With the reason and what could be."""
    with pytest.raises(FitError) as caught:
        drop_terms(make_model(name, coding), [text], coding)

    assert said in str(caught.value)


def test_one_of_a_set_is_dropped_as_asked_with_a_caution() -> None:
    """In real proportions: the model space now depends on them."""
    smaller, findings = drop_terms(make_model("interactions", BOTH), ["a × dose"], BOTH)

    assert "a × dose" not in labels(smaller)
    assert "b × dose" in labels(smaller)
    assert [finding.level for finding in findings] == ["caution"]
    assert "real proportions" in findings[0].what


def test_a_whole_set_named_singly_leaves_without_a_caution() -> None:
    """Nothing of the dose is left, unless something else holds it."""
    every = ["a × dose", "b × dose", "c × dose"]
    gone, findings = drop_terms(make_model("interactions", BOTH), [*every, "dose × pH"], BOTH)
    held, also = drop_terms(make_model("interactions", BOTH), every, BOTH)

    assert not any("dose" in label for label in labels(gone))
    assert "dose" in labels(held)
    assert findings == also == ()


def test_package_times_a_factor_names_the_whole_set() -> None:
    """It becomes the factor, whatever else the model holds."""
    smaller, findings = drop_terms(
        make_model("interactions", BOTH), ["package × dose", "pH*dose"], BOTH
    )

    assert labels(smaller) == ["a", "b", "c", "dose", "a × pH", "b × pH", "c × pH"]
    assert findings == ()


@pytest.mark.parametrize(
    ("name", "coding", "text", "warned"),
    [
        ("quadratic", BLEND, "a × b", 0),
        ("special cubic", BLEND, "a × b", 1),
        ("cubic", BLEND, "a × b", 1),
        ("quadratic", FACTORS, "dose²", 0),
        ("quadratic", FACTORS, "dose", 1),
    ],
)
def test_a_caution_comes_only_where_the_model_space_changes(
    name: str, coding: Coding, text: str, warned: int
) -> None:
    """A pair may go; a pair under a triple, or a main effect under its square, ties the coding."""
    _, findings = drop_terms(make_model(name, coding), [text], coding)

    assert len(findings) == warned

"""Reading and writing of terms."""

from __future__ import annotations

import pytest

from doe.errors import FitError
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.model.terms import INTERCEPT, Term, parse_term, term_label, unambiguous_label


def numeric(name: str, levels: tuple[float, ...] = ()) -> NumericAxis:
    """A factor from 0 to 1."""
    return NumericAxis(name=name, unit="", low=0.0, high=1.0, levels=levels)


CODING = Coding(
    axes=(
        ShareAxis(name="wetting agent", low=0.1, high=0.4),
        ShareAxis(name="dispersant", low=0.4, high=0.8),
        numeric("dose"),
        numeric("pH"),
        numeric("bead", (0.6, 1.2)),
        ChoiceAxis(name="neutraliser", levels=("ammonia", "amine")),
    )
)


@pytest.mark.parametrize(
    ("text", "label"),
    [
        ("dose × pH", "dose × pH"),
        ("pH*dose", "dose × pH"),
        ("PH x Dose", "dose × pH"),
        ("dose · pH", "dose × pH"),
        ("  dose  ×pH ", "dose × pH"),
        ("dose²", "dose²"),
        ("dose^2", "dose²"),
        ("dose ** 2", "dose²"),
        ("dose × dose", "dose²"),
        ("pH × dose^2", "dose² × pH"),
        ("dispersant * wetting  agent", "wetting agent × dispersant"),
        ('"dispersant" × dose', "dispersant × dose"),
        ("'dispersant' × dose", "dispersant × dose"),
        (
            "dispersant × wetting agent × (wetting agent - dispersant)",
            "wetting agent × dispersant × (wetting agent − dispersant)",
        ),
        ("Intercept", "intercept"),
        ("neutraliser", "neutraliser"),
    ],
)
def test_a_term_is_read_in_any_order_and_spelling(text: str, label: str) -> None:
    """DESIGN.md, section 4: any order, *, ^2; names folded."""
    assert term_label(parse_term(text, CODING)) == label


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("dispersant²", "dispersant² = dispersant − dispersant × wetting agent"),
        ("neutraliser^2", "named choice and has no square"),
        ("bead²", "two levels"),
        ("dos × pH", "Did you mean 'dose'"),
        ("dose × ", "no setting of this study"),
        ("dose pH", "no setting of this study"),
        ("", "no setting of this study"),
        ("dose × pH × (dose − pH)", "antisymmetric part of something else"),
        ("wetting agent × dose × (dose − dispersant)", "does not belong"),
    ],
)
def test_a_term_that_means_nothing_is_refused(text: str, said: str) -> None:
    """With the reason; a squared share is x − Σ x·xⱼ."""
    with pytest.raises(FitError) as caught:
        parse_term(text, CODING)

    assert said in str(caught.value)


def test_a_term_of_two_readings_is_refused_with_both() -> None:
    """A factor called `dose × pH` beside dose and pH."""
    coding = Coding(axes=(numeric("dose"), numeric("pH"), numeric("dose × pH")))

    with pytest.raises(FitError) as caught:
        parse_term("dose × pH", coding)

    assert '"dose × pH" or "dose" × "pH"' in str(caught.value) or (
        '"dose" × "pH" or "dose × pH"' in str(caught.value)
    )


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ('"dose × pH"', ("dose × pH",)),
        ('"dose" × "pH"', ("dose", "pH")),
        ('"dose × pH" × pH', ("pH", "dose × pH")),
    ],
)
def test_quotes_decide_between_readings(text: str, names: tuple[str, ...]) -> None:
    """Quotes protect a name inside a term."""
    coding = Coding(axes=(numeric("dose"), numeric("pH"), numeric("dose × pH")))

    assert parse_term(text, coding).names == names


def test_a_superscript_in_a_name_is_not_a_power_of_another() -> None:
    """NFKC makes ² a 2: `area²` may be the name `area2` or the square of `area`."""
    both = Coding(axes=(numeric("area"), numeric("area2")))
    one = Coding(axes=(numeric("area²"), numeric("dose")))

    with pytest.raises(FitError, match="two readings"):
        parse_term("area²", both)
    assert parse_term("area² × dose", one).names == ("area²", "dose")


def test_labels_get_quotes_only_where_they_are_needed() -> None:
    """`unambiguous_label` reads back as the same term."""
    coding = Coding(axes=(numeric("dose"), numeric("pH"), numeric("dose × pH")))
    product = Term(powers=(("dose", 1), ("pH", 1)))

    assert unambiguous_label(product, coding) == '"dose" × "pH"'
    assert unambiguous_label(product, Coding(axes=coding.axes[:2])) == "dose × pH"
    assert unambiguous_label(INTERCEPT, coding) == "intercept"
    assert term_label(Term(powers=(("dose × pH", 2),))) == '"dose × pH"²'

"""Aliases in the words of the trade."""

from __future__ import annotations

from doe.appraisal.aliases import alias_table, next_order
from doe.appraisal.two_level import alias_chains, relation_in_words
from doe.layouts.checking import make_layout
from doe.layouts.generators import defining_words
from doe.model.column import model_columns
from doe.model.matrix import model_matrix
from doe.model.terms import make_model, term_label
from tests.doe.layouts.briefs import RANGES, WHOLE_SIMPLEX, a_request, a_study


def test_a_quarter_fraction_is_told_with_factor_names() -> None:
    """Eight runs of five factors: speed follows dose × pH, temperature follows dose × time."""
    names = ["dose", "pH", "time", "speed", "temperature"]

    assert relation_in_words(defining_words(5, 8), names) == [
        "dose × pH × speed",
        "dose × time × temperature",
        "pH × time × speed × temperature",
    ]


def test_chains_of_a_half_fraction_of_four() -> None:
    """Resolution IV: three pairs of interactions."""
    chains = alias_chains(defining_words(4, 8), 4)

    assert chains == [(0b0011, 0b1100), (0b0101, 0b1010), (0b1001, 0b0110)]


def test_main_effects_of_resolution_three_are_mixed_up_with_interactions() -> None:
    """Half of three factors: each main effect carries one interaction whole."""
    request = a_request(a_study(RANGES[:3]), models=("linear",), resolution=3, centre=0)
    runs = make_layout("fractional factorial", request)
    model = make_model("linear", request.coding)
    beyond = next_order(model, request.coding)

    table = alias_table(
        model_matrix(runs.values, request.coding, model),
        model_columns(model, request.coding),
        model_matrix(runs.values, request.coding, beyond),
        model_columns(beyond, request.coding),
    )

    told = {alias.term: alias.sentence() for alias in table}
    assert told["dose"] == "dose is mixed up with pH × grind time"
    assert "dose²" in told["intercept"]


def test_a_twelve_run_table_mixes_main_effects_up_with_thirds_of_interactions() -> None:
    """Plackett and Burman (1946), 12 runs: ±1/3 of every interaction of two other factors."""
    request = a_request(a_study(RANGES[:8]), models=("linear",), centre=0)
    runs = make_layout("Plackett-Burman", request)
    model, coding = make_model("linear", request.coding), request.coding
    beyond = next_order(model, coding)

    table = alias_table(
        model_matrix(runs.values, coding, model),
        model_columns(model, coding),
        model_matrix(runs.values, coding, beyond),
        model_columns(beyond, coding),
    )

    main = [alias for alias in table if alias.term != "intercept"]
    parts = {round(abs(part), 9) for alias in main for _, part in alias.others}
    assert parts == {round(1 / 3, 9)}
    assert all(len(alias.others) == 21 for alias in main)


def test_the_next_order_of_a_blend_model_is_the_next_blend_model() -> None:
    """Triples follow pairs."""
    coding = a_request(a_study((), WHOLE_SIMPLEX)).coding
    beyond = next_order(make_model("quadratic", coding), coding)

    assert [term_label(term) for term in beyond.terms] == [
        "wetting agent × dispersant × co-additive"
    ]

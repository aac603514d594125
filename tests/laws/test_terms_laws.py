"""Terms: what is written is read back, whatever the names."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from doe.model.coding import Coding, NumericAxis, ShareAxis
from doe.model.terms import (
    Term,
    drop_group,
    make_model,
    may_drop,
    model_names,
    parse_term,
    unambiguous_label,
)
from doe.study.names import fold

# Names as laboratories write them, with every sign that means something inside a term.
NASTY = st.text(alphabet="ab×*²^x \"'()-−·µé酸1", min_size=1, max_size=6).map(
    lambda name: " ".join(name.split())
)


@st.composite
def codings(draw: st.DrawFn) -> Coding:
    """Two shares and two factors whose names differ after folding."""
    names = draw(st.lists(NASTY, min_size=4, max_size=4, unique_by=fold))
    assume(all(fold(name) not in {"", "1", "intercept"} for name in names))
    shares = [ShareAxis(name=name, low=0, high=1) for name in names[:2]]
    factors = [NumericAxis(name=name, unit="", low=0, high=1) for name in names[2:]]
    return Coding(axes=(*shares, *factors))


@settings(deadline=None)
@given(codings(), st.data())
def test_labels_read_back_as_the_same_term(coding: Coding, data: st.DataObject) -> None:
    """For every model of every study."""
    model = make_model(data.draw(st.sampled_from(model_names(coding))), coding)

    for term in model.terms:
        assert parse_term(unambiguous_label(term, coding), coding) == term


@given(st.permutations(["dose", "pH", "time"]), st.lists(st.sampled_from("×*·"), min_size=2))
def test_order_and_signs_do_not_matter(names: list[str], signs: list[str]) -> None:
    """The term has the study's order."""
    coding = Coding(
        axes=tuple(NumericAxis(name=n, unit="", low=0, high=1) for n in ("dose", "pH", "time"))
    )
    text = f"{names[0]} {signs[0]} {names[1]}{signs[1]}{names[2]}"

    assert parse_term(text, coding) == Term(powers=(("dose", 1), ("pH", 1), ("time", 1)))


@settings(deadline=None, max_examples=30)
@given(st.integers(2, 4), st.integers(0, 3), st.data())
def test_dropping_ends_at_the_smallest_model(q: int, f: int, data: st.DataObject) -> None:
    """In whatever order groups leave, each step loses terms and the linear blend stays."""
    shares = [ShareAxis(name=f"a{i}", low=0, high=1) for i in range(q)]
    factors = [NumericAxis(name=f"z{i}", unit="", low=0, high=1) for i in range(f)]
    coding = Coding(axes=(*shares, *factors))
    # Fully crossed models grow with 2^f; the law is no other for them, only slower to walk through.
    names = [name for name in model_names(coding) if name != "crossed" or f < 2]
    model = make_model(data.draw(st.sampled_from(names)), coding)
    while groups := may_drop(model, coding):
        smaller = drop_group(model, data.draw(st.sampled_from(groups)), coding)
        assert len(smaller.terms) < len(model.terms)
        model = smaller

    np.testing.assert_array_equal(
        [term.names for term in model.terms], [(share.name,) for share in shares]
    )

"""Units of a model: bit masks reach exactly the models that dropping reaches."""

from __future__ import annotations

import pytest

from doe.model.coding import AxisRange, ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.model.hierarchy import drop_group, may_drop
from doe.model.hierarchy_units import units_of
from doe.model.terms import Model, make_model

SHARES = tuple(ShareAxis(name=name, low=0.1, high=0.7) for name in "abc")
DOSE = NumericAxis(name="dose", unit="%", low=1, high=2)
PH = NumericAxis(name="pH", unit="", low=8, high=9)
TIME = NumericAxis(name="time", unit="min", low=10, high=40)
SALT = ChoiceAxis(name="salt", levels=("sodium", "ammonium"))
RANGED = NumericAxis(
    name="dose",
    unit="%",
    low=1,
    high=2,
    ranges=(
        AxisRange(choice="salt", level="sodium", low=1, high=1.5),
        AxisRange(choice="salt", level="ammonium", low=1.2, high=2),
    ),
)
CASES = (
    ("quadratic", Coding(axes=(DOSE, PH, TIME))),
    ("quadratic", Coding(axes=(DOSE, PH, SALT))),
    ("quadratic", Coding(axes=(SALT, RANGED, PH))),
    ("special cubic", Coding(axes=SHARES)),
    ("cubic", Coding(axes=SHARES)),
    ("interactions", Coding(axes=(*SHARES, DOSE, PH))),
    ("quadratic", Coding(axes=(*SHARES[:2], DOSE, PH))),
    ("crossed", Coding(axes=(*SHARES[:2], DOSE, PH))),
    ("linear", Coding(axes=(DOSE,))),
)


def _reached(model: Model, coding: Coding) -> set[frozenset[object]]:
    """Give all models that dropping reaches, one step after the other."""
    seen, todo = {frozenset[object](model.terms)}, [model]
    while todo:
        now = todo.pop()
        for group in may_drop(now, coding):
            smaller = drop_group(now, group, coding)
            key = frozenset[object](smaller.terms)
            if len(smaller.terms) < len(now.terms) and key not in seen:
                seen.add(key)
                todo.append(smaller)
    return seen


@pytest.mark.parametrize(("name", "coding"), CASES)
def test_units_reach_what_dropping_reaches(name: str, coding: Coding) -> None:
    """Each model once, none besides: the pairwise rules tell all that the stepwise ones do."""
    model = make_model(name, coding)
    units = units_of(model, coding)
    reached = [frozenset[object](units.model_of(state).terms) for state in units.states()]

    assert len(reached) == len(set(reached))
    assert set(reached) == _reached(model, coding)
    assert units.model_of(units.everything) == model


@pytest.mark.parametrize(("name", "coding"), CASES)
def test_moves_stay_within_hierarchy(name: str, coding: Coding) -> None:
    """Adding brings what is needed; taking out takes what needs it."""
    units = units_of(make_model(name, coding), coding)
    allowed = set(units.states())
    for state in sorted(allowed)[:200]:
        for u in range(len(units.terms)):
            added, less = units.with_unit(state, u), units.without_unit(state, u)
            assert {added, less} <= allowed
            assert (added >> u & 1, less >> u & 1) == (1, 0)
            assert (added & state, less | state) == (state, state)

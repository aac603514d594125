"""Laws of layouts and bench order, whatever the brief."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from doe.errors import PlanError
from doe.layouts.checking import make_layout
from doe.layouts.order import arrange
from doe.layouts.registry import LAYOUTS
from doe.model.coding import coding_of
from doe.model.matrix import model_matrix
from doe.model.terms import make_model
from doe.study.brief import Study
from doe.study.plan import Plan
from tests.doe.layouts.briefs import (
    BASE_CHOICE,
    CUT_SIMPLEX,
    RANGES,
    WHOLE_SIMPLEX,
    a_request,
    a_study,
)

CLASSIC = tuple(name for name in LAYOUTS if name != "optimal")
CONTROL = {"name": "present formula", "every": "day", "settings": {"dose": 1.5}}


@st.composite
def briefs(draw: st.DrawFn) -> Study:
    """Draw a brief: a package or none, one to four ranges, perhaps a choice, days, a control."""
    package = draw(st.sampled_from([(), WHOLE_SIMPLEX, CUT_SIMPLEX]))
    factors: list[dict[str, Any]] = list(RANGES[: draw(st.integers(0 if package else 1, 4))])
    if factors and draw(st.booleans()):
        factors[0] = {**factors[0], "spacing": "log"}
    if draw(st.booleans()):
        factors.append(BASE_CHOICE)
    more: dict[str, Any] = {}
    if draw(st.booleans()):
        more["plan"] = {"batches_per_day": draw(st.integers(3, 9))}
    if draw(st.booleans()):
        more["control"] = [CONTROL]
    return a_study(factors, package, **more)


@st.composite
def plans(draw: st.DrawFn) -> tuple[Study, str, int, Plan]:
    """Draw a brief, a layout that fits it, a seed, and the plan they make."""
    study = draw(briefs())
    model = draw(st.sampled_from(["linear", "quadratic"]))
    seed = draw(st.integers(0, 2**31))
    request = a_request(study, models=(model,), seed=seed)
    for name in draw(st.permutations(CLASSIC)):
        try:
            runs = LAYOUTS[name].make(request)
        except PlanError:
            continue
        return study, name, seed, arrange(runs, study, request.rng())
    raise AssertionError("no layout made runs")


def _rows(values: Any) -> Counter[tuple[float, ...]]:
    return Counter(tuple(np.nan_to_num(row, nan=-1e9).round(9).tolist()) for row in values)


@settings(max_examples=20, deadline=None)
@given(plans())
def test_randomising_keeps_the_set_of_runs(drawn: tuple[Study, str, int, Plan]) -> None:
    """Bench order adds controls and takes nothing away."""
    study, name, seed, plan = drawn
    request = a_request(study, models=plan.rounds[0].models, seed=seed)
    runs = LAYOUTS[name].make(request)
    kept = [i for i, kind in enumerate(plan.kind) if kind != "control"]

    assert _rows(plan.settings.values[kept]) == _rows(runs.values)
    assert Counter(plan.kind[i] for i in kept) == Counter(runs.kind)


@settings(max_examples=20, deadline=None)
@given(plans())
def test_the_same_seed_gives_the_same_plan(drawn: tuple[Study, str, int, Plan]) -> None:
    """Nothing but the seed decides the order."""
    study, name, seed, plan = drawn
    request = a_request(study, models=plan.rounds[0].models, seed=seed)
    again = arrange(LAYOUTS[name].make(request), study, request.rng())

    np.testing.assert_array_equal(again.settings.values, plan.settings.values)
    assert (again.day, again.batch, again.kind) == (plan.day, plan.batch, plan.kind)


@settings(max_examples=20, deadline=None)
@given(briefs(), st.sampled_from(CLASSIC), st.sampled_from(["linear", "quadratic"]))
def test_runs_lie_in_the_region_and_estimate_the_model(study: Study, name: str, model: str) -> None:
    """Or the layout is refused in a sentence."""
    request = a_request(study, models=(model,))
    try:
        runs = make_layout(name, request)
    except PlanError:
        return
    X = model_matrix(runs.values, request.coding, make_model(model, request.coding))

    assert request.region.contains(runs.values, 1e-7).all()
    assert np.linalg.matrix_rank(X) == X.shape[1]
    assert len(runs) == len(runs.kind)


@settings(max_examples=12, deadline=None)
@given(plans(), st.integers(0, 1000))
def test_renaming_factors_only_renames_columns(
    drawn: tuple[Study, str, int, Plan], salt: int
) -> None:
    """No layout looks at a name."""
    study, name, seed, plan = drawn
    renamed = study.model_copy(
        update={
            "factors": tuple(
                f.model_copy(update={"name": f"{f.name} {salt}"}) for f in study.factors
            ),
            "controls": (),
        }
    )
    plain = study.model_copy(update={"controls": ()})
    made = [
        LAYOUTS[name].make(a_request(s, models=plan.rounds[0].models, seed=seed))
        for s in (plain, renamed)
    ]

    np.testing.assert_array_equal(made[0].values, made[1].values)


@settings(max_examples=12, deadline=None)
@given(st.permutations(range(4)), st.sampled_from(["central composite", "Box-Behnken"]))
def test_reordering_factors_permutes_columns(order: list[int], name: str) -> None:
    """The set of runs of a symmetric layout goes with its factors."""
    plain = make_layout(name, a_request(a_study(RANGES[:4]), models=("quadratic",)))
    study = a_study([RANGES[i] for i in order])
    moved = make_layout(name, a_request(study, models=("quadratic",)))

    assert coding_of(study).names == tuple(str(RANGES[i]["name"]) for i in order)
    assert _rows(moved.values) == _rows(np.asarray(plain.values)[:, order])


@settings(max_examples=20, deadline=None)
@given(plans())
def test_no_day_holds_more_batches_than_it_can(drawn: tuple[Study, str, int, Plan]) -> None:
    """Controls are batches, too."""
    study, _, _, plan = drawn
    room = study.wishes.batches_per_day
    if room is None:
        assert set(plan.day) == {None}
        return

    assert max(Counter(plan.day).values()) <= room

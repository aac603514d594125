"""Laws of the search for optimal plans, whatever the region, the strata and the criterion."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doe.layouts.optimal.among import exchange_among
from doe.layouts.optimal.bounds import combinations_of
from doe.layouts.optimal.climb import know, scores
from doe.layouts.optimal.crowd import Crowd, Problem, Surroundings, make_crowd
from doe.layouts.optimal.exchange_many import Plans, climb, random_plans
from doe.layouts.optimal.goal import criterion_values, goal_value
from doe.layouts.optimal.polish import polish
from doe.layouts.optimal.rows import (
    changes,
    exchange_row,
    make_forms,
    open_row,
    shares_nothing,
)
from doe.layouts.optimal.search import Wanted, best_plan, other_ratio, prepared
from doe.model.bench_steps import on_steps
from doe.model.coding import code, decode
from doe.model.expansion import compile_model
from doe.model.matrix import model_columns
from doe.model.moments import region_moments
from doe.model.region import region_of
from doe.model.sampling import sample_region
from doe.model.strata import Strata, Stratum, make_strata, precision, stages_of
from doe.model.terms import make_model
from doe.study.brief import Stage, Study
from doe.study.settings import BoolArray, FloatArray
from tests.doe.layouts.briefs import CHEMISTRY, CUT_SIMPLEX, RANGES, WHOLE_SIMPLEX, a_study

# Rounding may lift a score by this much (of a log), no more.
ROUNDING = 1e-8
STEPPED = tuple(
    {**one, "step": step} for one, step in zip(RANGES[:3], (0.05, 0.05, 2.5), strict=True)
)
RANGED = {
    "name": "own dose",
    "range": [
        {"when": {"chemistry": "acrylate"}, "low": 0.5, "high": 1.5},
        {"when": {"chemistry": "block"}, "low": 1.0, "high": 3.0},
    ],
}
BEADS = {"name": "bead diameter", "levels": [0.6, 0.8, 1.2]}
LIMIT = {"sum": {"dose": 1.0, "grind time": 0.02}, "at_most": 2.6}
FORBID = {"settings": {"chemistry": "comb", "pH": "> 9.0"}}
STEPPED_SHARES = tuple({**one, "step": 0.01} for one in CUT_SIMPLEX)
REGIONS: tuple[Study, ...] = (
    a_study(RANGES[:2]),
    a_study(STEPPED),
    a_study((STEPPED[0], STEPPED[2]), limit=[LIMIT]),
    a_study((), WHOLE_SIMPLEX),
    a_study((STEPPED[1],), STEPPED_SHARES),
    a_study((STEPPED[1], CHEMISTRY), forbid=[FORBID]),
    a_study((CHEMISTRY, {**RANGED, "step": 0.1})),
    a_study((STEPPED[0], BEADS)),
)
WEIGHTS: tuple[dict[str, float], ...] = (
    {"D": 1.0}, {"I": 1.0}, {"A": 1.0}, {"I": 0.6, "D": 0.3, "A": 0.1}, {"Bayesian D": 1.0},
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """A search small enough to be judged from scratch, and its source of chance."""

    wanted: Wanted
    rng: np.random.Generator


def _wanted(study: Study, n: int, weights: dict[str, float], strata: Strata, **more: Any) -> Wanted:
    region = region_of(study)
    model = make_model("quadratic", region.coding)
    potential: BoolArray | None = None
    if "Bayesian D" in weights:
        linear = set(model_columns(make_model("linear", region.coding), region.coding))
        potential = np.array([c not in linear for c in model_columns(model, region.coding)])
        if potential.all():
            weights = {"D": 1.0}
    return Wanted(
        region=region, model=model, weights=weights, n=n, strata=strata, potential=potential,
        stages=stages_of(study), **{"starts": 12, "rounds": 1, "workers": 1, **more},
    )  # fmt: skip


def _strata(kind: str, n: int) -> Strata:
    day, batch = np.arange(n) // 4 + 1, np.arange(n) // 3 + 1
    units = {
        "none": [],
        "random days": [Stratum(name="day", unit=day)],
        "fixed days": [Stratum(name="day", unit=day, is_fixed=True)],
        "batches": [Stratum(name="batch", unit=batch)],
    }
    return make_strata(n, units[kind])


@st.composite
def searches(
    draw: st.DrawFn, kinds: tuple[str, ...] = ("none", "random days", "fixed days")
) -> Drawn:
    """Draw a region, a criterion, strata and ratios, with a few runs more than terms."""
    study = draw(st.sampled_from(REGIONS))
    region = region_of(study)
    p = len(model_columns(make_model("quadratic", region.coding), region.coding))
    kind = draw(st.sampled_from(kinds))
    n = p + draw(st.integers(3, 6))
    if kind == "batches":
        n = max(-(-n // 3) * 3, 12)
    wanted = _wanted(
        study, n, draw(st.sampled_from(WEIGHTS)), _strata(kind, n),
        ratios=draw(st.sampled_from([(1.0,), (0.2, 5.0)])), seed=draw(st.integers(0, 1000)),
    )  # fmt: skip
    if kind == "batches":
        # The first factor is set once a batch, all else for every sample.
        first = len(study.additives)
        k = len(region.coding.axes)
        stages: tuple[Stage, ...] = tuple("batch" if j == first else "sample" for j in range(k))
        wanted = replace(wanted, stages=stages)
    return Drawn(wanted=wanted, rng=np.random.default_rng(draw(st.integers(0, 2**31))))


def _crowd(drawn: Drawn, s: int = 4) -> tuple[Problem, Crowd]:
    problem, _ = prepared(drawn.wanted)
    return problem, make_crowd(problem, random_plans(problem, s, drawn.rng))


def _lift(problem: Problem, crowd: Crowd, drawn: Drawn) -> None:
    """Bring plans to where they tell all terms, so that digits can be compared."""
    candidates = problem.candidates
    combination = combinations_of(problem.bounds, candidates)
    exchange_among(problem, crowd, candidates, combination, drawn.rng, most=1)


def _inside(wanted: Wanted, x: FloatArray) -> bool:
    flat = x.reshape(-1, x.shape[-1])
    return bool(wanted.region.contains(decode(flat, wanted.region.coding)).all())


@settings(max_examples=6, deadline=None)
@given(searches())
def test_exchange_among_candidates_never_loses(drawn: Drawn) -> None:
    """Sweep by sweep, in every plan; what comes out lies in the region."""
    problem, crowd = _crowd(drawn)
    candidates = problem.candidates
    combination = combinations_of(problem.bounds, candidates)
    # From the end of a polish, too: there every candidate would be a loss.
    before = polish(problem, crowd, Surroundings(problem), drawn.rng, (0.3, 0.1))
    for _ in range(3):
        after = exchange_among(problem, crowd, candidates, combination, drawn.rng, most=1)

        assert np.all(after <= before + ROUNDING)
        before = after
    assert _inside(drawn.wanted, crowd.x)


@settings(max_examples=6, deadline=None)
@given(searches())
def test_polish_never_loses(drawn: Drawn) -> None:
    """Distance by distance, sweep by sweep."""
    problem, crowd = _crowd(drawn)
    around = Surroundings(problem)
    before = crowd.refresh(problem.goal)
    for h in (0.3, 0.1, 0.03):
        after = polish(problem, crowd, around, drawn.rng, (h,), most=1)

        assert np.all(after <= before + ROUNDING)
        before = after
    assert _inside(drawn.wanted, crowd.x)
    np.testing.assert_allclose(
        problem.working.matrix(crowd.x), crowd.F, atol=1e-9, err_msg="rows and settings part"
    )


@settings(max_examples=5, deadline=None)
@given(searches(kinds=("none", "random days", "fixed days", "batches")))
def test_exchange_along_lines_never_loses(drawn: Drawn) -> None:
    """Sweep by sweep, rough and fine; batches hold what they hold."""
    problem, crowd = _crowd(drawn)
    plans = Plans(problem, crowd.x, crowd.combination)
    before = plans.scores()
    for levels in (0, 0, 3):
        plans.sweep(drawn.rng, levels=levels)
        after = plans.scores()

        assert np.all(after <= before + ROUNDING)
        before = after
    assert _inside(drawn.wanted, plans.x)
    end = climb(problem, plans.x, drawn.rng)
    assert np.all(end.score <= before + ROUNDING)


@settings(max_examples=8, deadline=None)
@given(searches())
def test_the_change_by_an_exchange_is_the_change_of_the_score(drawn: Drawn) -> None:
    """What `changes` says of each candidate, against working the plan out anew."""
    problem, crowd = _crowd(drawn)
    goal = problem.goal
    _lift(problem, crowd, drawn)
    rows = problem.working.matrix(problem.candidates[:7])
    forms = make_forms(crowd.known, rows)
    independent = all(shares_nothing(view) for view in goal.views)
    before = scores(crowd.known, goal)
    i = int(drawn.rng.integers(drawn.wanted.n))
    opened = open_row(crowd.known, crowd.F, goal, i, independent)
    told = changes(crowd.known, goal, opened, rows, forms)
    for c, row in enumerate(rows):
        F = crowd.F.copy()
        F[:, i] = row
        after = scores(know(F, goal), goal)
        # A plan that tells hardly anything has the score of its ridge, to few digits.
        good = after < before + 8

        np.testing.assert_allclose(told[good, c], (after - before)[good], atol=1e-6)
    np.testing.assert_allclose(changes(crowd.known, goal, opened, rows), told, atol=1e-6)


@settings(max_examples=8, deadline=None)
@given(searches())
def test_an_exchange_leaves_what_working_out_anew_gives(drawn: Drawn) -> None:
    """Inverse, traces and the forms of the candidates after several exchanges."""
    problem, crowd = _crowd(drawn)
    goal = problem.goal
    _lift(problem, crowd, drawn)
    rows = problem.working.matrix(problem.candidates)
    forms = make_forms(crowd.known, rows)
    independent = all(shares_nothing(view) for view in goal.views)
    plans = np.arange(len(crowd.x))
    for _ in range(3):
        i = int(drawn.rng.integers(drawn.wanted.n))
        opened = open_row(crowd.known, crowd.F, goal, i, independent)
        # The third best change: neither nothing nor the end of the plan.
        chosen = changes(crowd.known, goal, opened, rows, forms).argsort(axis=1)[:, 2]
        exchange_row(crowd.known, opened, plans, rows[chosen], forms, rows)
        crowd.F[:, i] = rows[chosen]
    anew = know(crowd.F, goal)
    for kept, fresh in zip(crowd.known, anew, strict=True):
        for name, mine, theirs in [("B", kept.B, fresh.B), *_traces(kept, fresh)]:
            np.testing.assert_allclose(mine, theirs, rtol=1e-5, atol=1e-6 * np.abs(theirs).max(),
                                       err_msg=name)  # fmt: skip
    for form, fresh_form in zip(forms, make_forms(anew, rows), strict=True):
        np.testing.assert_allclose(form.q, fresh_form.q, rtol=1e-5,
                                   atol=1e-6 * np.abs(fresh_form.q).max())  # fmt: skip
        for g, fresh_g in zip(form.g, fresh_form.g, strict=True):
            if g is not None and fresh_g is not None:
                np.testing.assert_allclose(g, fresh_g, rtol=1e-5, atol=1e-6 * np.abs(fresh_g).max())


def _traces(kept: Any, fresh: Any) -> list[tuple[str, FloatArray, FloatArray]]:
    pairs = [*zip(kept.G, fresh.G, strict=True), *zip(kept.trace, fresh.trace, strict=True)]
    return [("trace", mine, theirs) for mine, theirs in pairs if mine is not None]


@settings(max_examples=6, deadline=None)
@given(searches(kinds=("none", "random days", "fixed days", "batches")))
def test_every_run_can_be_made(drawn: Drawn) -> None:
    """Inside limits, forbids, own ranges and levels, and on the steps of the bench."""
    wanted = drawn.wanted
    values = best_plan(wanted).values
    lacking = np.isnan(values)
    again = best_plan(wanted).values

    assert values.shape == (wanted.n, len(wanted.region.coding.axes))
    assert wanted.region.contains(values).all()
    assert on_steps(values, wanted.region).all()
    for j, axis in enumerate(wanted.region.coding.axes):
        if axis.name != "own dose":
            assert not lacking[:, j].any()
    np.testing.assert_array_equal(values, again)


@settings(max_examples=6, deadline=None)
@given(searches(kinds=("none", "random days", "fixed days", "batches")))
def test_the_record_agrees_with_generalised_least_squares(drawn: Drawn) -> None:
    """D, I and A from V = I + ρ ZZ' and fixed blocks as columns of their own, by solving alone."""
    wanted = drawn.wanted
    found = best_plan(wanted)
    coding = wanted.region.coding
    expansion = compile_model(coding, wanted.model)
    X = expansion.matrix(code(found.values, coding))
    moments = region_moments(wanted.region, expansion)
    if np.linalg.matrix_rank(X) < X.shape[1]:
        return
    p = X.shape[1]
    for ratio, told in found.by_ratio.items():
        V = np.eye(wanted.n)
        for stratum in wanted.strata.random:
            V += ratio * (stratum.unit[:, None] == stratum.unit[None, :])
        # Each block against the last, so that the mean is that of all blocks alike.
        blocks = [
            (stratum.unit[:, None] == numbers[None, :-1]).astype(float)
            - (stratum.unit[:, None] == numbers[-1])
            for stratum in wanted.strata.fixed
            for numbers in [np.unique(stratum.unit)]
        ]
        wide = np.hstack([X, *blocks])
        whole = np.linalg.inv(wide.T @ np.linalg.solve(V, wide))[:p, :p]

        assert told["I"] == pytest.approx(np.trace(whole @ moments), rel=1e-6)
        assert told["A"] == pytest.approx(np.trace(whole), rel=1e-6)
        assert told["D"] == pytest.approx(np.linalg.det(whole) ** (-1 / p) / wanted.n, rel=1e-6)


@settings(max_examples=5, deadline=None)
@given(searches(kinds=("none", "random days", "batches")))
def test_a_plan_is_judged_alike_by_the_search_and_the_record(drawn: Drawn) -> None:
    """For a single criterion and ratio the goal is its log, but for a constant of D."""
    wanted = replace(drawn.wanted, weights={"I": 1.0}, potential=None, ratios=(2.0,))
    problem, moments = prepared(wanted)
    x = climb(problem, random_plans(problem, 3, drawn.rng), drawn.rng).x[0]
    X = problem.working.expansion.matrix(x)
    told = criterion_values(X, precision(wanted.strata, 2.0), moments)["I"]

    assert goal_value(problem.goal, X) == pytest.approx(np.log(told), abs=1e-6)


@settings(max_examples=8, deadline=None)
@given(searches(), st.sampled_from(["independent", "day"]))
def test_one_more_run_never_raises_the_variance_of_a_prediction(drawn: Drawn, into: str) -> None:
    """In a day that there is or a new random one; blocks and strata stay, variance unscaled."""
    wanted = drawn.wanted
    coding = wanted.region.coding
    expansion = compile_model(coding, wanted.model)
    points = sample_region(wanted.region, wanted.n + 21, drawn.rng)
    X = expansion.matrix(code(points, coding))
    runs, more, looked = X[: wanted.n], X[wanted.n], X[wanted.n + 1 :]
    # A new fixed day would change what is estimated: the mean of all days.
    is_fixed = into == "day" and bool(drawn.rng.integers(2))
    day = np.arange(wanted.n) // 4 + 1
    joined = 1 if into == "day" else int(day.max()) + 1
    variances = []
    for unit, rows in ((day, runs), (np.append(day, joined), np.vstack([runs, more]))):
        stratum = Stratum(name="day", unit=unit, is_fixed=is_fixed)
        P = precision(make_strata(len(rows), [stratum]), 1.5)
        M = rows.T @ P @ rows
        if np.linalg.cond(M) > 1e9:
            return
        variances.append(np.einsum("ij,jk,ik->i", looked, np.linalg.inv(M), looked))

    assert np.all(variances[1] <= variances[0] * (1 + 1e-6))


@settings(max_examples=2, deadline=None)
@given(st.integers(0, 1000), st.sampled_from(["D", "I"]))
def test_batches_hold_batch_factors_and_days_hold_theirs(seed: int, criterion: str) -> None:
    """A grind time per sample, a pH per batch, a mill temperature per day."""
    study = a_study(
        (
            {**RANGES[4], "set_per": "day"},
            RANGES[1],
            {**RANGES[2], "set_per": "sample"},
        )
    )
    batch = np.repeat(np.arange(1, 9), 3)
    day = np.repeat(np.arange(1, 5), 6)
    strata = make_strata(24, [Stratum(name="day", unit=day), Stratum(name="batch", unit=batch)])
    wanted = _wanted(study, 24, {criterion: 1.0}, strata, seed=seed, rounds=0)
    values = best_plan(wanted).values

    for unit, column in ((day, 0), (batch, 1)):
        for number in np.unique(unit):
            assert len(np.unique(values[unit == number, column])) == 1
    assert len(np.unique(values[:, 2])) > 1
    assert any(len(np.unique(values[batch == b, 2])) > 1 for b in np.unique(batch))


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 1000), st.integers(1, 5), st.sampled_from(["none", "random days"]))
def test_held_runs_are_in_unchanged(seed: int, m: int, kind: str) -> None:
    """Even off the steps: they have been made."""
    study = a_study(STEPPED[:2])
    region = region_of(study)
    held = sample_region(region, m, np.random.default_rng(seed))
    wanted = _wanted(study, 10, {"I": 1.0}, _strata(kind, 10), held=held, seed=seed)
    values = best_plan(wanted).values

    np.testing.assert_array_equal(values[:m], held)
    assert on_steps(values[m:], region).all()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_half_of_the_best_plan_is_led_to_the_best_plan(seed: int) -> None:
    """Held runs count in what the others are chosen for."""
    study = a_study(RANGES[:2])
    strata = make_strata(9, ())
    whole = best_plan(_wanted(study, 9, {"D": 1.0}, strata, starts=48, rounds=20))
    part = np.random.default_rng(seed).permutation(whole.values)[:5]
    found = best_plan(_wanted(study, 9, {"D": 1.0}, strata, held=part, seed=seed))

    assert found.criteria["D"] == pytest.approx(whole.criteria["D"], rel=1e-4)


@settings(max_examples=5, deadline=None)
@given(searches(kinds=("none", "batches")), st.integers(0, 2), st.integers(0, 2))
def test_replicates_and_different_settings_are_there(
    drawn: Drawn, replicates: int, spare: int
) -> None:
    """As many as were asked for; whole batches repeat where runs share them."""
    wanted = drawn.wanted
    columns = model_columns(wanted.model, wanted.region.coding)
    p = len(columns)
    shared = bool(wanted.strata.above)
    n = wanted.n if shared else p + replicates + spare
    strata = wanted.strata if shared else make_strata(n, ())
    distinct = 0 if shared else p + spare
    replicates = min(replicates, 1) if shared else replicates
    wanted = replace(wanted, n=n, strata=strata, replicates=replicates, distinct=distinct,
                     weights={"D": 1.0}, potential=None)  # fmt: skip
    values = np.round(np.nan_to_num(best_plan(wanted).values, nan=-9e9), 9)
    units = [values[[i]] for i in range(n)]
    if shared:
        unit = wanted.strata.above[0].unit
        units = [values[unit == number] for number in np.unique(unit)]
    keys = {rows[np.lexsort(rows.T)].tobytes() for rows in units}

    assert len(units) - len(keys) >= replicates
    assert len(np.unique(values, axis=0)) >= distinct


@settings(max_examples=2, deadline=None)
@given(st.integers(0, 1000), st.sampled_from(["D", "I"]))
def test_other_names_give_the_same_plan(seed: int, criterion: str) -> None:
    """Renamed so that their alphabet runs the other way."""
    own = (*STEPPED[:2], CHEMISTRY)
    names = ("zinc phosphate", "mill speed", "aminoalcohol")
    other = tuple({**one, "name": name} for one, name in zip(own, names, strict=True))
    first, second = (
        best_plan(_wanted(a_study(f), 16, {criterion: 1.0}, make_strata(16, ()), seed=seed))
        for f in (own, other)
    )

    np.testing.assert_array_equal(first.values, second.values)


@settings(max_examples=2, deadline=None, derandomize=True)
@given(st.integers(0, 1000))
def test_other_orders_give_a_plan_as_good(seed: int) -> None:
    """The columns change places; what the plan is worth does not."""
    own = (*RANGES[:2], CHEMISTRY)
    first, second = (
        best_plan(_wanted(a_study(f), 14, {"I": 1.0}, make_strata(14, ()), starts=48, rounds=30,
                          seed=seed)).criteria["I"]
        for f in (own, own[::-1])
    )  # fmt: skip

    assert first == pytest.approx(second, rel=1e-3)


@settings(max_examples=2, deadline=None, derandomize=True)
@given(st.integers(0, 1000))
def test_a_plan_for_several_ratios_lies_between(seed: int) -> None:
    """On the average of the ratios it beats the plans made for one; at each ratio they beat it."""
    study = a_study((RANGES[0], {**RANGES[2], "set_per": "sample"}))
    strata = _strata("batches", 12)
    low, high = 0.1, 10.0
    every: tuple[tuple[float, ...], ...] = ((low,), (high,), (low, high))
    made = {
        ratios: best_plan(_wanted(study, 12, {"I": 1.0}, strata, ratios=ratios, seed=seed,
                                  rounds=3)).values
        for ratios in every
    }  # fmt: skip
    goals = {
        ratios: prepared(_wanted(study, 12, {"I": 1.0}, strata, ratios=ratios))[0]
        for ratios in made
    }

    def worth(ratios: tuple[float, ...], values: FloatArray) -> float:
        problem = goals[ratios]
        x = code(values, problem.region.coding)
        return goal_value(problem.goal, problem.working.expansion.matrix(x))

    for ratios in made:
        for others in made:
            assert worth(ratios, made[ratios]) <= worth(ratios, made[others]) + 1e-3
    average = 0.5 * (worth((low,), made[(low, high)]) + worth((high,), made[(low, high)]))
    assert average == pytest.approx(worth((low, high), made[(low, high)]), abs=1e-9)


@settings(max_examples=2, deadline=None, derandomize=True)
@given(st.integers(0, 1000))
def test_predictions_near_given_settings_are_sharper_if_asked_for(seed: int) -> None:
    """I over a corner of the region: better there than the plan for all of it, worse elsewhere."""
    study = a_study(RANGES[:2])
    region = region_of(study)
    area = np.array([[0.8 + 0.1 * i, 8.0 + 0.1 * j] for i in range(4) for j in range(4)])
    strata = make_strata(9, ())
    near, whole = (
        best_plan(_wanted(study, 9, {"I": 1.0}, strata, area=a, seed=seed, starts=48)).values
        for a in (area, None)
    )

    def average(plan: FloatArray, points: FloatArray) -> float:
        expansion = compile_model(region.coding, make_model("quadratic", region.coding))
        X = expansion.matrix(code(plan, region.coding))
        at = expansion.matrix(code(points, region.coding))
        return float(np.einsum("ij,jk,ik->i", at, np.linalg.inv(X.T @ X), at).mean())

    everywhere = sample_region(region, 4000, np.random.default_rng(1))
    assert average(near, area) < 0.95 * average(whole, area)
    assert average(near, everywhere) > average(whole, everywhere)


@settings(max_examples=2, deadline=None, derandomize=True)
@given(st.integers(0, 1000))
def test_a_plan_climbs_under_another_ratio(seed: int) -> None:
    """Never down, and not at all where no ratio enters."""
    study = a_study((RANGES[0], {**RANGES[2], "set_per": "sample"}))
    wanted = _wanted(study, 12, {"I": 1.0}, _strata("batches", 12), seed=seed)
    before, after = other_ratio(wanted, best_plan(wanted).values, 10.0)

    assert after <= before
    free = _wanted(study, 12, {"I": 1.0}, make_strata(12, ()), seed=seed, starts=48, rounds=20)
    before, after = other_ratio(free, best_plan(free).values, 10.0)
    assert before - after <= 1e-3


def test_two_workers_find_what_one_finds() -> None:
    """Two batches of chains that do not agree at once, so that both are looked at."""
    study = a_study(RANGES[:5])
    wanted = _wanted(study, 24, {"I": 1.0}, make_strata(24, ()), starts=96, rounds=0, seed=3)
    one = best_plan(wanted)
    two = best_plan(replace(wanted, workers=2))

    assert one.groups == 12
    np.testing.assert_array_equal(one.values, two.values)
    assert (one.criteria, one.agreeing, one.groups) == (two.criteria, two.agreeing, two.groups)

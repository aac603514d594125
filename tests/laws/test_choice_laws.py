"""Laws of desirability and of the compromise."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from analysis.choice.desirability import aims_of, desirability, overall_desirability
from analysis.choice.search import choose_compromise
from analysis.fits.fit import Fit
from analysis.surface.acceptance import accept_limits
from doe.model.bench_steps import on_steps
from doe.model.coding import coding_of
from doe.model.matrix import model_columns
from doe.model.region import region_of
from doe.model.sampling import sample_region
from doe.model.terms import make_model
from doe.study.brief import Study
from tests.analysis.choice.problems import Problem, brief, fit_of, random_problem

FINITE = st.floats(-1e6, 1e6)
SHAPES = st.floats(0.1, 10.0)
UNITS = arrays.arrays(np.float64, st.integers(1, 6), elements=st.floats(0.0, 1.0))


def _goal(kind: str, worst: float, width: float, shape: float) -> dict[str, Any]:
    if kind == "target":
        return {
            "name": "r", "aim": kind, "shape": shape,
            "worst_low": worst, "best": worst + width, "worst_high": worst + 3 * width,
        }  # fmt: skip
    best = worst - width if kind == "low" else worst + width
    return {"name": "r", "aim": kind, "worst": worst, "best": best, "shape": shape}


@given(st.sampled_from(["low", "high", "target"]), FINITE, st.floats(1e-3, 1e4), SHAPES, FINITE)
def test_desirability_lies_between_zero_and_one(
    kind: str, worst: float, width: float, shape: float, value: float
) -> None:
    """Whatever the response does."""
    (aim,) = aims_of(brief([], [_goal(kind, worst, width, shape)]))
    d = float(desirability(aim, np.array(value)))

    assert 0.0 <= d <= 1.0


@given(st.sampled_from(["low", "high"]), SHAPES, FINITE, FINITE)
def test_desirability_is_monotone(kind: str, shape: float, one: float, other: float) -> None:
    """Lower is never worse where low is wanted, and the other way round."""
    (aim,) = aims_of(brief([], [_goal(kind, 100.0, 50.0, shape)]))
    better, worse = (min(one, other), max(one, other))[:: 1 if kind == "low" else -1]

    assert desirability(aim, np.array(better)) >= desirability(aim, np.array(worse))


@given(SHAPES)
def test_a_target_is_perfect_and_nothing_else_is(shape: float) -> None:
    """1 at best, less on both sides, 0 at both worsts."""
    (aim,) = aims_of(brief([], [_goal("target", 10.0, 5.0, shape)]))
    d = desirability(aim, np.array([10.0, 14.0, 15.0, 17.0, 25.0]))

    assert d[2] == 1.0
    assert d[0] == d[4] == 0.0
    assert max(d[1], d[3]) < 1.0


@given(UNITS)
def test_overall_is_zero_exactly_where_one_is(each: np.ndarray) -> None:
    """And never outside the range of its parts."""
    weights = np.linspace(1.0, 3.0, len(each))
    joint = float(overall_desirability(each, weights))

    assert (joint == 0.0) == bool(np.any(each == 0.0)) or each.min() < 1e-100
    assert each.min() - 1e-12 <= joint <= each.max() + 1e-12


@settings(max_examples=3, deadline=None)
@given(st.integers(0, 10_000))
def test_the_compromise_and_its_rivals_keep_every_limit(seed: int) -> None:
    """Ranges, shares that add to 1, limits, forbids, levels."""
    problem = random_problem(seed)
    found = choose_compromise(
        problem.study, problem.region, problem.fits, rng=np.random.default_rng(seed)
    )
    coding = problem.region.coding
    for recipe in (found.best, found.unrounded, *found.alternatives):
        row = [
            coding.labels[name].index(str(recipe.settings[name]))
            if name in coding.labels
            else float(recipe.settings[name])
            for name in coding.names
        ]
        assert problem.region.contains(np.array([row], dtype=np.float64), 1e-8)[0]
        assert 0.0 <= recipe.desirability <= found.unrounded.desirability + 1e-7


@settings(max_examples=3, deadline=None)
@given(st.integers(0, 10_000))
def test_the_compromise_lies_on_the_bench_steps(seed: int) -> None:
    """Factors and shares with steps; nothing on them is better nearby."""
    problem = _stepped(seed)
    found = choose_compromise(
        problem.study, problem.region, problem.fits, rng=np.random.default_rng(seed)
    )
    row = np.array([[float(found.best.settings[n]) for n in problem.region.coding.names]])

    assert on_steps(row, problem.region)[0]
    assert found.loss >= 0.0


@pytest.mark.parametrize("seed", [0, 1])
def test_no_setting_on_the_steps_is_better(seed: int) -> None:
    """Every mark of a small region, one by one."""
    problem = _stepped(seed)
    found = choose_compromise(
        problem.study, problem.region, problem.fits, rng=np.random.default_rng(seed)
    )
    shares = [(i / 20, j / 20, (20 - i - j) / 20) for i in range(21) for j in range(21 - i)]
    rows = np.array(
        [(*s, 1.0 + 0.1 * d, 8.0 + 0.25 * p) for s in shares for d in range(21) for p in range(9)]
    )
    rows = rows[problem.region.contains(rows)]
    objective = problem.objective

    assert objective.overall(objective.values(rows)).max() <= found.best.desirability + 1e-9


@pytest.mark.parametrize("seed", [0, 1])
def test_renaming_and_reordering_factors_permutes_the_optimum(seed: int) -> None:
    """Names and order of factors are words only."""
    rng = np.random.default_rng(seed)
    names, swapped = ("dose", "pH", "time"), ("time", "dose", "pH")
    goals = [
        _goal("low", 5.0, 20.0, 1.0) | {"name": "a"},
        _goal("high", -5.0, 20.0, 1.0) | {"name": "b"},
    ]
    first = _named(names, goals)
    rows = {g["name"]: rng.standard_normal(10) * 5.0 for g in goals}
    one = _chosen(first, {n: _by_powers(first, n, b, names) for n, b in rows.items()})
    second = _named(swapped, goals)
    two = _chosen(second, {n: _by_powers(second, n, b, names) for n, b in rows.items()})

    assert one.keys() == two.keys()
    for name in names:
        assert float(one[name]) == pytest.approx(float(two[name]), abs=1e-4)


@pytest.mark.parametrize("seed", [0, 1])
def test_within_limits_keeps_every_acceptance_limit(seed: int) -> None:
    """At predicted values, wherever that can be done."""
    problem = random_problem(seed)
    objective = problem.objective
    values = objective.values(sample_region(problem.region, 200, np.random.default_rng(seed)))
    responses = [
        r.model_dump(by_alias=True, exclude_none=True) | {"accept": {"at_most": float(v)}}
        for r, v in zip(problem.study.responses, np.median(values, axis=0), strict=True)
    ]
    dumped = problem.study.model_dump(by_alias=True, exclude_none=True)
    study = Study.model_validate(dumped | {"response": responses})
    found = choose_compromise(
        study, problem.region, problem.fits, within_limits=True, rng=np.random.default_rng(1)
    )
    if any(f.level == "stop" and "nearest miss" in f.what for f in found.findings):
        assert found.unmet
    else:
        expected = {one.response: one.value for one in found.unrounded.expected}
        assert all(
            bool(limit.met(np.array(expected[limit.response])))
            for limit in accept_limits(study.responses)
        )


def test_the_same_seed_gives_the_same_answer() -> None:
    """Bit for bit."""
    problem = random_problem(5)
    one, two = (
        choose_compromise(problem.study, problem.region, problem.fits, rng=np.random.default_rng(4))
        for _ in range(2)
    )

    assert one == two


def _stepped(seed: int) -> Problem:
    rng = np.random.default_rng(seed)
    additives = [
        {"name": name, "low": 0.1, "high": 0.8, "step": 0.05}
        for name in ("wetting", "dispersant", "hydrophobic")
    ]
    factors = [
        {"name": "dose", "low": 1.0, "high": 3.0, "step": 0.1},
        {"name": "pH", "low": 8.0, "high": 10.0, "step": 0.25},
    ]
    goals = [
        _goal("target", float(rng.uniform(-6.0, 0.0)), 4.0, 1.0) | {"name": f"r{i}"}
        for i in range(3)
    ]
    study = brief(factors, goals, additives)
    coding = coding_of(study)
    fits = {}
    for goal in goals:
        p = len(model_columns(make_model("quadratic", coding), coding))
        fits[goal["name"]] = fit_of(coding, goal["name"], rng.standard_normal(p) * 4.0)
    return Problem(study=study, region=region_of(study), fits=fits)


def _named(names: tuple[str, ...], goals: list[dict[str, Any]]) -> Study:
    return brief([{"name": n, "low": 1.0, "high": 3.0} for n in names], goals)


def _by_powers(study: Study, response: str, b: np.ndarray, names: tuple[str, ...]) -> Fit:
    """Give each product of factors the same coefficient, whatever their order."""
    plain = fit_of(coding_of(study), response, np.zeros(10))
    orders = sorted({tuple(sorted(column.term.powers)) for column in plain.columns}, key=repr)
    return replace(
        plain,
        coefficients=np.array(
            [b[orders.index(tuple(sorted(c.term.powers)))] for c in plain.columns]
        ),
    )


def _chosen(study: Study, fits: dict[str, Fit]) -> dict[str, float | str]:
    found = choose_compromise(study, region_of(study), fits, rng=np.random.default_rng(0))
    return dict(found.best.settings)

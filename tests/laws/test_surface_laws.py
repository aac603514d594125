"""Laws of predictions, traces and room."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.surface.effects import trace_effects
from analysis.surface.lines import moved, reach_along
from analysis.surface.predict import predict_response, predict_values
from analysis.surface.room import Room, find_room
from analysis.surface.stationary import stationary_point
from doe.model.coding import ShareAxis, coding_of
from doe.model.sampling import sample_region
from doe.study.brief import Study
from tests.analysis.choice.problems import Problem, brief, fit_of, random_problem

SEEDS = st.integers(0, 100_000)


def _points(problem: Problem, seed: int, n: int) -> np.ndarray:
    return sample_region(problem.region, n, np.random.default_rng(seed))


@settings(max_examples=15, deadline=None)
@given(SEEDS)
def test_a_new_run_is_never_surer_than_the_mean(seed: int) -> None:
    """Value inside the mean interval, mean interval inside the run interval."""
    problem = random_problem(seed)
    points = _points(problem, seed, 50)
    for fit in problem.fits.values():
        p = predict_response(fit, points, region=problem.region)

        assert np.all(p.run_interval[:, 0] <= p.mean_interval[:, 0])
        assert np.all(p.mean_interval[:, 0] <= p.value)
        assert np.all(p.value <= p.mean_interval[:, 1])
        assert np.all(p.mean_interval[:, 1] <= p.run_interval[:, 1])
        assert np.all(p.inside == 1.0)


@settings(max_examples=15, deadline=None)
@given(SEEDS, st.floats(0.01, 100.0))
def test_predictions_do_not_change_with_the_unit_of_a_factor(seed: int, unit: float) -> None:
    """Minutes or seconds, the coded settings are the same."""
    rng = np.random.default_rng(seed)
    b = rng.standard_normal(6)
    goal = {"name": "r", "aim": "low", "best": 0, "worst": 1}
    values = []
    for scale in (1.0, unit):
        study = brief(
            [
                {"name": "time", "low": 15.0 * scale, "high": 45.0 * scale},
                {"name": "dose", "low": 1.0, "high": 3.0, "spacing": "log"},
            ],
            [goal],
        )
        fit = fit_of(coding_of(study), "r", b)
        values.append(predict_values(fit, np.array([[22.0 * scale, 1.7]]))[0])

    assert values[0] == pytest.approx(values[1], rel=1e-9, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(SEEDS)
def test_a_moving_share_keeps_the_sum_and_the_ratios_of_the_others(seed: int) -> None:
    """Cox's direction."""
    problem = random_problem(seed)
    coding = problem.region.coding
    shares = [j for j, axis in enumerate(coding.axes) if isinstance(axis, ShareAxis)]
    if len(shares) < 3:
        return
    at = _points(problem, seed, 1)[0]
    line = moved(coding, at, shares[0], np.linspace(0.1, 0.8, 5))

    np.testing.assert_allclose(line[:, shares].sum(axis=1), 1.0)
    np.testing.assert_allclose(
        line[:, shares[1]] / line[:, shares[2]], at[shares[1]] / at[shares[2]], rtol=1e-6
    )


@settings(max_examples=15, deadline=None)
@given(SEEDS)
def test_reach_ends_exactly_where_the_region_does(seed: int) -> None:
    """Just inside is in, just outside is out."""
    problem = random_problem(seed)
    region, coding = problem.region, problem.region.coding
    at = _points(problem, seed, 1)[0]
    for j, axis in enumerate(coding.axes):
        if axis.name in ("beads", "base"):
            continue
        reach = reach_along(region, at, j)
        assert reach is not None
        width = reach.high - reach.low
        ends = np.array([reach.low, reach.high])
        nudge = 1e-4 * max(width, 1e-3) * np.array([-1.0, 1.0])

        assert region.contains(moved(coding, at, j, ends), 1e-8).all()
        assert not region.contains(moved(coding, at, j, ends + nudge), 1e-8).any()


@settings(max_examples=15, deadline=None)
@given(SEEDS)
def test_room_ends_exactly_where_a_limit_is_met(seed: int) -> None:
    """At the end the limit holds with equality; every place on the way keeps every limit."""
    problem = _limited(seed)
    at = _points(problem, seed, 1)[0]
    coding = problem.region.coding
    values = {name: predict_values(fit, at[None, :])[0] for name, fit in problem.fits.items()}
    for room in find_room(problem.study, problem.region, problem.fits, at):
        if not isinstance(room, Room) or room.setting == "beads":
            continue
        j = coding.index(room.setting)
        for end, stop in ((room.lowest, room.stopped_low), (room.highest, room.stopped_high)):
            if stop.kind != "accept" or stop.limit is None:
                continue
            way = moved(coding, at, j, np.linspace(room.at, end, 50))
            along = predict_values(problem.fits[stop.response], way)

            assert along[-1] == pytest.approx(stop.limit, rel=1e-7, abs=1e-7)
            assert np.all((along - stop.limit) * (values[stop.response] - stop.limit) >= -1e-6)


@settings(max_examples=10, deadline=None)
@given(SEEDS)
def test_a_trace_passes_through_its_base(seed: int) -> None:
    """At the base setting every trace gives the prediction of the base recipe."""
    problem = random_problem(seed)
    base = _points(problem, seed, 1)[0]
    for effect in trace_effects(problem.fits, problem.region, base, points=5):
        if effect.labels:
            here = effect.value[int(effect.base)]
            expected = predict_values(problem.fits[effect.response], base[None, :])[0]

            assert here == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(SEEDS, st.floats(0.1, 100.0))
def test_the_stationary_point_ignores_the_unit_of_the_response(seed: int, unit: float) -> None:
    """Rescaling the response moves no setting."""
    b = np.random.default_rng(seed).standard_normal(6)
    study = _square()
    first = stationary_point(fit_of(coding_of(study), "r", b))
    second = stationary_point(fit_of(coding_of(study), "r", unit * b))

    np.testing.assert_allclose(first.at_coded, second.at_coded, rtol=1e-6)
    assert first.kind == second.kind


def _square() -> Study:
    goal = {"name": "r", "aim": "low", "best": 0, "worst": 1}
    return brief([{"name": n, "low": 1.0, "high": 2.0} for n in ("x", "y")], [goal])


def _limited(seed: int) -> Problem:
    """Give every response an upper limit at the middle of what it does."""
    problem = random_problem(seed)
    points = _points(problem, seed + 1, 100)
    dumped = problem.study.model_dump(by_alias=True, exclude_none=True)
    for response in dumped["response"]:
        middle = float(np.median(predict_values(problem.fits[response["name"]], points)))
        response["accept"] = {"at_most": middle}
    return Problem(study=Study.model_validate(dumped), region=problem.region, fits=problem.fits)

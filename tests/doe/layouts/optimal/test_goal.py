"""Goals of a search against their definitions, on plans small enough for plain arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from doe.layouts.optimal.goal import (
    can_tell,
    criterion_values,
    goal_value,
    make_goal,
    parse_criterion,
)
from doe.study.settings import FloatArray

P = 4
RNG = np.random.default_rng(2)
X = RNG.normal(size=(9, P))
REGION = RNG.normal(size=(50, P))
MOMENTS = REGION.T @ REGION / len(REGION)
# Any basis will do: what a plan is worth must not hang on it.
BASIS = RNG.normal(size=(P, P))
INVERSE = np.linalg.inv(X.T @ X)
ONE: dict[float, FloatArray] = {1.0: np.eye(9)}


def test_criteria_agree_with_their_definitions() -> None:
    """D, A and I by normal equations, where those are harmless."""
    found = criterion_values(X, np.eye(9), MOMENTS)

    assert found["D"] == pytest.approx(np.linalg.det(X.T @ X) ** 0.25 / 9, rel=1e-12)
    assert found["A"] == pytest.approx(np.trace(INVERSE), rel=1e-10)
    assert found["I"] == pytest.approx(
        np.mean([row @ INVERSE @ row for row in REGION]), rel=1e-10
    )  # fmt: skip


def test_a_plan_that_cannot_tell_the_terms_is_worth_nothing() -> None:
    """Two columns alike: no D, infinite variances, an infinite goal."""
    alike = X.copy()
    alike[:, 1] = alike[:, 0]
    found = criterion_values(alike, np.eye(9), MOMENTS)

    assert (found["D"], found["I"], found["A"]) == (0.0, np.inf, np.inf)
    assert goal_value(make_goal({"D": 1.0}, MOMENTS, BASIS, ONE), alike) == np.inf


@pytest.mark.parametrize("name", ["D", "I", "A"])
def test_the_goal_is_the_log_of_its_criterion(name: str) -> None:
    """But for a constant of D, the basis; the record's D grows where the goal falls."""
    goal = make_goal({name: 1.0}, MOMENTS, BASIS, ONE)
    other = RNG.normal(size=(9, P))
    ours = goal_value(goal, X) - goal_value(goal, other)
    theirs = np.log(
        criterion_values(X, np.eye(9), MOMENTS)[name]
        / criterion_values(other, np.eye(9), MOMENTS)[name]
    )

    assert ours == pytest.approx(-theirs if name == "D" else theirs, abs=1e-9)


def test_a_compound_is_the_weighted_sum_of_its_parts() -> None:
    """0.7 I + 0.3 D, each in logs."""
    parts = {n: goal_value(make_goal({n: 1.0}, MOMENTS, BASIS, ONE), X) for n in ("I", "D")}
    both = make_goal({"I": 0.7, "D": 0.3}, MOMENTS, BASIS, ONE)

    assert goal_value(both, X) == pytest.approx(0.7 * parts["I"] + 0.3 * parts["D"], abs=1e-12)


def test_i_averages_over_the_area_that_is_given() -> None:
    """Over half of the points, and the moments of the region stay what the record uses."""
    area = REGION[:25].T @ REGION[:25] / 25
    goal = make_goal({"I": 1.0}, MOMENTS, BASIS, ONE, area=area)

    assert goal_value(goal, X) == pytest.approx(
        np.log(np.mean([row @ INVERSE @ row for row in REGION[:25]])), abs=1e-10
    )


def test_a_bayesian_d_adds_what_is_known_of_potential_terms() -> None:
    """|X'X + K|, K = what primary terms leave of a potential term's mean square over the region.

    Source: DuMouchel and Jones (1994), Technometrics 36, 37-47, with the standard deviation over
    the region for the range.
    """
    potential = np.array([False, False, False, True])
    goal = make_goal({"Bayesian D": 1.0}, MOMENTS, np.eye(P), ONE, potential)
    left = REGION[:, 3] - REGION[:, :3] @ np.linalg.lstsq(REGION[:, :3], REGION[:, 3])[0]
    K = np.diag([0.0, 0.0, 0.0, np.mean(left**2)])

    assert goal_value(goal, X) == pytest.approx(-np.log(np.linalg.det(X.T @ X + K)) / P, abs=1e-9)


def test_a_bayesian_d_judges_fewer_runs_than_terms() -> None:
    """Three runs tell three primary terms, with an eye on the fourth."""
    potential = np.array([False, False, False, True])
    goal = make_goal({"Bayesian D": 1.0}, MOMENTS, BASIS, {1.0: np.eye(3)}, potential)

    assert np.isfinite(goal_value(goal, X[:3]))


@pytest.mark.parametrize(
    ("text", "weights"),
    [
        ("D", {"D": 1.0}),
        ("i", {"I": 1.0}),
        ("0.7 I + 0.3 D", {"I": 0.7, "D": 0.3}),
        ("3*I+A", {"I": 0.75, "A": 0.25}),
        ("bayesian d", {"Bayesian D": 1.0}),
        ("I + 0 D", {"I": 1.0}),
    ],
)
def test_criteria_are_read_as_they_are_written(text: str, weights: dict[str, float]) -> None:
    """Weights are made to sum to 1; what has none is left out."""
    assert parse_criterion(text) == pytest.approx(weights)


@pytest.mark.parametrize("text", ["G", "", "I + ", "0 I", "I D"])
def test_what_is_no_criterion_is_refused(text: str) -> None:
    """With the part that is not understood."""
    with pytest.raises(ValueError, match=r"criteri"):
        parse_criterion(text)


def test_a_region_without_width_cannot_tell_its_terms() -> None:
    """A term that the others explain, and one that is 0 all over the region."""
    alike = REGION.copy()
    alike[:, 1] = 2 * alike[:, 0]
    none = REGION.copy()
    none[:, 2] = 0.0

    assert can_tell(MOMENTS)
    assert not can_tell(alike.T @ alike)
    assert not can_tell(none.T @ none)

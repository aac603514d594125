"""Desirability of one response, and of all together."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.choice.desirability import aims_of, desirability, height, overall_desirability
from doe.errors import OptimumError
from tests.analysis.choice.problems import brief

LOW = {"name": "viscosity", "aim": "low", "best": 800, "worst": 3000}
HIGH = {"name": "colour strength", "aim": "high", "best": 105, "worst": 95, "shape": 2.0}
TARGET = {"name": "pH", "aim": "target", "best": 8.5, "worst_low": 8.0, "worst_high": 9.5}
PLAIN = {"name": "gloss"}


def test_ramps_run_straight_from_worst_to_best() -> None:
    """Derringer and Suich (1980), equations 1 and 2, with exponents 1, 2 and 1."""
    low, high, target = aims_of(brief([], [LOW, HIGH, TARGET]))

    np.testing.assert_allclose(
        desirability(low, np.array([500.0, 800.0, 1900.0, 3000.0, 9000.0])), [1, 1, 0.5, 0, 0]
    )
    np.testing.assert_allclose(
        desirability(high, np.array([90.0, 95.0, 100.0, 105.0])), [0, 0, 0.25, 1]
    )
    np.testing.assert_allclose(
        desirability(target, np.array([7.9, 8.25, 8.5, 9.0, 9.6])), [0, 0.5, 1, 0.5, 0]
    )


def test_heights_go_on_beyond_both_ends() -> None:
    """They are what leads a search off the flat zero."""
    (low,) = aims_of(brief([], [LOW]))

    np.testing.assert_allclose(height(low, np.array([-1400.0, 5200.0])), [2.0, -1.0])


def test_a_value_that_cannot_be_told_is_worthless() -> None:
    """NaN is no reading of any worth."""
    (low,) = aims_of(brief([], [LOW]))

    assert desirability(low, np.array([np.nan]))[0] == 0.0


def test_overall_is_the_weighted_geometric_mean() -> None:
    """0.25 with weight 2 and 1 with weight 1: 0.25^(2/3)."""
    joint = overall_desirability(np.array([0.25, 1.0]), [2.0, 1.0])

    assert joint == pytest.approx(0.25 ** (2 / 3))


def test_a_response_without_aim_does_not_count() -> None:
    """It is predicted, not weighed."""
    assert [aim.response for aim in aims_of(brief([], [PLAIN, LOW]))] == ["viscosity"]


def test_a_view_replaces_the_importances_it_names() -> None:
    """The others keep the brief's own."""
    study = brief(
        [], [LOW, HIGH], view=[{"role": "colourist", "importance": {"colour strength": 3.0}}]
    )

    assert [aim.importance for aim in aims_of(study, "Colourist")] == [1.0, 3.0]


def test_an_unknown_view_is_refused_with_those_there_are() -> None:
    """The error names the roles."""
    study = brief([], [LOW], view=[{"role": "colourist", "importance": {}}])

    with pytest.raises(OptimumError, match="'colourist'"):
        aims_of(study, "production")


def test_no_aim_at_all_is_refused() -> None:
    """Without aims no recipe is better than another."""
    with pytest.raises(OptimumError, match="no response has an aim"):
        aims_of(brief([], [PLAIN]))


@pytest.mark.parametrize(
    "fault",
    [
        {"name": "r", "aim": "low", "best": 5},
        {"name": "r", "aim": "low", "best": 5, "worst": 5},
        {"name": "r", "aim": "low", "best": 5, "worst": 3},
        {"name": "r", "aim": "target", "best": 5, "worst_low": 4},
    ],
)
def test_ends_that_make_no_ramp_are_refused(fault: dict[str, object]) -> None:
    """Missing, equal, or on the wrong side."""
    with pytest.raises(OptimumError, match="cannot be measured"):
        aims_of(brief([], [fault]))

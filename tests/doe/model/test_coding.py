"""Coding of settings."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from doe.errors import StudyError
from doe.model.coding import ChoiceAxis, NumericAxis, code, coding_of, decode, settings_table


def test_ends_of_a_range_code_to_minus_one_and_one(make_study: Any, factor: Any) -> None:
    """Even spacing by value, log spacing by ln; the middle is 0 (DESIGN.md, section 5)."""
    coding = coding_of(make_study((), [factor["dose"], factor["pH"]]))
    values = np.array([[0.8, 8.0], [(0.8 * 2.4) ** 0.5, 8.75], [2.4, 9.5]])

    np.testing.assert_allclose(code(values, coding), [[-1, -1], [0, 0], [1, 1]], atol=1e-12)


def test_shares_and_choices_keep_their_numbers(make_study: Any, package: Any, factor: Any) -> None:
    """Shares enter as real proportions, a choice as the index of its level."""
    coding = coding_of(make_study(package, [factor["neutraliser"]]))
    values = np.array([[0.25, 0.6, 0.15, 1.0]])

    np.testing.assert_array_equal(code(values, coding), values)


def test_numeric_levels_code_by_least_and_greatest(make_study: Any, factor: Any) -> None:
    """0.6, 0.8, 1.2 mm: the middle level lies below the middle of the range."""
    coding = coding_of(make_study((), [factor["bead diameter"]]))

    np.testing.assert_allclose(
        code(np.array([[0.6], [0.8], [1.2]]), coding).ravel(), [-1, -1 / 3, 1], atol=1e-12
    )


def ranged(**more: Any) -> dict[str, Any]:
    """A dose with its own range at two of three dispersant chemistries."""
    return {
        "name": "dose",
        "unit": "%",
        "range": [
            {"when": {"chemistry": "polyacrylate"}, "low": 0.5, "high": 1.5},
            {"when": {"Chemistry": "multi-anchor"}, "low": 2.0, "high": 6.0},
        ],
        **more,
    }


CHEMISTRY = {"name": "chemistry", "levels": ["polyacrylate", "none", "multi-anchor"]}


def test_a_ranged_factor_is_coded_inside_its_own_levels_range(make_study: Any) -> None:
    """The middle of each level's range is 0, whatever its numbers."""
    coding = coding_of(make_study((), [CHEMISTRY, ranged()]))
    values = np.array([[0, 1.0], [0, 1.5], [2, 4.0], [2, 2.0], [1, np.nan]])

    coded = code(values, coding)

    np.testing.assert_allclose(coded[:, 1], [0, 1, 0, -1, np.nan])
    np.testing.assert_allclose(decode(coded, coding), values)


def test_a_level_without_a_range_lacks_the_factor(make_study: Any) -> None:
    """Even where the factor states a general low and high (DESIGN.md, section 2)."""
    axis = coding_of(make_study((), [CHEMISTRY, ranged(low=0.1, high=9.0)])).axes[1]

    assert isinstance(axis, NumericAxis)
    assert [(e.level, e.low) for e in axis.ranges] == [
        ("polyacrylate", 0.5),
        ("none", None),
        ("multi-anchor", 2.0),
    ]
    assert (axis.low, axis.high) == (0.5, 6.0)


def test_a_dose_of_a_package_is_never_lacking(make_study: Any, package: Any) -> None:
    """A package without a dose cannot be weighed: its general range holds at the other levels."""
    dose = ranged(role="dose", low=1.0, high=3.0)

    axis = coding_of(make_study(package, [CHEMISTRY, dose])).axes[-1]

    assert isinstance(axis, NumericAxis)
    assert [(e.low, e.high) for e in axis.ranges] == [(0.5, 1.5), (1.0, 3.0), (2.0, 6.0)]


def test_ranges_on_two_choices_are_refused(make_study: Any) -> None:
    """The range of a setting must be one number at each level of one choice."""
    dose = ranged()
    dose["range"] = [*dose["range"], {"when": {"mill": "pearl"}, "low": 1, "high": 2}]
    mill = {"name": "mill", "levels": ["pearl", "disc"]}

    with pytest.raises(StudyError, match="one named choice"):
        coding_of(make_study((), [CHEMISTRY, mill, dose]))


def test_a_factor_without_any_range_is_refused(make_study: Any) -> None:
    """It could not be coded."""
    with pytest.raises(StudyError, match="'pH' has no range"):
        coding_of(make_study((), [{"name": "pH"}]))


def test_held_factors_are_no_axes(make_study: Any, factor: Any) -> None:
    """They are the same in every run."""
    held = {"name": "bead size", "unit": "mm", "value": 0.8}

    assert coding_of(make_study((), [held, factor["pH"]])).names == ("pH",)


def test_a_log_factor_at_zero_is_open_and_not_infinite(make_study: Any, factor: Any) -> None:
    """A reading of 0 on a log-spaced factor must not enter a model as −∞."""
    coding = coding_of(make_study((), [factor["dose"]]))

    assert np.isnan(code(np.array([[0.0]]), coding))[0, 0]


def test_a_settings_table_names_levels(make_study: Any, factor: Any) -> None:
    """Tables leave the numbers of levels behind."""
    coding = coding_of(make_study((), [factor["neutraliser"], factor["pH"]]))

    assert settings_table(np.array([[1.0, 8.5]]), coding).row(0) == {
        "neutraliser": "sodium hydroxide",
        "pH": 8.5,
    }
    assert isinstance(coding.axes[0], ChoiceAxis)

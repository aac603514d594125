"""Strata of columns, and groups of equal settings."""

from __future__ import annotations

import numpy as np

from doe.appraisal.freedom import column_strata, finest, replicate_groups
from doe.appraisal.runs import runs_of_values
from doe.model.coding import coding_of
from doe.model.strata import Stratum
from tests.doe.layouts.briefs import RANGES, a_study


def test_a_column_belongs_to_the_coarsest_stratum_that_holds_it_constant() -> None:
    """Days of two batches of two samples."""
    day, batch = np.repeat([1, 2], 4), np.repeat([1, 2, 3, 4], 2)
    X = np.column_stack([day, batch % 2, np.tile([0.0, 1.0], 4)]).astype(np.float64)
    runs = runs_of_values(X, Stratum(name="day", unit=day), Stratum(name="batch", unit=batch))

    assert column_strata(X, runs) == ("day", "batch", "residual")


def test_a_contrast_is_judged_in_the_finest_stratum_it_touches() -> None:
    """Part of it varies there."""
    assert finest(("batch", "day"), ("day", "batch")) == "batch"
    assert finest(("day", "residual", "batch"), ("day", "batch")) == "residual"


def test_equal_settings_are_replicates_to_the_last_digit_that_counts() -> None:
    """Nine places, coded; a setting that a level lacks equals itself."""
    coding = coding_of(a_study(RANGES[:2]))
    values = np.array([[1.6, 8.0], [1.6 + 1e-12, 8.0], [1.601, 8.0], [np.nan, 8.0], [np.nan, 8.0]])

    first, second, third, fourth, fifth = replicate_groups(values, coding)

    assert first == second != third
    assert fourth == fifth != first

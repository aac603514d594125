"""Limits of variance components by the profile of the restricted likelihood."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.fits.reml import solve_mixed
from analysis.fits.variance_interval import component_intervals
from doe.model.strata import Stratum, make_strata

ROWS = Path(__file__).parents[2] / "reference" / "mixed-unbalanced" / "split_plot.csv"


@pytest.mark.parametrize(("y", "low", "high"), [("y", 0.5694532, 3.877184), ("z", 0.0, 0.05854798)])
def test_limits_of_the_batches_agree_with_another_calculation(
    y: str, low: float, high: float
) -> None:
    """Calculated in R 4.2.2 with whole matrices and `optimize` for the residual variance.

    The second response has a zero component, whose interval is open at 0.
    """
    with ROWS.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    a, b, values, batch = (
        np.array([float(row[n]) for row in rows]) for n in ("a", "b", y, "batch")
    )
    X = np.column_stack([np.ones(len(a)), a, b, b**2, a * b])
    strata = make_strata(len(a), [Stratum(name="batch", unit=batch.astype(np.int64))])
    found = solve_mixed(X, values, strata)
    interval = component_intervals(found.model, found.components)[0]

    assert interval == pytest.approx((low, high), rel=2e-4)

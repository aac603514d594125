"""What planning assumes of strata is what fitting does with them."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.fits.kenward_roger import single_df
from analysis.fits.reml import solve_mixed
from doe.appraisal.information import information_of
from doe.appraisal.intervals import effective_df
from doe.appraisal.runs import runs_of_values
from doe.model.strata import Stratum, make_strata


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_planned_df_and_errors_are_those_of_a_fit_with_the_same_ratios(seed: int) -> None:
    """Satterthwaite's df before the bench and Kenward and Roger's after it, unequal batches."""
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(10), rng.integers(1, 5, 10))
    day = batch // 2
    X = np.column_stack(
        [np.ones(len(batch)), rng.normal(size=10)[batch], rng.uniform(-1, 1, len(batch))]
    )
    y = rng.normal(size=5)[day] + rng.normal(size=10)[batch] + 0.5 * rng.normal(size=len(batch))
    units = [Stratum(name="day", unit=day), Stratum(name="batch", unit=batch)]
    strata = make_strata(len(y), units)
    fit = solve_mixed(X, y, strata)
    ratio = dict(zip((one.name for one in strata.random), fit.ratios, strict=True))
    runs = runs_of_values(np.zeros((len(y), 1)), *units)
    information = information_of(X, runs, ratio)
    rows = np.vstack([np.eye(3), rng.normal(size=(3, 3))])

    planned = information.variance_at(rows) * fit.components[-1]
    found = np.einsum("gp,pq,gq->g", rows, fit.adjustment.unadjusted, rows)
    np.testing.assert_allclose(planned, found)
    np.testing.assert_allclose(
        effective_df(rows, information, runs, ratio), single_df(fit.adjustment, rows)
    )

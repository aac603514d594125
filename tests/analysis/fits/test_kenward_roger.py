"""Degrees of freedom of tests of several rows, where the scaled F of the source has no answer."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.kenward_roger import KenwardRoger, contrast_test, pooled_df, single_df

P = 30
# One component known on 6 degrees of freedom: Var(b) = θ I, W = 2 θ² / 6.
ONE = KenwardRoger(
    strata=("residual",),
    unadjusted=np.eye(P),
    slopes=np.eye(P)[None],
    component_covariance=np.array([[2 / 6]]),
)


def test_rows_of_one_freedom_have_that_freedom_together() -> None:
    """E = q ν / (ν − 2) gives 2 E / (E − q) = ν."""
    rows = np.eye(P)[:5]

    assert single_df(ONE, rows) == pytest.approx([6.0] * 5)
    assert pooled_df(ONE, rows) == pytest.approx(6.0)


def test_many_rows_on_few_degrees_of_freedom_still_have_an_answer() -> None:
    """Moments of 25 rows on 6 degrees of freedom match no F; a test must not end in a minus."""
    test = contrast_test(ONE, np.eye(P), np.ones(P), np.eye(P)[:25])

    assert test.den_df > 0
    assert 0 < test.p < 1

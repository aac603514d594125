"""Draws of variance components: mean squares where the plan is balanced."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.risk.components import chi_square, make_components
from analysis.risk.response_part import BATCH, TEST, make_part, why_refused
from tests.analysis.risk.small_studies import DOSES, TIMES, two_in_batches


def test_a_balanced_plan_is_drawn_from_its_mean_squares() -> None:
    """λ of the batch is MS/m on batches − terms df, the residual's on what is left within.

    Searle, Casella and McCulloch (1992), chapter 3, from memory: REML is the analysis of variance.
    """
    data, fitted = two_in_batches()
    fit = fitted["gloss"].fit
    part = make_part(fit)
    per, b = len(TIMES), len(DOSES)
    means = np.ravel(data["gloss"].repeats).reshape(b, per)
    X = np.stack([np.ones(b), DOSES], axis=1)
    left = means.mean(axis=1) - X @ np.linalg.lstsq(X, means.mean(axis=1), rcond=None)[0]

    assert part.strata == ("batch", "residual")
    np.testing.assert_allclose(part.components.scales[0], (left**2).sum() / (b - 2), rtol=1e-5)
    np.testing.assert_allclose(part.components.df, [b - 2, b * per - b - 1], rtol=1e-5)
    np.testing.assert_allclose(
        np.tensordot(part.components.estimates, part.spread, axes=1), fit.covariance, rtol=1e-9
    )
    assert [(unit.source, unit.weight) for unit in part.units] == [(BATCH, 1.0), (TEST, 1.0)]


def test_draws_have_the_law_of_scaled_inverse_chi_square() -> None:
    """Quantiles of σ̂² ν / χ²(ν); a component found to be 0 is drawn above 0 at times."""
    levels = np.array([0.025, 0.3, 0.5, 0.9, 0.999])
    one = make_components(np.array([2.0]), np.array([[2.0 * 4.0 / 7.0]]))
    z = stats.norm.ppf(levels)[:, None]
    np.testing.assert_allclose(
        one.drawn(z)[:, 0], 2.0 * 7.0 / stats.chi2.isf(levels, 7.0), rtol=1e-9
    )
    # λ of the batch, 0 + σ²/3 on 6 df, σ² = 1 on 16.
    W = np.array([[2 / 9 / 6 + 2 / 16 / 9, -2 / 16 / 3], [-2 / 16 / 3, 2 / 16]])
    found = make_components(np.array([0.0, 1.0]), W)
    drawn = found.drawn(np.random.default_rng(1).standard_normal((40_000, 2)))
    np.testing.assert_allclose(found.df, [6.0, 16.0])
    # σ²_batch > 0 where λ > σ²/3: as often as F(16, 6) lies below 1... of the two χ².
    assert (drawn[:, 0] > 0).mean() == pytest.approx(stats.f.cdf(1.0, 6, 16), abs=0.01)


@pytest.mark.parametrize("df", [1.0, 2.7, 30.0])
def test_the_curve_of_chi_square_is_the_distribution(df: float) -> None:
    """Both tails against scipy; the curve is 1e-9 off at most."""
    z = np.linspace(-7.0, 7.0, 301)
    wanted = np.where(
        z < 0, stats.chi2.ppf(stats.norm.cdf(z), df), stats.chi2.isf(stats.norm.sf(z), df)
    )
    np.testing.assert_allclose(chi_square(z, df), wanted, rtol=1e-9)


def test_a_fit_that_knows_its_scatter_is_not_refused() -> None:
    """Nothing stands in the way of an ordinary fit."""
    _, fitted = two_in_batches()
    assert why_refused(fitted["gloss"].fit) == ""

"""Half-normal plots of effects."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy import stats

from analysis.figures.half_normal import draw_half_normal, draw_units
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.half_normal import half_normal, half_normal_scores, pseudo_error
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of
from tests.analysis.fits.batches import split_plot

NAMES = ("a", "b", "c", "d")


def _factorial(seed: int, effect: float = 0.0, centre: int = 6) -> FittedResponse:
    """Fit interactions to a full factorial of four factors with centre runs; only `a` may act."""
    rng = np.random.default_rng(seed)
    study = study_of(factors=[range_factor(name) for name in NAMES])
    corners = [dict(zip(NAMES, corner, strict=True)) for corner in product((-1.0, 1.0), repeat=4)]
    rows = [*corners, *([dict.fromkeys(NAMES, 0.0)] * centre)]
    readings = [{**row, "y": effect * row["a"] + rng.standard_normal()} for row in rows]
    data, coding = adopt(study, readings, "y")
    return fit_response(data, coding, model="interactions")


def test_scores_are_quantiles_of_the_half_normal_curve() -> None:
    """Against scipy's half-normal at (i − ½)/n, Daniel (1959)."""
    expected = stats.halfnorm.ppf((np.arange(1, 16) - 0.5) / 15)

    np.testing.assert_allclose(half_normal_scores(15), expected, rtol=1e-12)


def test_the_pseudo_error_leaves_what_acts_aside() -> None:
    """By hand: median 2.5, first 3.75; below 9.375 stand 1, 2, 3 with median 2 [calculated]."""
    assert pseudo_error(np.array([1.0, -2.0, 3.0, 100.0])) == pytest.approx(3.0)


def test_sizes_are_those_of_t_in_order() -> None:
    """One entry an effect; the intercept is none."""
    fitted = _factorial(1, effect=5.0)
    (found,) = half_normal(fitted.fit, fitted.assessment)
    t = sorted(abs(row.t or 0.0) for row in fitted.assessment.coefficients if row.powers)

    np.testing.assert_allclose(found.effects, t, rtol=1e-9)
    assert found.standing_out[0] == "a"


def test_effects_of_nothing_stay_below_the_upper_end_in_19_of_20_cases() -> None:
    """2000 other draws of tied effects over one shared error: a multivariate t of scipy."""
    fitted = _factorial(2)
    (found,) = half_normal(fitted.fit, fitted.assessment)
    inner = fitted.fit.covariance[1:, 1:]
    size = np.sqrt(np.diag(inner))
    curve = stats.multivariate_t(
        shape=inner / np.outer(size, size), df=fitted.assessment.residual_df, seed=5
    )
    drawn = np.sort(np.abs(curve.rvs(2000)), axis=1)

    assert (drawn <= np.array(found.upper)).mean() == pytest.approx(0.95, abs=0.02)
    assert (drawn >= np.array(found.lower)).mean() == pytest.approx(0.95, abs=0.02)


def test_a_saturated_plan_is_judged_by_lenths_error() -> None:
    """Seven factors in eight runs leave no error: products of three columns carry four of them."""
    names = "abcdefg"
    study = study_of(factors=[range_factor(name) for name in names])
    rng = np.random.default_rng(3)
    corners = [
        (a, b, c, a * b, a * c, b * c, a * b * c) for a, b, c in product((-1.0, 1.0), repeat=3)
    ]
    rows = [
        {**dict(zip(names, row, strict=True)), "y": 9 * row[1] + 0.1 * rng.standard_normal()}
        for row in corners
    ]
    data, coding = adopt(study, rows, "y")
    fitted = fit_response(data, coding, model="linear")
    (found,) = half_normal(fitted.fit, fitted.assessment)

    own = np.array([row.estimate for row in fitted.assessment.coefficients if row.powers])
    assert found.by_lenth
    assert found.standing_out[0] == "b"
    np.testing.assert_allclose(found.effects, np.sort(np.abs(own)) / pseudo_error(own))


def test_in_batches_effects_are_judged_in_their_own_stratum() -> None:
    """Terms in the time, and dose × time, are told within batches; too few between them."""
    data, coding = split_plot(times=(15.0, 25.0, 35.0, 45.0))
    fitted = fit_response(data, coding, model="quadratic")
    (found,) = half_normal(fitted.fit, fitted.assessment)
    drawn = draw_half_normal(fitted.fit, [found])
    units = draw_units(fitted.fit, fitted.assessment.units)

    assert found.stratum == "residual"
    assert set(found.labels) == {"time", "time²", "dose × time"}
    assert drawn.figure.axes[0].get_xlabel() == "half-normal score"
    assert units.figure.axes[0].get_xlabel() == "normal quantile, batch"

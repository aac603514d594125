"""Readings off the scale: the same answer by other ways, and what is said where there is none."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from analysis.fits.likelihood.censored import CensoredRows, PerfectFitError, fit_censored
from analysis.fits.likelihood.row_forms import log_normal_between
from doe.study.settings import FloatArray

B, M = 8, 3
BATCH = np.repeat(np.arange(B), M)


def _rows(seed: int = 1, *, batches: bool = True) -> CensoredRows:
    rng = np.random.default_rng(seed)
    X = np.column_stack(
        [np.ones(B * M), np.repeat(rng.choice([-1, 1.0], B), M), np.tile([-1, 0, 1.0], B)]
    )
    y = X @ [5, 1, 0.7] + np.repeat(rng.normal(0, 0.8, B), M) + rng.normal(0, 0.5, B * M)
    low, high = y.copy(), y.copy()
    low[y > 6], high[y > 6] = 6, np.inf
    low[y < 4.3], high[y < 4.3] = -np.inf, 4.3
    between = (y > 5) & (y < 5.3)
    low[between], high[between] = 5, 5.3
    batch = tuple(map(str, BATCH)) if batches else None
    return CensoredRows(design=X, low=low, high=high, weight=np.ones(B * M), batch=batch)


def _log_likelihood(rows: CensoredRows, at: FloatArray) -> float:
    """Integrate over each batch by quadrature of another kind, other parameters."""
    b, sd, batch_sd = at[:3], np.exp(at[3]), at[4]
    # The trapezium rule on a smooth height that falls to nothing at both ends is exact to rounding.
    u = np.linspace(-9.0, 9.0, 3001)
    mean = (rows.design @ b)[:, None] + batch_sd * u
    low, high = rows.low[:, None], rows.high[:, None]
    between = stats.norm.cdf((high - mean) / sd) - stats.norm.cdf((low - mean) / sd)
    read = stats.norm.pdf(np.where(rows.is_exact[:, None], low - mean, 0.0) / sd) / sd
    rows_log = np.log(np.where(rows.is_exact[:, None], read, between))
    by_batch = np.array([rows_log[BATCH == j].sum(axis=0) for j in range(B)])
    height = np.exp(by_batch) * stats.norm.pdf(u)
    return float(np.log(integrate.trapezoid(height, u)).sum())


def test_likelihood_with_batches_is_that_of_plain_integration() -> None:
    """Same height and a flat slope by differences, in (β, ln σ, σ_batch)."""
    rows = _rows()
    found = fit_censored(rows)
    assert found.batch_sd is not None
    at = np.array([*found.coefficients, np.log(found.sd), found.batch_sd])
    assert _log_likelihood(rows, at) == pytest.approx(found.log_likelihood, abs=1e-9)
    for j in range(5):
        step = 1e-3 * np.eye(5)[j]
        slope = (_log_likelihood(rows, at + step) - _log_likelihood(rows, at - step)) / 2e-3
        assert slope == pytest.approx(0.0, abs=2e-3)
        bend = _log_likelihood(rows, at + step) + _log_likelihood(rows, at - step)
        bend = (bend - 2 * found.log_likelihood) / 1e-6
        # The observed information's diagonal, by the covariance in the same parameters.
        assert -bend == pytest.approx(np.linalg.inv(found.covariance)[j, j], rel=1e-4)


def test_more_nodes_change_nothing() -> None:
    """DESIGN of the quadrature: 1e-8 of the log-likelihood."""
    assert fit_censored(_rows()).maximum.nodes_change < 1e-8


def test_without_batches_another_optimiser_in_other_parameters_agrees() -> None:
    """Scipy's simplex over (β, ln σ)."""
    rows = _rows(batches=False)
    found = fit_censored(rows)

    def fall(at: FloatArray) -> float:
        mean, sd = rows.design @ at[:3], np.exp(at[3])
        exact = rows.is_exact
        gap = log_normal_between((rows.low - mean) / sd, (rows.high - mean) / sd)
        with np.errstate(invalid="ignore"):
            read = stats.norm.logpdf(np.where(exact, rows.low, 0.0), mean, sd)
        return -float(np.where(exact, read, gap).sum())

    with np.errstate(divide="ignore", invalid="ignore"):
        best = optimize.minimize(
            fall, [5.0, 0.5, 0.5, 0.0], method="Nelder-Mead",
            options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000, "maxfev": 8000},
        )  # fmt: skip
    np.testing.assert_allclose(
        [*found.coefficients, np.log(found.sd)], best.x, rtol=1e-5, atol=1e-6
    )
    assert found.log_likelihood == pytest.approx(-best.fun, abs=1e-9)


def test_all_read_without_batches_is_least_squares() -> None:
    """σ² of maximum likelihood is the residual sum of squares over n."""
    rng = np.random.default_rng(2)
    X = np.column_stack([np.ones(12), rng.normal(size=12)])
    y = X @ [3.0, 1.0] + rng.normal(0, 0.3, 12)
    found = fit_censored(CensoredRows(design=X, low=y, high=y, weight=np.ones(12)))
    b, rss = np.linalg.lstsq(X, y, rcond=None)[:2]
    np.testing.assert_allclose(found.coefficients, b, rtol=1e-9)
    assert found.sd**2 == pytest.approx(float(rss[0]) / 12, rel=1e-9)


def test_a_level_that_gelled_throughout_has_no_end_and_is_held() -> None:
    """The coefficient runs off; the direction names it, the numbers stay finite."""
    rng = np.random.default_rng(4)
    level = np.repeat([-1.0, 1.0], 6)
    x = np.tile(np.linspace(-1, 1, 6), 2)
    y = 5 + 0.4 * x + rng.normal(0, 0.2, 12)
    low, high = y.copy(), y.copy()
    low[level > 0], high[level > 0] = 7.0, np.inf
    X = np.column_stack([np.ones(12), level, x])
    found = fit_censored(CensoredRows(design=X, low=low, high=high, weight=np.ones(12)))
    assert found.runs_off is not None
    assert abs(found.runs_off[2]) < 1e-9 < abs(found.runs_off[1])
    assert np.isfinite(found.coefficients).all()
    assert found.coefficients[0] + found.coefficients[1] > 7.0


def test_as_many_coefficients_as_readings_leave_no_scatter() -> None:
    """Three readings on the scale, three coefficients, one above that agrees with them."""
    X = np.array([[1.0, -1, 1], [1, 0, 0], [1, 1, 1], [1, 2, 4]])
    low, high = np.array([1.0, 2, 5, 6]), np.array([1.0, 2, 5, np.inf])
    with pytest.raises(PerfectFitError):
        fit_censored(CensoredRows(design=X, low=low, high=high, weight=np.ones(4)))


@pytest.mark.parametrize(("low", "high"), [(9.0, 10.0), (-10.0, -9.0), (-0.5, 0.7), (30.0, 31.0)])
def test_differences_of_the_normal_curve_keep_their_digits(low: float, high: float) -> None:
    """Against integration of the density scaled by its height."""
    near = min(abs(low), abs(high)) if low * high > 0 else 0.0
    scaled = integrate.quad(
        lambda t: np.exp((near**2 - t**2) / 2), low, high, epsabs=0, epsrel=1e-12
    )[0]
    expected = np.log(scaled) - near**2 / 2 - 0.5 * np.log(2 * np.pi)
    found = log_normal_between(np.array([low]), np.array([high]))[0]
    assert found == pytest.approx(expected, rel=1e-10)

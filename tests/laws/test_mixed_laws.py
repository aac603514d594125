"""Laws of fits whose rows share units: what must hold for any readings whatever."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from analysis.fits.fitted_response import fit_response
from analysis.fits.kenward_roger import contrast_test, single_df
from analysis.fits.least_squares import solve_least_squares
from analysis.fits.likelihood_of_mixed import maximum_likelihood
from analysis.fits.reml import MixedSolution, solve_mixed
from analysis.fits.variance_model import variance_model
from analysis.fits.variance_search import highest
from analysis.surface.predict import predict_response
from doe.model.strata import Strata, Stratum, make_strata
from doe.study.settings import FloatArray
from tests.analysis.fits.batches import split_plot

seeds = st.integers(0, 2**32 - 1)
quick = settings(max_examples=12, deadline=None)


def _rows(rng: np.random.Generator, *names: str) -> tuple[FloatArray, FloatArray, Strata]:
    """Make unequal batches on days, two settings and readings of some ratio."""
    sizes = rng.integers(1, 5, 12)
    batch = np.repeat(np.arange(12), sizes)
    day = (batch // 3).astype(np.int64)
    units = {"day": day, "batch": batch, "oven": rng.integers(0, 4, len(batch))}
    X = np.column_stack(
        [np.ones(len(batch)), rng.normal(size=12)[batch], rng.uniform(-1, 1, len(batch))]
    )
    y = 5 + X[:, 1] + rng.normal(size=len(batch))
    for name in names:
        y = y + rng.choice([0.0, 0.5, 2.0]) * rng.normal(size=units[name].max() + 1)[units[name]]
    return X, y, make_strata(len(y), [Stratum(name=one, unit=units[one]) for one in names])


def _height(X: FloatArray, y: FloatArray, strata: Strata, variances: FloatArray) -> float:
    """Calculate the restricted log-likelihood the plain way, with whole matrices."""
    V = variances[-1] * np.eye(len(y))
    for one, variance in zip(strata.random, variances, strict=False):
        V += variance * (one.unit[:, None] == one.unit)
    inverse = np.linalg.inv(V)
    inner = X.T @ inverse @ X
    left = y - X @ np.linalg.solve(inner, X.T @ inverse @ y)
    parts = (np.linalg.slogdet(V)[1], np.linalg.slogdet(inner)[1], left @ inverse @ left)
    constant = (len(y) - X.shape[1]) * np.log(2 * np.pi)
    return float(-0.5 * (sum(parts) + constant))


@quick
@given(seeds, st.sampled_from([("batch",), ("day", "batch"), ("batch", "oven")]))
def test_no_other_components_are_likelier(seed: int, names: tuple[str, ...]) -> None:
    """By whole matrices, near and far from the estimate; and the likelihood told is that one."""
    rng = np.random.default_rng(seed)
    X, y, strata = _rows(rng, *names)
    found = solve_mixed(X, y, strata)
    top = _height(X, y, strata, found.components)
    factors = np.exp(rng.normal(scale=rng.choice([0.01, 0.3, 2.0], size=(40, 1)), size=(
        40, len(found.components))))  # fmt: skip
    base = np.maximum(found.components, 0.01 * found.components.sum())

    assert found.optimum.is_settled
    assert found.log_likelihood == pytest.approx(top + 0.5 * np.linalg.slogdet(X.T @ X)[1])
    assert all(_height(X, y, strata, base * factor) <= top + 1e-9 for factor in factors)


@quick
@given(seeds, st.sampled_from([("day", "batch"), ("batch", "oven"), ("day", "batch", "oven")]))
def test_no_start_of_a_plain_search_ends_higher(seed: int, names: tuple[str, ...]) -> None:
    """The net and its few steps against a library's climber by whole matrices from many starts."""
    rng = np.random.default_rng(seed)
    X, y, strata = _rows(rng, *names)
    found = solve_mixed(X, y, strata)
    top = _height(X, y, strata, found.components)

    for start in rng.uniform(-5.0, 5.0, (2, len(found.components))):
        plain = optimize.minimize(
            lambda logs: -_height(X, y, strata, np.exp(np.clip(logs, -30.0, 30.0))),
            start,
            method="Nelder-Mead",
            options={"maxfev": 200},
        )
        assert -plain.fun <= top + 1e-9


@quick
@given(seeds, st.sampled_from(["reml", "ml"]))
def test_many_heights_at_once_are_those_of_each(
    seed: int, likelihood: Literal["reml", "ml"]
) -> None:
    """The quick look over the net against the height of every place of it."""
    rng = np.random.default_rng(seed)
    X, y, strata = _rows(rng, "day", "batch")
    model = variance_model(solve_least_squares(X, y), [one.unit for one in strata.random])
    places = rng.choice([0.0, 0.01, 1.0, 50.0], (6, 2))

    alone = [model.height(place, likelihood).value for place in places]
    np.testing.assert_allclose(model.values(places, likelihood), alone, rtol=1e-9)


@quick
@given(seeds)
def test_one_stratum_by_roots_agrees_with_newton_steps(seed: int) -> None:
    """The quick way for one stratum against the way for several."""
    X, y, strata = _rows(np.random.default_rng(seed), "batch")
    quick_way = variance_model(solve_least_squares(X, y), [strata.random[0].unit])
    slow = replace(quick_way, along=None)
    ratio = highest(quick_way).ratios

    here, there = quick_way.height(ratio), slow.height(ratio)
    np.testing.assert_allclose(here.value, there.value)
    np.testing.assert_allclose(here.gradient, there.gradient, atol=1e-8)
    np.testing.assert_allclose(here.curvature, there.curvature)
    np.testing.assert_allclose(here.expected, there.expected)


@quick
@given(seeds, st.sampled_from(["reml", "ml"]))
def test_strata_with_axes_in_common_agree_with_those_taken_as_any(
    seed: int, likelihood: Literal["reml", "ml"]
) -> None:
    """The quick way for balanced strata against the way by factors; unbalanced ones have none."""
    rng = np.random.default_rng(seed)
    days, batches, samples = rng.integers((3, 2, 2), (5, 4, 4))
    batch = np.repeat(np.arange(days * batches), samples)
    X = np.column_stack([np.ones(len(batch)), np.arange(len(batch)) % samples])
    units = [batch // batches, batch]
    plain = solve_least_squares(X, rng.normal(size=len(batch)) + rng.normal(size=days)[units[0]])
    quick_way = variance_model(plain, units)
    slow = replace(quick_way, along=None)
    ratios = rng.choice([0.0, 0.01, 1.0, 50.0], (4, 2))

    assert quick_way.along is not None
    assert (
        variance_model(solve_least_squares(X[1:], X[1:, 0]), [u[1:] for u in units]).along is None
    )
    assert quick_way.untold() == slow.untold() == ()
    for place in ratios:
        here, there = quick_way.height(place, likelihood), slow.height(place, likelihood)
        for name in ("value", "quad", "gradient", "curvature", "expected"):
            np.testing.assert_allclose(getattr(here, name), getattr(there, name), atol=1e-9)
        np.testing.assert_allclose(
            quick_way.information(place), slow.information(place), rtol=1e-9, atol=1e-12
        )
    np.testing.assert_allclose(
        quick_way.values(ratios, likelihood), slow.values(ratios, likelihood), rtol=1e-9
    )
    np.testing.assert_allclose(
        highest(quick_way, likelihood).ratios, highest(slow, likelihood).ratios, rtol=1e-6
    )


@quick
@given(seeds)
def test_slopes_are_those_of_the_likelihood(seed: int) -> None:
    """Gradient and curvature by differences, for both likelihoods."""
    rng = np.random.default_rng(seed)
    X, y, strata = _rows(rng, "day", "batch")
    model = variance_model(solve_least_squares(X, y), [one.unit for one in strata.random])
    ratios = rng.uniform(0.2, 3.0, 2)
    for likelihood in ("reml", "ml"):
        here = model.height(ratios, likelihood)
        for k in range(2):
            step = 1e-5 * np.eye(2)[k]
            up, down = (model.height(ratios + side * step, likelihood) for side in (1, -1))
            assert here.gradient[k] == pytest.approx((up.value - down.value) / 2e-5, abs=1e-5)
            np.testing.assert_allclose(
                here.curvature[k], (up.gradient - down.gradient) / 2e-5, atol=1e-4
            )


@quick
@given(seeds)
def test_the_order_of_rows_is_irrelevant(seed: int) -> None:
    """Coefficients, errors, df and components."""
    rng = np.random.default_rng(seed)
    X, y, strata = _rows(rng, "day", "batch")
    order = rng.permutation(len(y))
    mixed = make_strata(
        len(y), [Stratum(name=one.name, unit=one.unit[order]) for one in strata.random]
    )

    _agree(solve_mixed(X, y, strata), solve_mixed(X[order], y[order], mixed))


@quick
@given(seeds, st.floats(-1e3, 1e3), st.floats(1e-3, 1e3))
def test_another_zero_and_unit_of_the_response_change_nothing(
    seed: int, shift: float, unit: float
) -> None:
    """A constant goes into the level, a unit into everything alike."""
    X, y, strata = _rows(np.random.default_rng(seed), "batch")
    before, after = solve_mixed(X, y, strata), solve_mixed(X, shift + unit * y, strata)
    level = np.eye(3)[0] * shift

    np.testing.assert_allclose(
        after.solved.coefficients, level + unit * before.solved.coefficients, rtol=1e-6, atol=1e-6
    )
    np.testing.assert_allclose(after.components, unit**2 * before.components, rtol=1e-5, atol=1e-9)
    np.testing.assert_allclose(
        single_df(after.adjustment, np.eye(3)), single_df(before.adjustment, np.eye(3)), rtol=1e-5
    )


@quick
@given(seeds)
def test_equal_batches_are_tested_as_their_means(seed: int) -> None:
    """Terms set a batch: t, df and p are those of least squares of the batch means.

    Where the component of the batches is above 0; at 0 both strata are pooled in the variance.
    """
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(9), 3)
    whole = np.column_stack([np.ones(9), rng.normal(size=(9, 2))])
    X = np.column_stack([whole[batch], np.tile([-1.0, 0.0, 1.0], 9)])
    y = X.sum(axis=1) + 2 * rng.normal(size=9)[batch] + 0.5 * rng.normal(size=27)
    found = solve_mixed(X, y, make_strata(27, [Stratum(name="batch", unit=batch)]))
    if found.components[0] == 0:
        return
    means = solve_least_squares(whole, y.reshape(9, 3).mean(axis=1))

    np.testing.assert_allclose(found.solved.coefficients[:3], means.coefficients)
    np.testing.assert_allclose(
        np.sqrt(np.diag(found.covariance)[:3]), np.sqrt(np.diag(means.covariance))
    )
    np.testing.assert_allclose(single_df(found.adjustment, np.eye(4)[:3]), 6)
    test = contrast_test(
        found.adjustment, found.covariance, found.solved.coefficients, np.eye(4)[1:3]
    )
    wald = means.coefficients[1:] @ np.linalg.solve(
        means.covariance[1:, 1:], means.coefficients[1:]
    )
    assert test.den_df == pytest.approx(6)
    assert test.p == pytest.approx(float(stats.f.sf(wald / 2, 2, 6)))


@quick
@given(seeds)
def test_no_scatter_of_units_is_least_squares(seed: int) -> None:
    """At ratios of 0, coefficients and unadjusted errors are those of least squares."""
    rng = np.random.default_rng(seed)
    X, y, strata = _rows(rng, "batch")
    # Every batch has the mean that the settings give it: less than no scatter between them.
    batch = strata.random[0].unit
    left = rng.normal(size=len(y))
    for number in np.unique(batch):
        left[batch == number] -= left[batch == number].mean()
    found = solve_mixed(X, X.sum(axis=1) + left, strata)
    plain = solve_least_squares(X, X.sum(axis=1) + left)

    assert found.ratios[0] == 0.0
    np.testing.assert_array_equal(found.solved.coefficients, plain.coefficients)
    np.testing.assert_allclose(found.adjustment.unadjusted, plain.covariance)


@quick
@given(seeds)
def test_more_columns_never_lower_the_plain_likelihood(seed: int) -> None:
    """What selection compares is at its top."""
    X, y, strata = _rows(np.random.default_rng(seed), "day", "batch")
    small, large = (maximum_likelihood(part, y, strata) for part in (X[:, :2], X))

    assert large.log_likelihood >= small.log_likelihood - 1e-8
    assert large.parameters == small.parameters + 1


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 1000), st.floats(0.01, 100.0))
def test_predictions_survive_another_lab_unit(seed: int, unit: float) -> None:
    """Minutes or hours: the same value and intervals."""
    data, coding = split_plot(seed=seed)
    fitted = fit_response(data, coding, model="quadratic").fit
    axes = tuple(
        replace(axis, low=axis.low * unit, high=axis.high * unit) if axis.name == "time" else axis
        for axis in coding.axes
    )
    factor = np.array([unit if name == "time" else 1.0 for name in coding.names])
    scaled = {
        name: replace(getattr(data, name), values=getattr(data, name).values * factor)
        for name in ("planned", "actual")
    }
    other_coding = replace(coding, axes=axes)
    other = fit_response(replace(data, **scaled), other_coding, model="quadratic").fit
    at = np.array([[1.2, 20.0], [2.4, 45.0]])
    before, after = predict_response(fitted, at), predict_response(other, at * factor)

    for name in ("value", "mean_interval", "run_interval"):
        np.testing.assert_allclose(getattr(after, name), getattr(before, name), rtol=1e-6)


def _agree(one: MixedSolution, other: MixedSolution) -> None:
    np.testing.assert_allclose(other.components, one.components, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(other.solved.coefficients, one.solved.coefficients, rtol=1e-6)
    np.testing.assert_allclose(other.covariance, one.covariance, rtol=1e-6, atol=1e-9)
    eye = np.eye(len(one.covariance))
    np.testing.assert_allclose(
        single_df(other.adjustment, eye), single_df(one.adjustment, eye), rtol=1e-6
    )

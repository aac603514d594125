"""Settings against a control: estimates, errors and the level that candidates share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.fits.dunnett import dunnett_critical
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import fit_response
from analysis.fits.scales import inverse
from analysis.lab.response_data import Blocking
from analysis.surface.against_control import against_control
from doe.model.matrix import model_matrix
from doe.study.settings import FloatArray
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

CONTROL = "present formula"
DOSES = np.array([0.8, 1.2, 1.6, 2.0, 2.4, 0.8, 2.4, 1.6])
TRIED = np.array([[1.0], [1.6], [2.4]])


def _fitted(
    *, scale: str = "identity", blocks: int = 0, batches: int = 0, seed: int = 1
) -> tuple[Fit, FloatArray, tuple[str, ...]]:
    """Fit invented viscosities of eight doses and three controls, in blocks or batches of two."""
    rng = np.random.default_rng(seed)
    study = study_of(
        factors=[range_factor("dose", 0.8, 2.4)],
        response={"name": "y", "unit": "mPa·s", "scale": scale},
    )
    doses = np.repeat(DOSES, 2) if batches else DOSES
    n, n_control = len(doses), 6 if batches else 3
    true = np.r_[6.5 - 0.4 * doses, np.full(n_control, 6.2)]
    batch = np.arange(n + n_control) // 2
    z = true + 0.05 * rng.standard_normal(n + n_control)
    z += (0.1 * rng.standard_normal(batch.max() + 1))[batch] if batches else 0.0
    rows = [{"dose": float(d), "y": float(np.exp(v))} for d, v in zip(doses, z, strict=False)]
    rows += [{"dose": None, "y": float(np.exp(v))} for v in z[n:]]
    kinds = ["design"] * n + ["control"] * n_control
    names = dict.fromkeys(range(n + 1, n + n_control + 1), CONTROL)
    data, coding = adopt(study, rows, "y", kinds=kinds, controls=names)
    labels = tuple(f"{i % max(blocks, 1)}" for i in range(len(rows)))
    if blocks:
        blocking = Blocking(name="day", of=labels, effect="fixed", planned=True)
        data = replace(data, block=labels, blocking=blocking)
    if batches:
        data = replace(data, batch=tuple(int(one) + 1 for one in batch))
    y = np.array([row["y"] for row in rows], dtype=np.float64)
    return fit_response(data, coding, model="linear").fit, y, labels


def test_a_difference_has_the_error_of_two_independent_means() -> None:
    """Var = s² (x'(X'X)⁻¹x + 1/3) without blocks: the control shares nothing with the surface."""
    fit, y, _ = _fitted()
    found = against_control(fit, TRIED[:1], CONTROL)[0]
    X = model_matrix(DOSES[:, None], fit.coding, fit.model)
    x = model_matrix(TRIED[:1], fit.coding, fit.model)[0]
    b = np.linalg.solve(X.T @ X, X.T @ y[:8])
    rss = float(((y[:8] - X @ b) ** 2).sum() + ((y[8:] - y[8:].mean()) ** 2).sum())
    error = (rss / 8 * (x @ np.linalg.solve(X.T @ X, x) + 1 / 3)) ** 0.5
    assert found.measure == "difference"
    assert found.df == pytest.approx(8)
    assert found.value == pytest.approx(x @ b - y[8:].mean())
    half = stats.t.ppf(0.975, 8) * error
    assert found.interval == pytest.approx((found.value - half, found.value + half))
    assert found.p == pytest.approx(2 * stats.t.sf(abs(found.value) / error, 8))


def test_blocks_tie_the_control_to_the_surface() -> None:
    """Against the normal equations of all columns written out, control and day among them."""
    fit, y, labels = _fitted(blocks=2)
    found = against_control(fit, TRIED[:1], CONTROL)[0]
    n = len(y)
    surface = np.zeros((n, 2))
    surface[:8] = model_matrix(DOSES[:, None], fit.coding, fit.model)
    day = np.where(np.array(labels) == "0", 1.0, -1.0)
    X = np.column_stack([surface, np.arange(n) >= 8, day])
    inverse_of = np.linalg.inv(X.T @ X)
    b = inverse_of @ X.T @ y
    L = np.r_[model_matrix(TRIED[:1], fit.coding, fit.model)[0], -1.0, 0.0]
    error = (((y - X @ b) ** 2).sum() / (n - 4) * (L @ inverse_of @ L)) ** 0.5
    assert abs(inverse_of[:2, 2]).max() > 1e-6
    assert found.value == pytest.approx(L @ b)
    assert np.diff(found.interval)[0] == pytest.approx(2 * stats.t.ppf(0.975, n - 4) * error)


def test_a_logarithm_gives_a_ratio() -> None:
    """The ratio of medians, its interval the exponentials of the difference's."""
    fit, _, _ = _fitted(scale="log")
    found = against_control(fit, TRIED[1:2], CONTROL)[0]
    row = model_matrix(TRIED[1:2], fit.coding, fit.model)[0]
    mean, error_of_mean = fit.control_means[CONTROL]
    assert found.measure == "ratio"
    assert found.value == pytest.approx(np.exp(row @ fit.coefficients - mean))
    error = (row @ fit.covariance @ row + error_of_mean**2) ** 0.5
    reach = stats.t.ppf(0.975, found.df) * error
    assert np.log(found.interval) == pytest.approx(
        [np.log(found.value) - reach, np.log(found.value) + reach]
    )


def test_another_scale_gives_a_difference_in_the_responses_unit() -> None:
    """On the root scale dy/dz = 2 z, so that a small error is carried by 2 z of either side."""
    fit, _, _ = _fitted(scale="square root")
    found = against_control(fit, TRIED[1:2], CONTROL)[0]
    row = model_matrix(TRIED[1:2], fit.coding, fit.model)[0]
    z = float(row @ fit.coefficients)
    mean, error_of_mean = fit.control_means[CONTROL]
    assert found.value == pytest.approx(z**2 - mean**2)
    error = ((2 * z) ** 2 * (row @ fit.covariance @ row) + (2 * mean * error_of_mean) ** 2) ** 0.5
    assert np.diff(found.interval)[0] == pytest.approx(2 * stats.t.ppf(0.975, found.df) * error)
    assert found.control_value == pytest.approx(inverse(fit.scale, np.array([mean]))[0])


def test_candidates_share_the_level() -> None:
    """Every interval of three is wider than alone, by Dunnett's value over Student's."""
    fit, _, _ = _fitted(scale="log")
    together = against_control(fit, TRIED, CONTROL)
    alone = [against_control(fit, TRIED[[i]], CONTROL)[0] for i in range(3)]
    wider = [
        np.diff(np.log(one.interval))[0] / np.diff(np.log(own.interval))[0]
        for one, own in zip(together, alone, strict=True)
    ]
    rows = model_matrix(TRIED, fit.coding, fit.model)
    covariance = rows @ fit.covariance @ rows.T + fit.control_means[CONTROL][1] ** 2
    error = np.sqrt(np.diag(covariance))
    critical = dunnett_critical(covariance / np.outer(error, error), 8.0)
    assert wider == pytest.approx([critical / stats.t.ppf(0.975, 8)] * 3)
    assert 1.05 < wider[0] < stats.t.ppf(1 - 0.025 / 3, 8) / stats.t.ppf(0.975, 8)
    assert all(one.p >= own.p - 1e-9 for one, own in zip(together, alone, strict=True))


def test_batches_tie_the_control_to_its_own_batches() -> None:
    """Against the normal equations written out with V = σ² (I + ρ ZZ'), the control's column in X.

    The adjusted covariance must hold that of the surface and the control's own error unchanged.
    """
    fit, y, _ = _fitted(scale="log", batches=2, seed=4)
    joint = fit.with_controls
    assert joint is not None
    assert joint.adjustment is not None
    n, batch = len(y), np.arange(len(y)) // 2
    X = np.zeros((n, 3))
    X[:16, :2] = model_matrix(np.repeat(DOSES, 2)[:, None], fit.coding, fit.model)
    X[16:, 2] = 1.0
    shared = fit.components["batch"] * (batch[:, None] == batch)
    V = fit.components["residual"] * np.eye(n) + shared
    assert fit.components["batch"] > 0
    plain = np.linalg.inv(X.T @ np.linalg.solve(V, X))
    np.testing.assert_allclose(joint.adjustment.unadjusted, plain, rtol=1e-6, atol=1e-12)
    b = plain @ X.T @ np.linalg.solve(V, np.log(y))
    np.testing.assert_allclose(joint.estimates, b, rtol=1e-8)
    np.testing.assert_allclose(joint.covariance[:2, :2], fit.covariance)
    assert joint.covariance[2, 2] ** 0.5 == pytest.approx(fit.control_means[CONTROL][1])

    found = against_control(fit, TRIED[:1], CONTROL)[0]
    L = np.r_[model_matrix(TRIED[:1], fit.coding, fit.model)[0], -1.0]
    error = (L @ joint.covariance @ L) ** 0.5
    # Eleven batches, eight of them of the surface: their scatter has 11 - 3 degrees of freedom.
    assert 7.5 < found.df < 10.0
    reach = stats.t.ppf(0.975, found.df) * error
    assert np.log(found.interval[1]) == pytest.approx(L @ b + reach)


def test_an_unknown_control_is_our_own_fault() -> None:
    """A fit without the control cannot be asked for it."""
    fit, _, _ = _fitted()
    with pytest.raises(ValueError, match="no control"):
        against_control(fit, TRIED, "another")

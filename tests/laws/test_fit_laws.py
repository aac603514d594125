"""Laws of fitting: what must hold for any readings whatever."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.fits.anova import partial_test
from analysis.fits.fit import Scale
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.least_squares import solve_least_squares
from analysis.fits.scales import forward, inverse
from analysis.fits.sources import Source
from doe.model.matrix import model_matrix
from doe.model.terms import make_model
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

seeds = st.integers(0, 2**32 - 1)
quick = settings(max_examples=15, deadline=None)


def _runs(rng: np.random.Generator, n: int) -> list[dict[str, Any]]:
    return [
        {
            "dose": rng.uniform(0.8, 2.4),
            "pH": rng.uniform(8.0, 9.5),
            "salt": ("ammonia", "soda")[i % 2],
        }
        for i in range(n)
    ]


def _study(dose_unit: float = 1.0, ph_shift: float = 0.0) -> Any:
    return study_of(
        factors=[
            range_factor("dose", 0.8 * dose_unit, 2.4 * dose_unit),
            range_factor("pH", 8.0 + ph_shift, 9.5 + ph_shift),
            {"name": "salt", "levels": ["ammonia", "soda"]},
        ]
    )


def _with_noise(rng: np.random.Generator, n: int = 24) -> list[dict[str, Any]]:
    return [row | {"y": rng.normal(10, 2)} for row in _runs(rng, n)]


def _fit(rows: list[dict[str, Any]], study: Any, model: str = "quadratic") -> FittedResponse:
    data, coding = adopt(study, rows, "y")
    return fit_response(data, coding, model=model)


@quick
@given(seeds)
def test_a_noiseless_polynomial_is_recovered(seed: int) -> None:
    """The coefficients that made the readings come back."""
    rng = np.random.default_rng(seed)
    study = _study()
    rows = _runs(rng, 24)
    data, coding = adopt(study, [row | {"y": 0.0} for row in rows], "y")
    X = model_matrix(data.actual.values, coding, make_model("quadratic", coding))
    truth = rng.normal(0, 5, X.shape[1])
    readings = X @ truth
    fitted = _fit([row | {"y": y} for row, y in zip(rows, readings, strict=True)], study)

    np.testing.assert_allclose(fitted.fit.coefficients, truth, atol=1e-9)
    assert fitted.assessment.r2 == pytest.approx(1.0, abs=1e-12)


@quick
@given(seeds)
def test_a_noiseless_blend_is_recovered(seed: int) -> None:
    """The same for shares without an intercept."""
    rng = np.random.default_rng(seed)
    shares = rng.dirichlet(np.ones(3), 12)
    truth = rng.normal(0, 5, 7)
    study = study_of(shares=[{"name": n, "low": 0, "high": 1} for n in "abc"])
    rows = [dict(zip("abc", map(float, share), strict=True)) for share in shares]
    data, coding = adopt(study, [row | {"y": 0.0} for row in rows], "y")
    X = model_matrix(data.actual.values, coding, make_model("special cubic", coding))
    readings = X @ truth
    made = [row | {"y": y} for row, y in zip(rows, readings, strict=True)]

    found = _fit(made, study, "special cubic").fit.coefficients
    np.testing.assert_allclose(found, truth, rtol=1e-7, atol=1e-7)


@quick
@given(seeds)
def test_row_order_of_the_readings_is_irrelevant(seed: int) -> None:
    """Shuffled rows give the same coefficients, errors and checks (order drift apart)."""
    rng = np.random.default_rng(seed)
    rows = _with_noise(rng)
    shuffled = [rows[i] for i in rng.permutation(len(rows))]
    one, other = _fit(rows, _study()), _fit(shuffled, _study())

    np.testing.assert_allclose(one.fit.coefficients, other.fit.coefficients, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(one.fit.covariance, other.fit.covariance, rtol=1e-9, atol=1e-9)
    assert one.assessment.press == pytest.approx(other.assessment.press, rel=1e-9)
    assert one.assessment.aicc == pytest.approx(other.assessment.aicc, rel=1e-9)


@quick
@given(seeds, st.floats(0.01, 1000), st.floats(-5, 5))
def test_predictions_of_full_models_survive_a_change_of_unit(
    seed: int, unit: float, shift: float
) -> None:
    """A dose in g/kg or a pH on another zero changes no fitted value."""
    rows = _with_noise(np.random.default_rng(seed))
    moved = [row | {"dose": row["dose"] * unit, "pH": row["pH"] + shift} for row in rows]
    one, other = _fit(rows, _study()), _fit(moved, _study(unit, shift))

    np.testing.assert_allclose(
        [run.fitted for run in one.assessment.runs],
        [run.fitted for run in other.assessment.runs],
        rtol=1e-7,
    )


@quick
@given(seeds)
def test_fitted_values_survive_pseudo_components(seed: int) -> None:
    """A Scheffé model in real proportions or in L-pseudo-components is one model."""
    rng = np.random.default_rng(seed)
    low = np.array([0.1, 0.4, 0.0])
    pseudo = rng.dirichlet(np.ones(3), 14)
    real = low + (1 - low.sum()) * pseudo
    y = rng.normal(10, 2, 14)
    fits = []
    for shares in (real, pseudo):
        study = study_of(shares=[{"name": n, "low": 0, "high": 1} for n in "abc"])
        rows = [
            dict(zip("abc", map(float, share), strict=True)) | {"y": value}
            for share, value in zip(shares, y, strict=True)
        ]
        fits.append(_fit(rows, study).assessment)

    one, other = ([run.fitted for run in fit.runs] for fit in fits)
    np.testing.assert_allclose(one, other, rtol=1e-7, atol=1e-7)
    assert fits[0].r2 == pytest.approx(fits[1].r2, rel=1e-7, abs=1e-7)


@quick
@given(seeds)
def test_leverages_sum_to_the_number_of_coefficients(seed: int) -> None:
    """The trace of the hat matrix."""
    known = _fit(_with_noise(np.random.default_rng(seed)), _study()).assessment

    assert sum(run.leverage for run in known.runs) == pytest.approx(known.p, abs=1e-9)


@quick
@given(seeds)
def test_standard_errors_are_the_roots_of_the_covariance(seed: int) -> None:
    """And every interval is symmetric about its estimate."""
    fitted = _fit(_with_noise(np.random.default_rng(seed)), _study())
    rows = fitted.assessment.coefficients

    np.testing.assert_allclose([r.std_error for r in rows], np.sqrt(np.diag(fitted.fit.covariance)))
    for row in rows:
        assert row.interval is not None
        assert sum(row.interval) / 2 == pytest.approx(row.estimate, abs=1e-9)


@quick
@given(seeds)
def test_sequential_sums_of_squares_add_up_to_the_total(seed: int) -> None:
    """Sources and residual split the variation about the mean without rest."""
    known = _fit(_with_noise(np.random.default_rng(seed)), _study()).assessment
    rows = [r for r in known.anova if r.kind == "sequential"]
    total = next(r for r in rows if r.source == "total")
    parts = [r for r in rows if r.source not in ("total", "lack of fit", "pure error")]

    assert sum(r.ss for r in parts) == pytest.approx(total.ss, rel=1e-9)
    assert sum(r.df for r in parts) == total.df


@quick
@given(seeds)
def test_a_partial_sum_of_squares_is_what_the_fit_loses(seed: int) -> None:
    """The contrast of coefficients and the two fits give one number."""
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(15), rng.normal(size=(15, 4))])
    y = rng.normal(size=15)
    full = solve_least_squares(X, y)
    less = solve_least_squares(X[:, [0, 1, 2]], y)

    ss, df = partial_test(full, Source(name="two", order="linear", columns=(3, 4)))
    assert df == 2
    assert ss == pytest.approx(less.rss - full.rss, rel=1e-8)


@quick
@given(seeds)
def test_press_is_the_sum_over_fits_without_each_run(seed: int) -> None:
    """The shortcut by leverage equals leaving out for real."""
    rng = np.random.default_rng(seed)
    rows = [row | {"y": rng.normal(10, 2)} for row in _runs(rng, 12)]
    study = _study()
    data, coding = adopt(study, rows, "y")
    known = fit_response(data, coding, model="linear").assessment
    X = model_matrix(data.actual.values, coding, make_model("linear", coding))
    y = np.array([row["y"] for row in rows])
    errors = []
    for i in range(len(rows)):
        others = np.arange(len(rows)) != i
        b = solve_least_squares(X[others], y[others]).coefficients
        errors.append(y[i] - X[i] @ b)

    assert known.press == pytest.approx(float(np.square(errors).sum()), rel=1e-8)


@quick
@given(seeds, st.floats(0.01, 100))
def test_the_unit_of_the_response_changes_no_test(seed: int, unit: float) -> None:
    """t, p, R², Cook's distance and λ do not know whether viscosity is in mPa·s or P."""
    rng = np.random.default_rng(seed)
    rows = [row | {"y": float(np.exp(rng.normal(2, 0.5)))} for row in _runs(rng, 20)]
    scaled = [row | {"y": row["y"] * unit} for row in rows]
    one, other = (_fit(r, _study()).assessment for r in (rows, scaled))

    np.testing.assert_allclose(
        [r.t for r in one.coefficients], [r.t for r in other.coefficients], rtol=1e-7
    )
    assert one.box_cox is not None
    assert other.box_cox is not None
    assert one.box_cox.power == pytest.approx(other.box_cox.power, abs=1e-4)
    assert one.r2_predicted == pytest.approx(other.r2_predicted, rel=1e-7, abs=1e-9)


@quick
@given(
    st.floats(0.001, 0.999), st.sampled_from(["identity", "log", "logit", "square root", "power"])
)
def test_scales_come_back(y: float, name: str) -> None:
    """Forward and inverse undo each other inside the scale's range."""
    scale = Scale(name=name, power=-0.7 if name == "power" else None, bounds=(0.0, 1.0))

    assert inverse(scale, forward(scale, np.array([y])))[0] == pytest.approx(y, rel=1e-9)

"""Laws of what responses share: correlations of their scatter, stratum by stratum."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.together import nearest_correlation, responses_together
from analysis.lab.response_data import ResponseData
from doe.study.settings import FloatArray
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

# Of invented batches and samples, for two responses.
BATCH_CORRELATION, RESIDUAL_CORRELATION = 0.8, -0.5
SD = np.array([0.10, 3.0])


def _studies(
    n_batches: int, per_batch: int, *, missing: int = 0, seed: int = 11
) -> tuple[dict[str, ResponseData], dict[str, FittedResponse]]:
    """Invent two responses that share batches; the first `missing` runs lack the second."""
    rng = np.random.default_rng(seed)
    n = n_batches * per_batch
    doses = np.repeat(rng.permutation(np.linspace(0.8, 2.4, n_batches)), per_batch)
    times = np.tile(np.linspace(15.0, 45.0, per_batch), n_batches) if per_batch > 1 else None
    shared, own = (
        rng.multivariate_normal([0, 0], [[1, r], [r, 1]], size=size)
        for r, size in ((BATCH_CORRELATION, n_batches), (RESIDUAL_CORRELATION, n))
    )
    scatter = SD * own + (1.5 * SD * np.repeat(shared, per_batch, axis=0) if per_batch > 1 else 0)
    factors = [range_factor("dose", 0.8, 2.4)]
    if times is not None:
        factors.append(range_factor("time", 15, 45, unit="min", set_per="sample"))
    data: dict[str, ResponseData] = {}
    for j, name in enumerate(("thinness", "gloss")):
        study = study_of(factors=factors, response={"name": name})
        y = np.array([7.0, 40.0])[j] - 0.3 * doses + scatter[:, j]
        rows = [{"dose": float(doses[i]), name: float(y[i])} for i in range(missing * j, n)]
        if times is not None:
            rows = [{**row, "time": float(times[i])} for i, row in enumerate(rows, missing * j)]
        one, coding = adopt(study, rows, name)
        first = missing * j
        batch = tuple(i // per_batch + 1 for i in range(first, n)) if per_batch > 1 else one.batch
        data[name] = replace(one, run=tuple(range(first + 1, n + 1)), batch=batch)
    return data, {
        name: fit_response(one, coding, model="linear" if name == "gloss" else "interactions")
        for name, one in data.items()
    }


@settings(max_examples=60, deadline=None)
@given(st.integers(2, 6), st.integers(0, 10_000))
def test_the_nearest_correlation_is_one(m: int, seed: int) -> None:
    """Symmetric, no negative eigenvalue beyond rounding, ones on the diagonal; once is enough."""
    raw = np.random.default_rng(seed).uniform(-1.0, 1.0, size=(m, m))
    raw = np.triu(raw, 1) + np.triu(raw, 1).T + np.eye(m)
    found = nearest_correlation(raw)
    assert np.array_equal(found, found.T)
    assert np.array_equal(np.diag(found), np.ones(m))
    assert np.linalg.eigvalsh(found)[0] > -1e-12
    assert np.abs(found).max() <= 1.0 + 1e-12
    np.testing.assert_allclose(nearest_correlation(found), found, atol=1e-8)
    # No correlation at all is a correlation matrix, too, and must not lie nearer.
    assert np.linalg.norm(found - raw) <= np.linalg.norm(np.eye(m) - raw) + 1e-9


def test_the_nearest_correlation_agrees_with_higham() -> None:
    """Source: Higham (2002), IMA J. Numer. Anal. 22, 329-343, section 4, from memory.

    Tolerance: half a unit in the last printed digit.
    """
    raw = np.array([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [0.0, 1.0, 1.0]])
    printed = [[1.0, 0.7607, 0.1573], [0.7607, 1.0, 0.7607], [0.1573, 0.7607, 1.0]]
    np.testing.assert_allclose(nearest_correlation(raw), printed, atol=5e-5)


def test_without_strata_it_is_the_scatter_of_residuals() -> None:
    """One model and every run its own: E'E/(n − p), as in multivariate regression."""
    data, fitted = _studies(20, 1)
    told = responses_together(data, fitted)["residual"]
    residuals: FloatArray = np.array(
        [[run.residual for run in one.assessment.runs] for one in fitted.values()]
    )
    covariance = residuals @ residuals.T / (20 - 2)
    np.testing.assert_allclose(told.covariance, covariance, rtol=1e-9)
    assert told.n.tolist() == [[20, 20], [20, 20]]


def test_correlations_of_batches_and_samples_are_found_apart() -> None:
    """Sixty batches of three: within three standard errors of 0.8 and of −0.5.

    Standard error (1 − r²)/√df, for batches of means that samples blur by a seventh: under 0.07 and
    0.07. Different models, and the first ten runs lack one response.
    """
    data, fitted = _studies(60, 3, missing=10)
    told = responses_together(data, fitted)
    assert list(told) == ["batch", "residual"]
    assert told["batch"].correlation[0, 1] == pytest.approx(BATCH_CORRELATION, abs=0.2)
    assert told["residual"].correlation[0, 1] == pytest.approx(RESIDUAL_CORRELATION, abs=0.2)
    assert told["batch"].n[0, 1] == 170
    for name, one in told.items():
        components = [fit.fit.components[name] for fit in fitted.values()]
        np.testing.assert_allclose(np.diag(one.covariance), components, rtol=1e-12)
        assert np.array_equal(one.correlation, one.correlation.T)
        assert np.linalg.eigvalsh(one.correlation)[0] >= -1e-12


def test_responses_without_common_runs_are_not_told_together() -> None:
    """Correlation 0 of no runs, and nothing invented."""
    data, fitted = _studies(20, 1)
    gloss = data["gloss"]
    data["gloss"] = replace(gloss, run=tuple(run + 100 for run in gloss.run))
    told = responses_together(data, fitted)["residual"]
    assert told.correlation.tolist() == [[1.0, 0.0], [0.0, 1.0]]
    assert told.n.tolist() == [[20, 0], [0, 20]]

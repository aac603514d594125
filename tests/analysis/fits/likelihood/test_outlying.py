"""Slips of the pen among readings of which some lie off the scale."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from analysis.fits.likelihood.any_response import fit_any_response
from analysis.fits.likelihood.outcome import LikelihoodResponse
from doe.model.matrix import model_matrix
from tests.analysis.fits.likelihood.split_plot import data_of, log_viscosity, read_up_to


def _slipped(
    batch_sd: float, sd: float, end: float, run: int, times: float
) -> list[dict[str, Any]]:
    """Read a split-plot up to an end, one of its runs written too high."""
    y = np.exp(log_viscosity(np.random.default_rng(8), batch_sd=batch_sd, sd=sd))
    lines = read_up_to(y, end)
    slip = next(line for line in lines if line["run"] == run)
    assert slip.get("flag", "ok") == "ok"
    slip["value"] *= times
    return lines


def _fitted(lines: list[dict[str, Any]], *, batches: bool = True) -> LikelihoodResponse:
    data, coding = data_of(lines)
    if not batches:
        assert data.whole is not None
        whole = replace(data.whole, batch=(None,) * len(data.whole))
        data = replace(data, batch=(None,) * len(data), whole=whole)
    fitted = fit_any_response(data, coding, model="linear")
    assert isinstance(fitted, LikelihoodResponse)
    return fitted


@pytest.mark.parametrize("batch_sd", [0.0, 0.3])
def test_a_reading_ten_times_too_high_is_named_beside_gelled_samples(batch_sd: float) -> None:
    """A slip of a factor of ten in one sample of a batch; its batch pulls along with it."""
    fitted = _fitted(_slipped(batch_sd, 0.1, 1400.0, run=6, times=10.0))

    assert [one.run for one in fitted.assessment.outliers] == [6]
    assert any(one.what.startswith("Run 6 lies far above") for one in fitted.findings)
    clean = _fitted(_slipped(batch_sd, 0.1, 1400.0, run=6, times=1.0))
    assert clean.assessment.outliers == ()
    assert clean.assessment.outlier_limit is not None


def test_they_are_those_of_least_squares_where_what_is_off_the_scale_tells_nothing() -> None:
    """Readings above an end that all runs pass: the others alone tell, as in statsmodels' test."""
    lines = _slipped(0.0, 0.2, 1e9, run=6, times=4.0)
    for line in lines[-2:]:
        line.update(value=1e-6, flag="above")
    fitted = _fitted(lines, batches=False)
    read = [line for line in lines if line.get("flag", "ok") == "ok"]
    data, coding = data_of(lines)
    assert data.whole is not None
    table = fitted.assessment
    rows = [data.whole.run.index(line["run"]) for line in read]
    X = model_matrix(data.whole.actual.values[rows], coding, fitted.fit.model)
    ols = sm.OLS(np.log([line["value"] for line in read]), X).fit()
    external = ols.get_influence().resid_studentized_external
    n, df = len(read), ols.df_resid

    assert table.outlier_limit == pytest.approx(stats.t.isf(0.025 / n, df - 1), rel=1e-6)
    beyond = {line["run"]: t for line, t in zip(read, external, strict=True)
              if abs(t) > table.outlier_limit}  # fmt: skip
    assert beyond
    assert {one.run: one.studentised for one in table.outliers} == pytest.approx(beyond, rel=1e-5)

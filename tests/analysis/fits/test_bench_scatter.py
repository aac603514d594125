"""Replicates beside the repeatability of the test."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.fits.bench_scatter import BenchScatter, bench_scatter
from analysis.fits.fitted_response import fit_response
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of
from tests.analysis.fits.batches import split_plot


def _judged(sd: float, stated: float | None, readings: int = 1) -> BenchScatter | None:
    """Judge five settings made three times each, with scatter `sd` and readings of sd 0.1."""
    rng = np.random.default_rng(11)
    study = study_of(
        factors=[range_factor("x")], response={"name": "y", "repeatability_sd": stated}
    )
    rows = [{"x": x, "y": x} for x in np.repeat(np.linspace(-1, 1, 5), 3)]
    data, coding = adopt(study, rows, "y")
    repeats = tuple(
        tuple(x[0] + sd * e + 0.1 * rng.standard_normal(readings))
        for x, e in zip(data.repeats, rng.standard_normal(15), strict=True)
    )
    data = replace(data, repeats=repeats)
    return bench_scatter(data, fit_response(data, coding, model="linear").fit)


def test_stated_repeatability_is_tested_by_chi_square() -> None:
    """Pooled variance of the five groups over the stated one, 10 degrees of freedom."""
    found = _judged(0.5, 0.1)
    assert found is not None

    f = found.ratio**2
    assert found.df == 10
    assert found.p == pytest.approx(2 * stats.chi2.sf(10 * f, 10))
    assert found.interval[0] ** 2 == pytest.approx(10 * f / stats.chi2.ppf(0.975, 10))
    (told,) = found.findings
    assert told.level == "caution"
    assert "times as much as the test" in told.what


def test_replicates_closer_than_readings_are_no_replicates() -> None:
    """A stated repeatability five times the scatter of the runs."""
    found = _judged(0.0, 0.5)
    assert found is not None

    assert found.ratio < 1
    assert "not like runs made anew" in found.findings[0].what


def test_a_scatter_like_that_of_the_test_is_a_note() -> None:
    """Runs that differ by their readings only."""
    found = _judged(0.0, 0.1)
    assert found is not None

    assert [one.level for one in found.findings] == ["note"]


def test_repeats_of_single_runs_stand_in_for_a_stated_value() -> None:
    """F with 10 and 30 degrees of freedom; the value of a run is the mean of three."""
    found = _judged(0.5, None, readings=3)
    assert found is not None

    assert (found.df, found.test_df) == (10, 30)
    assert found.p == pytest.approx(2 * stats.f.sf(found.ratio**2, 10, 30))
    assert found.test_sd == pytest.approx(0.1 / 3**0.5, rel=0.35)


def test_in_batches_the_runs_of_one_batch_are_compared() -> None:
    """Two samples at each of three times in every batch: the shift of a batch takes no part."""
    data, coding = split_plot(batch_sd=0.5, sd=0.05, times=(15.0, 15.0, 30.0, 30.0, 45.0, 45.0))
    stated = data.response.model_copy(update={"repeatability_sd": 0.05})
    fit = fit_response(replace(data, response=stated), coding, model="linear").fit
    found = bench_scatter(replace(data, response=stated), fit)

    assert found is not None
    assert found.within == "batch"
    assert found.findings[0].what.startswith("Runs made twice within one batch")
    assert found.sd == pytest.approx(0.05, rel=0.3)


def test_no_batch_is_said_to_hold_a_setting_twice_that_holds_each_once() -> None:
    """Equal settings lie in different batches; their shifts are taken off."""
    data, coding = split_plot(batch_sd=0.5, sd=0.05, times=(15.0, 30.0, 45.0))
    stated = data.response.model_copy(update={"repeatability_sd": 0.02})
    fit = fit_response(replace(data, response=stated), coding, model="linear").fit
    found = bench_scatter(replace(data, response=stated), fit)

    assert found is not None
    assert not found.repeats_within
    assert found.findings[0].what.startswith("Runs of equal settings in different batches, the")

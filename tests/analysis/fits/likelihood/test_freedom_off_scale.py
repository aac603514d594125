"""Degrees of freedom of fits with readings off the scale: no more than the readings tell."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.likelihood.any_response import fit_any_response
from analysis.fits.likelihood.censored import CensoredRows, fit_censored
from analysis.fits.likelihood.layout import as_told, freedom_of
from analysis.fits.likelihood.outcome import LikelihoodResponse
from analysis.lab.responses import gather
from doe.model.coding import coding_of
from doe.study.plan import Plan, Round
from doe.study.readings import Reading, Readings
from doe.study.settings import Settings
from tests.analysis.fits.adopted_table import range_factor, study_of


def _fitted(n_read: int, n: int = 24) -> LikelihoodResponse:
    """Fit a line to n runs of their own, all but the n_read lowest above the scale."""
    study = study_of(factors=[range_factor("dose", 1, 3)], response={"name": "y"})
    rng = np.random.default_rng(4)
    dose = rng.permutation(np.tile([1.0, 2.0, 3.0], n // 3))
    y = 10 - dose + rng.normal(0, 1.5, n)
    end = float(np.sort(y)[n_read - 1]) + 1e-6
    none = (None,) * n
    plan = Plan(
        settings=Settings(names=("dose",), values=dose[:, None]), run=tuple(range(1, n + 1)),
        round=(1,) * n, day=none, batch=none, sample=none, panel=none, kind=("design",) * n,
        rounds=(Round(number=1, layout="adopted", models=()),),
    )  # fmt: skip
    rows = [
        Reading(id=i + 1, run=i + 1, repeat=1, response="y", value=min(float(v), end),
                flag="ok" if v <= end else "above")
        for i, v in enumerate(y)
    ]  # fmt: skip
    data = gather(study, plan, Readings(rows=tuple(rows)))["y"]
    fitted = fit_any_response(data, coding_of(study), model="linear")
    assert isinstance(fitted, LikelihoodResponse)
    return fitted


@pytest.mark.parametrize("n_read", [4, 12, 22])
def test_readings_off_the_scale_leave_fewer_degrees_of_freedom(n_read: int) -> None:
    """Each tells something of the scatter, but less than a reading that was read."""
    fit = _fitted(n_read).fit

    assert 1.0 <= fit.component_df["residual"] <= 22.0
    assert fit.component_df["residual"] <= n_read
    np.testing.assert_array_equal(fit.coefficient_df, fit.component_df["residual"])


def test_hardly_any_reading_on_the_scale_is_a_caution() -> None:
    """Three of 24 against two coefficients: said, with the numbers."""
    fitted = _fitted(3)
    (told,) = (one for one in fitted.findings if "lie on the scale" in one.what)

    assert told.level == "caution"
    assert told.what.startswith("Of 24 readings 3 lie on the scale")
    assert fitted.assessment.residual_df <= 3


def test_with_all_on_the_scale_nothing_changes() -> None:
    """Then they are those of least squares, between batches and within."""
    X = np.column_stack([np.ones(6), [0, 0, 1, 1, 0, 0], [0, 1, 0, 1, 0, 1]]).astype(float)
    counted = freedom_of(X, ("a", "a", "b", "b", "c", "c"))

    assert as_told(counted, 0.7, 1, whole=True) is counted


def test_a_batch_wholly_off_the_scale_tells_no_level() -> None:
    """Of three batches one is off the scale: two less two columns, and one stands."""
    X = np.column_stack([np.ones(8), [0, 0, 1, 1, 0, 0, 1, 1], [0, 1] * 4]).astype(float)
    counted = freedom_of(X, ("a", "a", "b", "b", "c", "c", "d", "d"))
    told = as_told(counted, 50.0, 3, whole=False)

    assert counted.df.tolist() == [2.0, 2.0, 3.0]
    assert told.df.tolist() == [1.0, 1.0, 3.0]
    assert told.inflation.tolist() == pytest.approx([3.0, 3.0, 4 / 3])


@pytest.mark.parametrize("batch", [None, ("a", "a", "b", "b", "c", "c", "d", "d")])
def test_readings_worth_as_many_as_were_made_leave_what_least_squares_leaves(
    batch: tuple[str, ...] | None,
) -> None:
    """The rule passes into ν = n − p and σ²·n/(n − p), between batches and within."""
    X = np.column_stack([np.ones(8), [0, 0, 1, 1, 0, 0, 1, 1], [0, 1] * 4]).astype(float)
    counted = freedom_of(X, batch)
    told = as_told(counted, 8.0 if batch is None else 4.0, 4, whole=False)

    np.testing.assert_allclose(told.df, counted.df, rtol=1e-12)
    np.testing.assert_allclose(told.inflation, counted.inflation, rtol=1e-12)
    assert told.of_batches == counted.of_batches
    assert told.within == pytest.approx(counted.within)


def test_coefficients_take_their_degrees_of_freedom_from_what_the_readings_tell() -> None:
    """Twenty invented runs, seven above 32, six coefficients.

    Source:
        calculated: survreg of survival in R gives σ = 0.6139 and var(ln σ) = 1/(2 · 13.105), hence
        7.1 degrees of freedom and sd 0.834; least squares of the 13 read gives 0.8375 on 7. In
        1500 draws of these runs the 95 % intervals then hold the truth in 95.3 %, and in 92 % if
        the coefficients are not taken off.
    """
    dose = np.array([.5, 2.4, 1.8, .5, 1.8, 3, 1.8, 2.4, .8, 3, .8, 2.4, 1.2, 1.2, 3, .5, .8, .8,
                     1.8, 1.2])  # fmt: skip
    pH = np.array([10, 8, 9, 8, 9, 8, 8, 9, 8, 10, 9, 10, 10, 8, 9, 9, 9, 10, 10, 9.0])
    y = np.array([np.inf, 23.236, 30.145, np.inf, 27.83, 20.936, 27.282, 25.557, np.inf, 25.787,
                  np.inf, 28.517, 34.006, 31.135, 24.467, np.inf, np.inf, np.inf, 31.543,
                  31.936])  # fmt: skip
    x, z = (dose - 1.75) / 1.25, pH - 9
    X = np.column_stack([np.ones(20), x, z, x * z, x**2, z**2])
    rows = CensoredRows(design=X, low=np.where(np.isinf(y), 32.0, y), high=y, weight=np.ones(20))
    found = fit_censored(rows)
    worth = 0.5 / float(found.covariance[6, 6])
    told = as_told(freedom_of(X, None), worth, 0, whole=False)

    assert found.sd == pytest.approx(0.6139, abs=5e-5)
    assert worth == pytest.approx(13.105, abs=5e-4)
    np.testing.assert_allclose(told.df, 7.105, atol=5e-4)
    assert found.sd * told.within[1] ** 0.5 == pytest.approx(0.834, abs=5e-4)
    np.testing.assert_allclose(told.inflation, told.within[1])


def test_fewer_readings_told_than_coefficients_leave_one_degree_of_freedom() -> None:
    """No less than one stands, and the variance is raised by all that the readings were worth."""
    X = np.column_stack([np.ones(8), np.arange(8.0), np.arange(8.0) ** 2])
    told = as_told(freedom_of(X, None), 3.5, 0, whole=False)

    assert told.within == (1.0, 3.5)
    assert as_told(freedom_of(X, None), float("nan"), 0, whole=False).within[0] == 1.0

"""Degrees of freedom of fits with readings off the scale: no more than the readings tell."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.likelihood.any_response import fit_any_response
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

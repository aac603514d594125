"""A response fitted again without some runs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.outliers_influence import OLSInfluence

from analysis.fits.fitted_response import fit_response
from analysis.fits.without_runs import refitting
from analysis.lab.response_data import Blocking, ResponseData
from analysis.lab.without_runs import without_runs
from doe.model.coding import Coding
from doe.model.matrix import model_matrix
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of
from tests.analysis.fits.batches import split_plot


def _alone(n: int = 14) -> tuple[ResponseData, Coding]:
    rng = np.random.default_rng(4)
    study = study_of(factors=[range_factor("a"), range_factor("b")])
    rows = [
        {"a": a, "b": b, "y": 3 + a - 0.5 * b + 0.2 * e}
        for a, b, e in zip(*rng.uniform(-1, 1, (2, n)), rng.standard_normal(n), strict=True)
    ]
    return adopt(study, rows, "y")


def test_coefficients_without_a_run_are_those_of_an_independent_library() -> None:
    """Against statsmodels' OLSInfluence (0.14 or later), which fits each subset anew."""
    data, coding = _alone()
    fitted = fit_response(data, coding, model="quadratic")
    X = model_matrix(data.actual.values, coding, fitted.fit.model)
    y = np.array([run[0] for run in data.repeats])

    betas = np.array([sm.OLS(np.delete(y, i), np.delete(X, i, 0)).fit().params for i in range(14)])
    shift = OLSInfluence(sm.OLS(y, X).fit()).dfbeta
    again = refitting(data, coding, fitted)
    without = [again.without({run}) for run in data.run]
    ours = np.array([fit.coefficients for fit in without if fit is not None])
    np.testing.assert_allclose(ours, betas, rtol=1e-9)
    np.testing.assert_allclose(fitted.fit.coefficients - ours, shift, atol=1e-9)


@pytest.mark.parametrize("left_out", [{1}, {4, 5, 6}, {2, 9, 17}])
def test_a_mixed_fit_without_runs_is_the_whole_fit_of_the_others(left_out: set[int]) -> None:
    """Variances are found anew: one sample, a whole batch, samples of three batches."""
    data, coding = split_plot()
    fitted = fit_response(data, coding, model="quadratic")
    assert fitted.fit.method == "reml"

    quick = refitting(data, coding, fitted).without(left_out)
    slow = fit_response(
        without_runs(data, left_out), coding, model=fitted.fit.model, scale=fitted.fit.scale
    )
    assert quick is not None
    np.testing.assert_allclose(quick.coefficients, slow.fit.coefficients, rtol=1e-6, atol=1e-9)


def test_a_block_that_is_left_out_whole_takes_its_column_along() -> None:
    """The closed form divides by nothing there: leverage of the block as a whole is 1."""
    data, coding = _alone()
    blocks = tuple("early" if i < 5 else "middle" if i < 10 else "late" for i in range(14))
    blocking = Blocking(name="mill", of=blocks, effect="fixed", planned=True)
    data = replace(data, block=blocks, blocking=blocking)
    fitted = fit_response(data, coding, model="linear")
    gone = set(data.run[:5])

    quick = refitting(data, coding, fitted).without(gone)
    slow = fit_response(without_runs(data, gone), coding, model="linear")
    assert quick is not None
    np.testing.assert_allclose(quick.coefficients, slow.fit.coefficients, rtol=1e-9)


def test_a_run_that_alone_tells_a_term_cannot_be_left_out() -> None:
    """All runs but one stand at one setting of b."""
    study = study_of(factors=[range_factor("a"), range_factor("b")])
    rows = [{"a": a, "b": -1.0, "y": a} for a in (-1.0, -0.3, 0.2, 1.1)]
    data, coding = adopt(study, [*rows, {"a": 0.5, "b": 1.0, "y": 2.0}], "y")
    again = refitting(data, coding, fit_response(data, coding, model="linear"))

    assert again.without({data.run[-1]}) is None
    assert again.without({data.run[0]}) is not None


def test_runs_that_the_response_has_not_leave_it_as_it_is() -> None:
    """A response may lack a run that another has."""
    data, coding = _alone()
    fitted = fit_response(data, coding, model="linear")

    assert refitting(data, coding, fitted).without({99}) is fitted.fit

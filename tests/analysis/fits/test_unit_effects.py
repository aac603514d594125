"""What units are predicted to add, and the envelopes of normal plots where rows share units."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from analysis.fits.envelope import envelope_in_strata, normal_envelope
from analysis.fits.fitted_response import fit_response
from analysis.fits.least_squares import solve_least_squares
from doe.model.matrix import model_matrix
from tests.analysis.fits.batches import split_plot


def test_effects_of_batches_are_those_of_an_independent_library() -> None:
    """Against the mixed-model class of statsmodels on the same readings, to its convergence."""
    data, coding = split_plot(batch_sd=0.2)
    fitted = fit_response(data, coding, model="linear")
    X = model_matrix(data.actual.values, coding, fitted.fit.model)
    y = np.log([run[0] for run in data.repeats])
    theirs = sm.MixedLM(y, pd.DataFrame(X), groups=np.array(data.batch)).fit(reml=True)

    (units,) = fitted.assessment.units
    batches = sorted({batch for batch in data.batch if batch is not None})
    expected = [float(theirs.random_effects[batch].iloc[0]) for batch in batches]
    assert units.labels == tuple(map(str, batches))
    np.testing.assert_allclose(units.effect, expected, rtol=2e-3, atol=2e-4)


def test_a_batch_made_wrong_is_named_before_its_runs() -> None:
    """One batch of eight lies eight standard deviations of the others off."""
    data, coding = split_plot(batch_sd=0.02, sd=0.05, doses=(0.8, 1.2, 1.6, 2.0, 2.4) * 3)
    wrong = tuple(
        (run[0] * 1.35,) if batch == 7 else run
        for run, batch in zip(data.repeats, data.batch, strict=True)
    )
    found = fit_response(replace(data, repeats=wrong), coding, model="linear").findings

    (told,) = [one for one in found if one.what.startswith("Batch 7 lies far above")]
    assert told.level == "caution"


def test_the_envelope_in_strata_is_that_of_least_squares_where_nothing_is_shared() -> None:
    """Both simulate the same errors of a fit: places agree within the error of 199 sets."""
    rng = np.random.default_rng(6)
    X = np.column_stack([np.ones(20), rng.standard_normal((20, 2))])
    solved = solve_least_squares(X, rng.standard_normal(20))
    F = np.eye(20) - solved.basis @ solved.basis.T

    ours = np.array(envelope_in_strata(F, solved.basis, solved.df))
    theirs = np.array(normal_envelope(solved))
    np.testing.assert_allclose(ours[3:-3], theirs[3:-3], atol=0.35)
    assert ours.mean() == pytest.approx(theirs.mean(), abs=0.1)


def test_a_mixed_fit_has_an_envelope_for_every_run() -> None:
    """One pair of ends a studentised residual, low below high, rising along the places."""
    data, coding = split_plot()
    known = fit_response(data, coding, model="linear").assessment
    low, high = np.array(known.envelope).T

    assert len(low) == len(known.runs)
    assert (low < high).all()
    assert (np.diff(low) >= 0).all()
    inside = np.sort([row.studentised or 0.0 for row in known.runs])
    assert ((low <= inside) & (inside <= high)).mean() > 0.8

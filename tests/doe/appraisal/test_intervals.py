"""Satterthwaite's degrees of freedom of a prediction."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from doe.appraisal.information import information_of
from doe.appraisal.intervals import effective_df
from doe.appraisal.runs import runs_of_values
from doe.model.strata import Stratum
from tests.doe.appraisal.held_plans import judged
from tests.doe.layouts.briefs import RANGES, a_study

BATCH = Stratum(name="batch", unit=np.repeat(np.arange(8), 3))


def _split_plot() -> tuple[np.ndarray, np.ndarray]:
    """Eight batches of three samples: a factor of the batch, one of the sample, coded."""
    dose = np.repeat([-1.0, 1.0] * 4, 3)
    time = np.tile([-1.0, 0.0, 1.0], 8)
    return np.column_stack([dose, time]), np.column_stack([np.ones(24), dose, time])


def test_a_balanced_split_plot_has_the_degrees_of_its_strata() -> None:
    """A difference between batches 6, one within batches 15, their sum something between."""
    values, X = _split_plot()
    runs = runs_of_values(values, BATCH)
    information = information_of(X, runs, 1.0)

    df = effective_df(np.array([[0.0, 1, 0], [0, 0, 1], [1, 1, 1]]), information, runs, 1.0)

    assert df[:2] == pytest.approx([6.0, 15.0], rel=1e-9)
    assert 6.0 < df[2] < 21.0


def test_independent_runs_have_the_residual_degrees_of_freedom() -> None:
    """Everywhere."""
    values, X = _split_plot()
    runs = runs_of_values(values)

    df = effective_df(X[:3], information_of(X, runs), runs, 1.0)

    np.testing.assert_allclose(df, 21.0)


def test_half_widths_are_t_times_the_standard_error() -> None:
    """Without strata: half of the region within t(df) times the root of the median variance."""
    study = a_study(RANGES[:2])
    values = np.array([[a, b] for a in (0.8, 1.6, 2.4) for b in (8.0, 8.75, 9.5)] * 2)

    found = judged(study, runs_of_values(values), "quadratic")

    assert found.profile is not None
    t = stats.t.ppf(0.975, 12)
    half, _, whole = (one.half_width for one in found.half_widths)
    assert half == pytest.approx(t * found.profile.at_share(0.5) ** 0.5, rel=1e-6)
    assert whole == pytest.approx(t * found.profile.largest**0.5, rel=1e-6)


def test_no_interval_is_promised_where_a_stratum_has_no_degree_of_freedom() -> None:
    """Two batches for two levels of a batch factor."""
    study = a_study([RANGES[0], {**RANGES[2], "set_per": "sample"}])
    values = np.array([[a, t] for a in (0.8, 2.4) for t in (15.0, 30.0, 45.0)])
    batch = Stratum(name="batch", unit=np.repeat([1, 2], 3))

    found = judged(study, runs_of_values(values, batch), "linear")

    assert found.half_widths == ()
    assert found.freedom.residual["batch"] == 0
    dose = next(told for told in found.settings if told.name == "dose")
    assert dose.power is None

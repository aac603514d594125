"""What more or fewer runs tell."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from doe.appraisal.appraise import Asked
from doe.appraisal.information import information_of
from doe.appraisal.profile import average_variance
from doe.appraisal.runs import runs_of_values
from doe.appraisal.sizes import fewer_runs, more_runs, size_point
from doe.model.strata import Stratum
from tests.doe.appraisal.held_plans import ground
from tests.doe.layouts.briefs import RANGES, a_study

STUDY = a_study(RANGES[:2])
SPLIT = a_study([RANGES[0], {**RANGES[2], "set_per": "sample"}])
GRID = np.array([[a, b] for a in (0.8, 1.6, 2.4) for b in (8.0, 8.75, 9.5)] * 2)
BATCHES = np.array([[a, t] for a in (0.8, 0.8, 1.6, 1.6, 2.4, 2.4) for t in (15.0, 30.0, 45.0)])


def test_the_run_that_is_missed_least_goes_first() -> None:
    """Of all single runs, the one without which the average is smallest."""
    _, terrain = ground(STUDY, "quadratic")
    runs = runs_of_values(GRID)
    fewer = fewer_runs(runs, terrain, Asked())
    without = [
        average_variance(
            information_of(terrain.rows(np.delete(GRID, i, axis=0)), runs_of_values(
                np.delete(GRID, i, axis=0))), terrain)
        for i in range(18)
    ]  # fmt: skip

    assert fewer[-1].runs == 17
    assert fewer[-1].average == pytest.approx(min(without))
    assert fewer[0].runs == 6


def test_the_run_that_helps_most_is_added_and_its_gain_is_exact() -> None:
    """No corner of the region would have done better."""
    _, terrain = ground(STUDY, "quadratic")
    (point,) = more_runs(runs_of_values(GRID), terrain, Asked(), 1)
    corners = [
        average_variance(information_of(terrain.rows(values), runs_of_values(values)), terrain)
        for corner in terrain.corners
        for values in [np.vstack([GRID, corner])]
    ]

    assert point.runs == 19
    assert point.average <= min(corners) + 1e-12


def test_variances_fall_with_every_run() -> None:
    """Along the whole curve."""
    _, terrain = ground(STUDY, "quadratic")
    runs = runs_of_values(GRID)
    now = size_point(runs, terrain, Asked(), "this plan")
    assert now is not None
    points = [*fewer_runs(runs, terrain, Asked()), now, *more_runs(runs, terrain, Asked(), 5)]

    for before, after in itertools.pairwise(points):
        assert after.average <= before.average
        assert after.runs == before.runs + 1
        assert sum(after.residual_df.values()) == sum(before.residual_df.values()) + 1


def test_batches_go_and_come_whole() -> None:
    """A plan of six batches with three samples each."""
    _, terrain = ground(SPLIT, "interactions")
    runs = runs_of_values(BATCHES, Stratum(name="batch", unit=np.repeat(np.arange(6), 3)))
    fewer, more = fewer_runs(runs, terrain, Asked()), more_runs(runs, terrain, Asked(), 3)

    assert [(p.runs, p.batches) for p in fewer] == [(6, 2), (9, 3), (12, 4), (15, 5)]
    assert [(p.runs, p.batches) for p in more] == [(21, 7), (24, 8), (27, 9)]
    assert [p.residual_df["batch"] for p in more] == [5, 6, 7]


def test_new_days_hold_what_a_day_holds() -> None:
    """Two runs a day: five more runs take three further days."""
    _, terrain = ground(STUDY, "linear")
    day = Stratum(name="day", unit=np.repeat(np.arange(9), 2))

    more = more_runs(runs_of_values(GRID, day), terrain, Asked(), 5, per_day=2)

    assert [point.days for point in more] == [10, 10, 11, 11, 12]

"""Prediction variance over the region."""

from __future__ import annotations

import numpy as np
import pytest

from doe.appraisal.information import information_of
from doe.appraisal.profile import variance_profile
from doe.appraisal.runs import runs_of_values
from tests.doe.appraisal.held_plans import ground, judged
from tests.doe.layouts.briefs import RANGES, a_study

STUDY = a_study(RANGES[:2])


def test_the_variance_of_a_factorial_has_its_closed_form() -> None:
    """A 2², linear: (1 + x² + y²)/4; average 5/12, largest 3/4, half of the box by area."""
    values = np.array([[a, b] for a in (0.8, 2.4) for b in (8.0, 9.5)])
    found = judged(STUDY, runs_of_values(values), "linear")
    assert found.profile is not None

    assert found.profile.average == pytest.approx(5 / 12, rel=1e-12)
    assert found.profile.largest == pytest.approx(0.75, rel=1e-12)
    # x² + y² < r² covers πr²/4 of the box: half of it at r² = 2/π. 4000 points: ± 0.016 of share.
    assert found.profile.at_share(0.5) == pytest.approx((1 + 2 / np.pi) / 4, abs=0.01)


def test_the_worst_place_is_found_inside_an_edge() -> None:
    """Crowded corners: the middle of one side is worst, neither a vertex nor in the sample."""
    values = np.array(
        [[a, b] for a in (0.8, 2.4) for b in (8.0, 9.5)] * 3
        + [[1.55, 8.72], [1.7, 8.95], [0.8, 8.6], [2.1, 8.0]]
    )
    _, terrain = ground(STUDY, "quadratic")
    information = information_of(terrain.rows(values), runs_of_values(values))
    a, b = np.meshgrid(np.linspace(0.8, 2.4, 801), np.linspace(8.0, 9.5, 801))
    on_grid = information.variance_at(terrain.rows(np.column_stack([a.ravel(), b.ravel()])))

    found = variance_profile(information, terrain)

    assert on_grid.max() > 1.05 * information.variance_at(terrain.corner_rows).max()
    # A grid of 1/400 misses the top of a smooth hill by about a millionth of it.
    assert found.largest == pytest.approx(on_grid.max(), rel=1e-5)
    assert found.largest >= on_grid.max() * (1 - 1e-7)
    assert information.variance_at(terrain.rows(found.worst[None, :]))[0] == pytest.approx(
        found.largest
    )

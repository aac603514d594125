"""Prediction variance over the region."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

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


def test_the_search_for_the_worst_place_keeps_to_the_levels_of_a_choice() -> None:
    """Each chemistry has a dose range of its own: a hair off a level is not inside the other's.

    Along a range of the quadratic the variance is a quartic: a grid of 1000 steps finds its top.
    """
    own = [
        {"when": {"chemistry": "acrylate"}, "low": 5.0, "high": 15.0},
        {"when": {"chemistry": "block"}, "low": 15.0, "high": 40.0},
    ]
    chemistry = {"name": "chemistry", "levels": ["acrylate", "block"]}
    time = {"name": "grind time", "levels": [20, 40, 80]}
    study = a_study([chemistry, {"name": "dose", "range": own}, time])
    rng = np.random.default_rng(0)
    choice = np.repeat([0.0, 1.0], 8)
    rng.integers(0, 2, 16)
    dose = np.where(choice == 0, rng.choice([5, 10, 15], 16), rng.choice([15, 27, 40], 16))
    values = np.column_stack([choice, dose, rng.choice([20.0, 40.0, 80.0], 16)])
    _, terrain = ground(study, "quadratic")
    information = information_of(terrain.rows(values), runs_of_values(values))
    lines = [
        [(level, at, minutes) for at in np.linspace(low, high, 1001)]
        for level, low, high in ((0, 5, 15), (1, 15, 40))
        for minutes in (20, 40, 80)
    ]
    on_grid = information.variance_at(terrain.rows(np.vstack(lines).astype(float)))

    found = variance_profile(information, terrain)

    assert found.largest == pytest.approx(on_grid.max(), rel=1e-6)
    assert found.worst[0] in (0.0, 1.0)


def test_the_widest_interval_is_that_of_the_worst_place() -> None:
    """Sentence and table speak of one place: ± t √(largest variance), t with the plan's own df."""
    values = np.array(
        [[a, b] for a in (0.8, 2.4) for b in (8.0, 9.5)] * 3
        + [[1.55, 8.72], [1.7, 8.95], [0.8, 8.6], [2.1, 8.0]]
    )
    found = judged(STUDY, runs_of_values(values), "quadratic")
    assert found.profile is not None

    t = stats.t.ppf(0.975, len(values) - 6)
    assert found.half_widths[-1].half_width == pytest.approx(t * found.profile.largest**0.5)

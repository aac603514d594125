"""Settings on the bench's steps."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from doe.model.bench_steps import neighbours_on_steps, on_steps, round_to_steps
from doe.model.region import region_of
from doe.model.sampling import sample_region


def test_rounded_rows_lie_on_steps_and_inside(make_study: Any, package: Any, factor: Any) -> None:
    """Shares to 0.01 with sum 1, pH to 0.05, under a limit that ties dose and time."""
    dose = factor["dose"] | {"step": 0.05}
    time = factor["grind time"] | {"step": 2}
    study = make_study(
        package,
        [dose, factor["pH"], time, factor["neutraliser"]],
        limits=[{"sum": {"dose": 1.0, "grind time": 0.02}, "at_most": 2.4}],
    )
    region = region_of(study)
    rows = sample_region(region, 60, np.random.default_rng(1))

    made = round_to_steps(rows, region)

    assert region.contains(made, 1e-12).all()
    assert on_steps(made, region).all()
    assert not on_steps(rows, region).any()
    np.testing.assert_allclose(made[:, :3].sum(axis=1), 1, rtol=0, atol=1e-15)
    np.testing.assert_allclose(made[:, :3] * 100, np.round(made[:, :3] * 100), atol=1e-9)
    np.testing.assert_allclose(made[:, 4] * 20, np.round(made[:, 4] * 20), atol=1e-9)


def test_rounding_takes_the_nearest_setting(make_study: Any, factor: Any) -> None:
    """Up or down, whichever is nearer."""
    region = region_of(make_study((), [factor["pH"]]))

    made = round_to_steps(np.array([[8.52], [8.53], [9.5]]), region)

    np.testing.assert_allclose(made.ravel(), [8.5, 8.55, 9.5])


def test_both_ends_of_a_range_can_be_set(make_study: Any) -> None:
    """Steps count from the low end; the high end counts although they miss it."""
    region = region_of(make_study((), [{"name": "time", "low": 15, "high": 44, "step": 2}]))

    made = round_to_steps(np.array([[15.2], [43.4], [43.6], [44.0]]), region)

    np.testing.assert_allclose(made.ravel(), [15, 43, 44, 44])


def test_a_row_at_the_high_end_is_where_it_should_be(make_study: Any) -> None:
    """The end is a setting of its own, although the steps miss it."""
    region = region_of(make_study((), [{"name": "time", "low": 15, "high": 44, "step": 2}]))

    assert neighbours_on_steps(np.array([44.0]), region).tolist() == [[44.0]]
    assert sorted(neighbours_on_steps(np.array([43.5]), region).ravel()) == [43.0, 44.0]


def test_rounding_stays_below_a_limit(make_study: Any) -> None:
    """1.98 would round up to 2, which is forbidden."""
    factor = {"name": "dose", "low": 1.0, "high": 3.0, "step": 0.25}
    study = make_study((), [factor], limits=[{"sum": {"dose": 1.0}, "at_most": 1.99}])

    assert round_to_steps(np.array([[1.98]]), region_of(study))[0, 0] == 1.75


@pytest.mark.parametrize(
    ("steps", "printed"),
    [
        ((0.01, 0.01, 0.02), (0.25, 0.61, 0.14)),
        ((None, 0.05, 0.05), (0.25, 0.60, 0.15)),
        ((0.03, 0.03, 0.03), (0.25, 0.60, 0.15)),
        ((None, None, 0.05), (0.2475, 0.6025, 0.15)),
    ],
)
def test_shares_add_to_one_whatever_the_steps(
    make_study: Any,
    package: Any,
    steps: tuple[float | None, ...],
    printed: tuple[float, ...],
) -> None:
    """Unlike steps; additives without one take the rest; steps that cannot add to 1."""
    additives = [
        {key: value for key, value in (a | {"step": s}).items() if value is not None}
        for a, s in zip(package, steps, strict=True)
    ]
    region = region_of(make_study(additives))

    made = round_to_steps(np.array([[0.251, 0.606, 0.143]]), region)

    np.testing.assert_allclose(made[0], printed, atol=1e-12)
    assert made.sum() == pytest.approx(1, abs=1e-15)


def test_neighbours_are_the_steps_round_a_row(make_study: Any, package: Any) -> None:
    """Three shares between steps of 0.01 have three blends round them that add to 1."""
    region = region_of(make_study(package))

    near = neighbours_on_steps(np.array([0.253, 0.604, 0.143]), region)

    assert sorted(map(tuple, near.round(12))) == [
        (0.25, 0.60, 0.15),
        (0.25, 0.61, 0.14),
        (0.26, 0.60, 0.14),
    ]


def test_a_row_that_no_step_comes_near_stays_and_is_told(make_study: Any) -> None:
    """A step of 1 in a slit between 1.2 and 1.8."""
    factor = {"name": "dose", "low": 0.0, "high": 3.0, "step": 1.0}
    slit = {"sum": {"dose": 1.0}, "at_least": 1.2, "at_most": 1.8}
    region = region_of(make_study((), [factor], limits=[slit]))

    made = round_to_steps(np.array([[1.5]]), region)

    assert made[0, 0] == 1.5
    assert not on_steps(made, region)[0]


def test_levels_and_open_settings_stay(make_study: Any) -> None:
    """A lacking factor has no step to be rounded to."""
    dose = {
        "name": "dose",
        "step": 0.1,
        "range": [{"when": {"chemistry": "acrylate"}, "low": 1.05, "high": 2}],
    }
    study = make_study((), [{"name": "chemistry", "levels": ["acrylate", "none"]}, dose])

    made = round_to_steps(np.array([[0, 1.33], [1, np.nan]]), region_of(study))

    np.testing.assert_allclose(made, [[0, 1.35], [1, np.nan]])

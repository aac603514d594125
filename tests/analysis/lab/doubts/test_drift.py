"""Drift of controls and of the standard."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scipy import stats

from analysis.lab.doubts.drift import drifting_controls, slope_on_order
from analysis.lab.doubts.standards import drifting_standards, strength_against
from analysis.lab.kubelka_munk import opaque_reflectance
from doe.study.curves import Curve
from doe.study.readings import Actual
from tests.analysis.bench_cases import bench_of, plan_of, reading, study_of

RUNS = (1, 3, 5, 7)


def controls(values: Sequence[float], actuals: Sequence[Actual] = ()) -> list[object]:
    """Doubt the readings of four controls."""
    rows = [reading(run, value) for run, value in zip(RUNS, values, strict=False)]
    plan = plan_of(8, controls=RUNS[: len(values)])
    return list(drifting_controls(bench_of(*rows, plan=plan, actuals=actuals)))


def test_a_control_that_rises_is_doubted() -> None:
    """500 to 560 with little scatter."""
    assert len(controls((500.0, 521.0, 539.0, 561.0))) == 1


@pytest.mark.parametrize(
    "values", [(500.0, 530.0, 490.0, 520.0), (500.0,) * 4, (500.0, 520.0, 540.0)]
)
def test_scatter_constants_and_three_readings_are_none(values: tuple[float, ...]) -> None:
    """A slope is told from scatter, and from four readings on."""
    assert not controls(values)


def test_the_order_as_done_counts() -> None:
    """The same readings, taken in another order, do not rise."""
    done = dict(zip(range(1, 9), (1, 2, 7, 4, 3, 6, 5, 8), strict=True))
    actuals = [Actual(unit=f"run {run}", what="order", value=str(at)) for run, at in done.items()]
    turned = [Actual(unit=f"run {run}", what="order", value=str(run)) for run in done]

    assert not controls((500.0, 521.0, 539.0, 561.0), actuals)
    assert len(controls((500.0, 521.0, 539.0, 561.0), turned)) == 1


def test_the_t_test_is_that_of_a_regression() -> None:
    """Against scipy.stats.linregress, scipy 1.x [calculated]."""
    x, z = np.array([1.0, 4, 6, 9, 15]), np.array([2.0, 2.3, 2.1, 2.9, 3.0])
    slope, p = slope_on_order(x, z)
    known = stats.linregress(x, z)

    assert slope == pytest.approx(known.slope, rel=1e-12)
    assert p == pytest.approx(known.pvalue, rel=1e-9)


Q = np.array([0.6, 0.9, 0.5, 0.2, 0.1])


def standard(day: int, strength: float) -> Curve:
    """Make the standard of a day, as strong as is said."""
    y = tuple(map(float, opaque_reflectance(strength * Q)))
    x = tuple(400.0 + 50 * i for i in range(5))
    return Curve(id=day, subject="standard", day=day, x=x, y=y, source=f"curves.csv, line {day}")


@pytest.mark.parametrize("strength", [0.9, 1.0, 1.07])
def test_strength_of_a_standard_is_its_absorption(strength: float) -> None:
    """K/S in proportion to the pigment."""
    found = strength_against([standard(1, 1.0)], [standard(2, strength)])

    assert found == pytest.approx(100 * strength, rel=1e-9)


@pytest.mark.parametrize(("strength", "is_doubted"), [(0.96, True), (0.98, False), (1.04, True)])
def test_a_standard_further_off_than_three_per_cent_is_doubted(
    strength: float, is_doubted: bool
) -> None:
    """3 %: common practice, no source."""
    study = study_of({"name": "strength", "from": "colour strength", "per": "sample"})
    curves = {"reflectance": [standard(1, 1.0), standard(2, strength)]}
    found = list(drifting_standards(bench_of(curves=curves, study=study)))

    assert bool(found) == is_doubted
    assert all(one.days == (2,) for one in found)

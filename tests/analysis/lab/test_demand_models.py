"""Tied curves are what they say: their pick-off dose, or their minimum, is the one given."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from analysis.lab.demand_curve import lowest_dose_within, lowest_of
from analysis.lab.demand_models import MODELS, Chart, DemandModel, Span
from doe.study.settings import FloatArray

SPAN = Span(0.4, 3.2)
MARGIN = float(np.log(1.05))


def curves(chart: Chart, seed: int) -> list[tuple[Chart, FloatArray, FloatArray]]:
    """Draw curves of a chart: coordinates within its bounds, weights of its columns."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(30):
        at = np.array([rng.uniform(*ends) for ends in chart.bounds])
        found.append((chart, at, 10 ** rng.uniform(-3.0, 0.3, size=2)))
    return found


def height(chart: Chart, at: FloatArray, weights: FloatArray, doses: FloatArray) -> FloatArray:
    """Give a tied curve at doses."""
    mix = chart.build(at[None, :], doses)
    return np.asarray(
        mix.fixed[0] + sum(w * c[0] for w, c in zip(weights, mix.columns, strict=False))
    )


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.name)
@pytest.mark.parametrize("pick", [0.7, 1.3, 2.2])
def test_a_curve_tied_to_a_pick_has_it(model: DemandModel, pick: float) -> None:
    """Whatever its coordinates and weights: lowest dose within 5 % of its minimum."""
    n = 0
    for chart in model.at_pick(pick, MARGIN, SPAN):
        for one, at, weights in curves(chart, seed=3):
            if np.isnan(height(one, at, weights, np.array([pick]))[0]):
                continue
            lowest = lowest_of(partial(height, one, at, weights), SPAN)
            if lowest.value > 1e6 or lowest.dose < pick * (1 + 1e-3):
                continue  # too steep for the grid that looks it over
            found = lowest_dose_within(partial(height, one, at, weights), SPAN, 5.0)
            assert found == pytest.approx(pick, rel=1e-4)
            n += 1
    assert n >= 5


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.name)
def test_a_curve_tied_to_a_minimum_has_it(model: DemandModel) -> None:
    """The coverage curve has none; every other one has it where it is told to."""
    for chart in model.at_minimum(1.4, SPAN):
        for one, at, weights in curves(chart, seed=4):
            if at.size and np.exp(at[0]) > 6:
                continue  # flat to the last digit around its minimum
            lowest = lowest_of(partial(height, one, at, weights), SPAN)
            assert lowest.dose == pytest.approx(1.4, rel=2e-3)

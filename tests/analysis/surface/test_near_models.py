"""Models nearly as good are told of where they differ by more than the error, and else not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.fits.fit import Fit
from analysis.fits.fitted_response import fit_response
from analysis.fits.near_models import NearModel
from analysis.fits.selection import reduce_fit
from analysis.surface.near_models import near_models_finding
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of


@pytest.fixture(scope="module")
def reduced() -> tuple[Fit, tuple[NearModel, ...]]:
    """A response of one factor out of two."""
    rng = np.random.default_rng(5)
    rows = []
    for _ in range(20):
        a, b = map(float, rng.uniform(-1, 1, 2))
        rows.append({"a": a, "b": b, "y": 4 + a + float(rng.normal(0, 0.3))})
    data, coding = adopt(study_of(factors=[range_factor("a"), range_factor("b")]), rows, "y")
    found = reduce_fit(data, coding, fit_response(data, coding, model="quadratic"))
    assert found.reduction is not None
    return found.fit, found.reduction.near


def test_near_models_that_agree_are_not_told(reduced: tuple[Fit, tuple[NearModel, ...]]) -> None:
    """In the middle all of them hold the same."""
    fit, near = reduced

    assert len(near) > 1
    assert near_models_finding(fit, near, np.zeros(2), "in the middle of the region") is None


def test_near_models_that_differ_are_told(reduced: tuple[Fit, tuple[NearModel, ...]]) -> None:
    """A second model, moved by ten, with half of the weight: the average lies five away."""
    fit, near = reduced
    first = replace(near[0], weight=0.5)
    b = np.array(first.coefficients)
    b[0] += 10
    second = replace(first, coefficients=b)
    told = near_models_finding(fit, (first, second), np.zeros(2), "at the settings kept")

    assert told is not None
    assert told.what.startswith("At the settings kept")
    gap = float(told.evidence["average of near models"]) - float(told.evidence["model in use"])
    assert gap == pytest.approx(5, abs=0.01)
    # √(var + 5²) of each, in the mean.
    assert float(told.evidence["error with the choice of model, fitted scale"]) == pytest.approx(
        5, abs=0.05
    )

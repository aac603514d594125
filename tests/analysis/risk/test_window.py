"""The joint probability over two settings and over the triangle of a package."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from analysis.risk.window import (
    WindowBasis,
    leading_settings,
    probability_slice,
    probability_triangle,
    slice_table,
    triangle_table,
)
from doe.model.coding import coding_of
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.risk.robust_studies import ground, question, two_way, two_way_fits


def test_a_slice_holds_the_probability_at_its_own_settings() -> None:
    """Against the probability at single recipes, by more draws."""
    study = two_way()
    asked = question(study, two_way_fits(study))
    basis = WindowBasis(
        study=study, region=asked.region, surfaces=asked.surfaces, model=asked.model
    )
    found = probability_slice(basis, np.array([2.0, 20.0]), "dose", "time", points=7)
    rows = np.stack(np.meshgrid(found.slice_.x_values, found.slice_.y_values), -1).reshape(-1, 2)
    wanted = ground(asked).fine.probability(rows).reshape(7, 7)
    np.testing.assert_allclose(found.probability, wanted, atol=0.02)
    assert leading_settings(basis, np.array([2.0, 20.0])) == ("dose", "time")
    table = list(csv.reader(io.StringIO(slice_table(found))))
    assert table[0] == ["dose", "time", "probability"]
    assert len(table) == 1 + 49


def test_a_triangle_covers_the_region_and_leaves_the_rest_out_of_its_table() -> None:
    """Three additives, probability falling towards the second."""
    study = brief(
        [],
        [{"name": "y", "accept": {"at_most": 12.0}}],
        [{"name": n, "low": 0.1, "high": 0.7} for n in ("a, wetting", "b", "c")],
    )
    coding = coding_of(study)
    asked = question(study, {"y": fit_of(coding, "y", [10.0, 14.0, 11.0], model="linear", sd=0.5)})
    basis = WindowBasis(
        study=study, region=asked.region, surfaces=asked.surfaces, model=asked.model
    )
    found = probability_triangle(
        basis, np.array([0.4, 0.3, 0.3]), ("a, wetting", "b", "c"), points=11
    )
    table = list(csv.reader(io.StringIO(triangle_table(found))))
    assert table[0] == ["a, wetting", "b", "c", "probability"]
    rows = np.array(table[1:], dtype=np.float64)
    assert len(rows) == found.slice_.inside.sum() < len(found.probability)
    assert rows[:, :3].sum(axis=1) == pytest.approx(1.0)
    assert np.corrcoef(rows[:, 1], rows[:, 3])[0, 1] < -0.5
    assert leading_settings(basis, np.array([0.4, 0.3, 0.3])) is None

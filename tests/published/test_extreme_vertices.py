"""Extreme vertices and centroids of published constrained blends."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from doe.model.region import Region, region_of
from doe.model.vertices import edge_centroids, face_centroids, overall_centroid, region_vertices
from doe.study.brief import Study
from doe.study.settings import FloatArray

REFERENCE = Path(__file__).parents[1] / "reference"


def expected(case: str) -> dict[str, Any]:
    """Read the kept answers of a case, by id."""
    text = (REFERENCE / case / "expected.json").read_text(encoding="utf-8")
    page: dict[str, Any] = json.loads(text)
    return page | {entry["id"]: entry["value"] for entry in page["values"]}


def table(case: str) -> FloatArray:
    """Read the kept table of a case, without its head."""
    with (REFERENCE / case / "data.csv").open(encoding="utf-8", newline="") as file:
        return np.array(list(csv.reader(file))[1:], dtype=np.float64)


def blend(
    low: list[float], high: list[float], limits: list[dict[str, Any]] | None = None
) -> Region:
    """Make the region of a blend of x1, x2, ..."""
    additives = [
        {"name": f"x{i}", "low": lo, "high": hi}
        for i, (lo, hi) in enumerate(zip(low, high, strict=True), start=1)
    ]
    brief = {
        "study": {"title": "published"},
        "package": {"additive": additives},
        "limit": limits or [],
    }
    return region_of(Study.model_validate(brief))


def assert_same_points(found: FloatArray, points: FloatArray, tolerance: float = 1e-9) -> None:
    """Compare two sets of points, whatever their order."""
    assert found.shape == points.shape
    distance = np.abs(found[:, None, :] - points[None, :, :]).max(axis=2)
    assert distance.min(axis=0).max() <= tolerance
    assert distance.min(axis=1).max() <= tolerance


def flare() -> Region:
    """Magnesium, sodium nitrate, strontium nitrate, binder."""
    bounds = expected("mclean-anderson-flare")["bounds"]
    return blend([float(x) for x in bounds["lower"]], [float(x) for x in bounds["upper"]])


def test_flare_vertices_agree_with_mclean_anderson_1966() -> None:
    """Source: McLean and Anderson (1966), Technometrics 8, 447-454, runs 1 to 8."""
    assert_same_points(region_vertices(flare()), table("mclean-anderson-flare")[:8, :4])


def test_flare_face_centroids_agree_with_mclean_anderson_1966() -> None:
    """Source: as above, runs 9 to 14: the mean of the vertices of each two-dimensional face."""
    assert_same_points(face_centroids(flare(), 2), table("mclean-anderson-flare")[8:14, :4])


def test_flare_centroid_agrees_with_mclean_anderson_1966() -> None:
    """Source: as above, run 15: the mean of all vertices."""
    assert_same_points(overall_centroid(flare()), table("mclean-anderson-flare")[14:, :4])


def eight(high4: float) -> Region:
    """The eight-component screening region, with either upper limit of x4."""
    bounds = expected("snee-marquardt-8-component")["bounds"]
    high = [float(x) for x in bounds["upper"]]
    return blend([float(x) for x in bounds["lower"]], [*high[:3], high4, *high[4:]])


@pytest.mark.parametrize("high4", ["0.10", "0.40"])
def test_eight_component_vertices_are_as_many_as_exact_enumeration_gives(high4: str) -> None:
    """Source: Snee and Marquardt (1976), Technometrics 18, 19-29 (limits); exact fractions."""
    n_vertices = expected("snee-marquardt-8-component")[f"n_vertices.U4={high4}"]

    assert len(region_vertices(eight(float(high4)))) == n_vertices


def test_eight_component_runs_are_vertices() -> None:
    """Source: as above: the sixteen runs that are no centre points are extreme vertices."""
    runs = table("snee-marquardt-8-component")[:16, :8]
    vertices = region_vertices(eight(0.10))

    assert np.abs(runs[:, None, :] - vertices[None]).max(axis=2).min(axis=1).max() <= 1e-9


def test_eight_component_centroid_agrees_with_exact_enumeration() -> None:
    """Source: as above."""
    centroid = expected("snee-marquardt-8-component")["centroid"]

    np.testing.assert_allclose(overall_centroid(eight(0.10))[0], centroid, atol=1e-9)


def multicomponent() -> Region:
    """Three components under two limits over several of them."""
    return blend(
        [0.1, 0.1, 0.0],
        [0.5, 0.7, 0.7],
        [
            {"sum": {"x1": 0.85, "x2": 0.90, "x3": 1.0}, "at_least": 0.90, "at_most": 0.95},
            {"sum": {"x1": 0.7, "x3": 1.0}, "at_least": 0.4},
        ],
    )


def test_multicomponent_vertices_agree_with_exact_enumeration() -> None:
    """Source: Piepel (1988), Journal of Quality Technology 20, 125-139; exact fractions."""
    points = np.array(expected("piepel-multicomponent-constraints")["vertices"])

    assert_same_points(region_vertices(multicomponent()), points)


def test_multicomponent_edge_centroids_agree_with_exact_enumeration() -> None:
    """Source: as above: the middles of the six edges."""
    points = np.array(expected("piepel-multicomponent-constraints")["edge_centroids"])

    assert_same_points(edge_centroids(multicomponent()), points)


def test_multicomponent_centroid_agrees_with_exact_enumeration() -> None:
    """Source: as above."""
    point = np.array([expected("piepel-multicomponent-constraints")["centroid"]])

    assert_same_points(overall_centroid(multicomponent()), point)


def test_masonry_paint_package_has_five_vertices() -> None:
    """The invented demo region: five corners worked out by hand, centroid (0.20, 0.52, 0.28)."""
    region = blend([0.05, 0.35, 0.10], [0.35, 0.85, 0.45])
    corners = np.array(
        [
            [0.05, 0.85, 0.10],
            [0.05, 0.50, 0.45],
            [0.35, 0.55, 0.10],
            [0.35, 0.35, 0.30],
            [0.20, 0.35, 0.45],
        ]
    )

    assert_same_points(region_vertices(region), corners)
    assert_same_points(overall_centroid(region), np.array([[0.20, 0.52, 0.28]]))

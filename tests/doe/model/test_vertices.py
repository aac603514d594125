"""Corners and centroids of regions with factors, levels and forbids."""

from __future__ import annotations

from typing import Any

import numpy as np

from doe.model.region import region_of
from doe.model.vertices import edge_centroids, face_centroids, overall_centroid, region_vertices


def test_a_forbidden_corner_leaves_the_corners_of_an_l(make_study: Any) -> None:
    """The two pieces' corners inside an edge of the other piece are no corners of the region."""
    factors = [{"name": "dose", "low": 0, "high": 2}, {"name": "time", "low": 0, "high": 2}]
    study = make_study((), factors, forbids=[{"settings": {"dose": "> 1", "time": "> 1"}}])

    corners = region_vertices(region_of(study))

    assert sorted(map(tuple, corners)) == [(0, 0), (0, 2), (1, 2), (2, 0), (2, 1)]


def test_every_combination_of_levels_has_its_corners(
    make_study: Any, package: Any, factor: Any
) -> None:
    """The package times a dose range times two neutralisers times three bead sizes."""
    blend = region_vertices(region_of(make_study(package)))
    study = make_study(package, [factor["dose"], factor["neutraliser"], factor["bead diameter"]])
    region = region_of(study)

    corners = region_vertices(region)

    assert len(corners) == len(blend) * 2 * 2 * 3
    assert region.contains(corners, 1e-12).all()


def test_the_middle_of_a_log_range_is_the_geometric_mean(make_study: Any, factor: Any) -> None:
    """Centroids lie at coded 0."""
    region = region_of(make_study((), [factor["dose"], factor["pH"]]))

    np.testing.assert_allclose(overall_centroid(region), [[(0.8 * 2.4) ** 0.5, 8.75]])
    assert len(edge_centroids(region)) == 4


def test_a_middle_in_logs_beyond_a_limit_gives_way_to_the_plain_mean(make_study: Any) -> None:
    """A limit from below bends inwards in logs: centroids must stay in the region."""
    factors = [
        {"name": "dose", "low": 0.1, "high": 10, "spacing": "log"},
        {"name": "time", "low": 0.1, "high": 10, "spacing": "log"},
    ]
    study = make_study((), factors, limits=[{"sum": {"dose": 1.0, "time": 1.0}, "at_least": 10.0}])
    region = region_of(study)

    assert region.contains(edge_centroids(region)).all()
    assert region.contains(overall_centroid(region)).all()


def test_faces_of_a_product_are_products_of_faces(
    make_study: Any, package: Any, factor: Any
) -> None:
    """A pentagon-like blend times a range: as many faces as the prism over it."""
    blend = region_of(make_study(package))
    prism = region_of(make_study(package, [factor["pH"]]))
    v, e = len(region_vertices(blend)), len(edge_centroids(blend))

    assert len(edge_centroids(prism)) == 2 * e + v
    assert len(face_centroids(prism, 2)) == 2 + e
    assert len(face_centroids(prism, 3)) == 0


def test_a_lacking_factor_stays_open_in_corners(make_study: Any) -> None:
    """Two ends of the dose where the chemistry has one, one open row where it has none."""
    dose = {"name": "dose", "range": [{"when": {"chemistry": "acrylate"}, "low": 1, "high": 2}]}
    study = make_study((), [{"name": "chemistry", "levels": ["acrylate", "none"]}, dose])

    corners = region_vertices(region_of(study))

    np.testing.assert_array_equal(corners, [[0, 1], [0, 2], [1, np.nan]])

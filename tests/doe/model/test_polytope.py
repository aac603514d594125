"""Vertices, edges, faces and simplices of polytopes."""

from __future__ import annotations

import numpy as np
import pytest

from doe.model.polytope import Polytope, edges, faces, make_polytope, triangulate
from doe.study.settings import FloatArray

NO_ROWS = np.empty((0, 3))


def cube(A: FloatArray = NO_ROWS, b: tuple[float, ...] = (), shares: bool = False) -> Polytope:
    """The unit cube, cut; `shares` for the simplex in it."""
    found = make_polytope(np.zeros(3), np.ones(3), A, np.array(b), np.full(3, shares))
    assert found is not None
    return found


def test_the_cube_has_its_known_faces() -> None:
    """8 corners, 12 edges, 6 squares, 1 body."""
    body = cube()

    assert [len(faces(body, f)) for f in range(4)] == [8, 12, 6, 1]
    assert faces(body, 4) == ()


def test_the_simplex_lies_in_its_plane() -> None:
    """Three shares span a triangle of dimension 2."""
    body = cube(shares=True)

    assert body.dimension == 2
    np.testing.assert_array_equal(np.sort(body.vertices, axis=0)[:2], np.zeros((2, 3)))
    assert len(edges(body)) == 3


def test_an_octahedron_has_degenerate_corners() -> None:
    """Four of eight half-spaces meet at each of its six corners; two more touch it for nothing."""
    signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], dtype=float)
    touching = np.array([[1.0, 0.0, 0.0], [1.0, 1.0, 0.0]])
    A = np.vstack([signs, touching])
    b = np.concatenate([np.full(8, 0.5) + signs @ np.full(3, 0.5), [1.0, 1.5]])

    body = make_polytope(np.zeros(3), np.ones(3), A, b, np.zeros(3, dtype=np.bool_))

    assert body is not None
    assert [len(faces(body, f)) for f in range(4)] == [6, 12, 8, 1]


def test_a_cut_through_a_corner_keeps_the_corner_once() -> None:
    """The plane x + y = 2 touches one edge of the cube and takes nothing away."""
    assert len(cube(np.array([[1.0, 1.0, 0.0]]), (2.0,)).vertices) == 8


def test_two_bounds_that_meet_leave_a_flat_body() -> None:
    """The plane x + y + z = 1.5 cuts the cube in a regular hexagon."""
    A = np.array([[1.0, 1.0, 1.0], [-1.0, -1.0, -1.0]])
    body = cube(A, (1.5, -1.5))

    assert body.dimension == 2
    assert len(body.vertices) == len(edges(body)) == 6


def test_nothing_left_is_none() -> None:
    """Below 0 and in the cube."""
    none = make_polytope(
        np.zeros(3), np.ones(3), np.ones((1, 3)), np.array([-0.5]), np.zeros(3, dtype=np.bool_)
    )

    assert none is None


def test_simplices_fill_the_body() -> None:
    """Volumes add up to that of the cube less its cut corner, 1 − 0.5³ / 6."""
    body = cube(np.array([[1.0, 1.0, 1.0]]), (2.5,))
    simplices = triangulate(body)

    assert simplices is not None
    corners = body.vertices[simplices]
    volumes = np.abs(np.linalg.det(corners[:, 1:] - corners[:, :1])) / 6
    assert volumes.sum() == pytest.approx(1 - 0.5**3 / 6, abs=1e-12)


def test_too_many_simplices_are_not_made() -> None:
    """The caller then walks instead."""
    assert triangulate(cube(), 5) is None


def test_typed_decimals_stay_as_typed() -> None:
    """1 − 0.40 − 0.10 − 0.03 is 0.47 and not 0.47000000000000003."""
    body = make_polytope(
        np.array([0.40, 0.10, 0.10, 0.03]),
        np.array([0.60, 0.50, 0.50, 0.08]),
        np.empty((0, 4)),
        np.empty(0),
        np.ones(4, dtype=np.bool_),
    )

    assert body is not None
    assert [0.4, 0.1, 0.47, 0.03] in body.vertices.tolist()

"""Corners of the region: vertices, centroids of edges and faces, overall centroids.

Source:
    McLean and Anderson (1966), Technometrics 8, 447-454: extreme vertices; the centroid of a face
    is the mean of its vertices, the overall centroid the mean of all.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from doe.model.coding import Coding, NumericAxis, code
from doe.model.polytope import IndexArray, Polytope, faces
from doe.model.region import Block, Piece, Region, inside_piece
from doe.study.settings import BoolArray, FloatArray

# Corners nearer than this, coded, are one.
SAME_CORNER = 1e-7
CELL_OFFSET = 0.2718


def region_vertices(region: Region) -> FloatArray:
    """List the extreme points of the region, shape (v, k), lab units, for each level combination.

    Where a forbid leaves overlapping pieces, a corner of one that lies inside another is left out.
    """
    corners: list[FloatArray] = []
    for pieces in region.combinations:
        own = [_assembled(piece, 0, region.coding) for piece in pieces]
        for i, rows in enumerate(own):
            kept = rows
            for other, piece in enumerate(pieces):
                if other != i and len(kept):
                    within = inside_piece(piece, kept, region.spans, region.coding)
                    kept = kept[~within | _among(kept, own[other], region.coding)]
            corners.append(kept)
    return _distinct(np.vstack(corners), region.coding)


def some_vertices(region: Region, most: int, rng: np.random.Generator) -> FloatArray:
    """List the extreme points of the region, or as many of them as asked for, drawn by chance.

    A box of twenty ranges has a million corners, which nobody can look at.

    Args:
        region: The region.
        most: How many at most.
        rng: Source of the choice.

    Returns:
        Shape (v, k), lab units.
    """
    if vertex_count(region) <= most:
        return region_vertices(region)
    each = -(-most // len(region.pieces))
    rows = []
    for piece in region.pieces:
        drawn = np.full((each, len(region.coding.axes)), np.nan)
        for j, value in piece.fixed.items():
            drawn[:, j] = value
        for block in piece.blocks:
            corners = block.polytope.vertices
            drawn[:, list(block.columns)] = corners[rng.integers(len(corners), size=each)]
        rows.append(drawn)
    return _distinct(np.vstack(rows)[:most], region.coding)


def vertex_count(region: Region) -> int:
    """Count the vertices of all pieces, without listing them."""
    return sum(
        math.prod(len(block.polytope.vertices) for block in piece.blocks) for piece in region.pieces
    )


def edge_centroids(region: Region) -> FloatArray:
    """List the middles of the edges, shape (e, k), lab units."""
    return face_centroids(region, 1)


def face_centroids(region: Region, dimension: int) -> FloatArray:
    """List the centroids of the faces of one dimension.

    Args:
        region: The region.
        dimension: 1 for edges, 2 for flat faces, and so on, below that of the region itself.

    Returns:
        Shape (f, k), lab units; the mean of the face's vertices, taken in coded units (the
        geometric mean of a log-spaced factor) where that lies in the region. Empty where the region
        has no such face.
    """
    found = [
        _assembled(piece, dimension, region.coding)
        for piece in region.pieces
        if piece.dimension > dimension
    ]
    k = len(region.coding.axes)
    lab = np.vstack([np.empty((0, k)), *found])
    return _distinct(lab, region.coding)


def overall_centroid(region: Region) -> FloatArray:
    """Give the centroid of each piece of the region, shape (c, k), lab units.

    The mean of the vertices; one row for each combination of levels where no forbid splits it.
    """
    found = [_assembled(piece, piece.dimension, region.coding) for piece in region.pieces]
    return _distinct(np.vstack(found), region.coding)


def _assembled(piece: Piece, dimension: int, coding: Coding) -> FloatArray:
    """Put the faces of the blocks together to those of a piece, by centroid, shape (f, k)."""
    middle = _crossed(piece, dimension, coding, in_logs=True)
    # A middle in logs may lie beyond a limit that bends there; the plain mean never does.
    plain = _crossed(piece, dimension, coding, in_logs=False)
    spans = np.array(
        [getattr(axis, "high", 1.0) - getattr(axis, "low", 0.0) for axis in coding.axes]
    )
    inside = inside_piece(piece, middle, spans, coding)
    return np.where(inside[:, None], middle, plain)


def _crossed(piece: Piece, dimension: int, coding: Coding, *, in_logs: bool) -> FloatArray:
    k = len(coding.axes)
    rows = [np.empty((0, k))]
    for split in _splits(dimension, [block.polytope.dimension for block in piece.blocks]):
        part = np.full((1, k), np.nan)
        for j, value in piece.fixed.items():
            part[:, j] = value
        for block, size in zip(piece.blocks, split, strict=True):
            middles = _middles(block, size, coding, in_logs=in_logs)
            m = len(middles)
            part = np.repeat(part, m, axis=0)
            part[:, list(block.columns)] = np.tile(middles, (len(part) // m, 1)) if m else 0.0
        rows.append(part)
    return np.vstack(rows)


def _middles(block: Block, size: int, coding: Coding, *, in_logs: bool) -> FloatArray:
    """Give the mean vertex of each face of a block, shape (f, columns), lab units."""
    axes = [coding.axes[j] for j in block.columns]
    logs = [in_logs and isinstance(a, NumericAxis) and a.spacing == "log" for a in axes]
    vertices = block.polytope.vertices
    if size == 0:
        return vertices
    onto = vertices.copy()
    onto[:, logs] = np.log(vertices[:, logs])
    found = block_faces(block.polytope, size)
    means = np.array([onto[face].mean(axis=0) for face in found]).reshape(len(found), len(axes))
    means[:, logs] = np.exp(means[:, logs])
    return means


@lru_cache(maxsize=256)
def block_faces(polytope: Polytope, dimension: int) -> tuple[IndexArray, ...]:
    """List the faces of a polytope, worked out once."""
    return faces(polytope, dimension)


def _splits(total: int, most: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Share out a dimension over blocks that have room for it, in lexical order."""
    if not most:
        if total == 0:
            yield ()
        return
    room = sum(most[1:])
    for own in range(max(total - room, 0), min(most[0], total) + 1):
        yield from ((own, *rest) for rest in _splits(total - own, most[1:]))


def _distinct(rows: FloatArray, coding: Coding) -> FloatArray:
    """Leave out rows that stand twice, keeping the order."""
    key = np.nan_to_num(code(rows, coding), nan=9.0)
    # The offset keeps round numbers off the borders of the cells that they are sorted into.
    cells = np.floor(key / SAME_CORNER + CELL_OFFSET)
    _, first = np.unique(cells, axis=0, return_index=True)
    return rows[np.sort(first)]


def _among(rows: FloatArray, others: FloatArray, coding: Coding) -> BoolArray:
    """Tell which rows stand among others, shape (n,)."""
    a = np.nan_to_num(code(rows, coding), nan=9.0)
    b = np.nan_to_num(code(others, coding), nan=9.0)
    distance = np.abs(a[:, None, :] - b[None, :, :]).max(axis=2)
    return np.asarray(distance.min(axis=1) <= SAME_CORNER)

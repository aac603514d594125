"""Corners of the region: vertices, centroids of edges and faces, overall centroids.

Source:
    McLean and Anderson (1966), Technometrics 8, 447-454: extreme vertices; the centroid of a face
    is the mean of its vertices, the overall centroid the mean of all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import product

import numpy as np

from doe.model.coding import Coding, code, decode
from doe.model.polytope import Polytope, faces
from doe.model.region import Block, Piece, Region, inside_piece
from doe.study.settings import FloatArray

# Corners nearer than this, coded, are one.
SAME_CORNER = 1e-7


def region_vertices(region: Region) -> FloatArray:
    """List the extreme points of the region, shape (v, k), lab units, for each level combination.

    Where a forbid leaves overlapping pieces, a corner of one that lies inside another is left out.
    """
    corners: list[FloatArray] = []
    for pieces in region.combinations:
        own = [_assembled(piece, 0) for piece in pieces]
        for i, rows in enumerate(own):
            kept = rows
            for other, piece in enumerate(pieces):
                if other != i and len(kept):
                    within = inside_piece(piece, kept, region.spans, region.coding)
                    kept = kept[~within | _among(kept, own[other], region.coding)]
            corners.append(kept)
    return _distinct(np.vstack(corners), region.coding)


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
    found = [_assembled(piece, dimension) for piece in region.pieces if _size(piece) > dimension]
    k = len(region.coding.axes)
    lab = np.vstack([np.empty((0, k)), *found])
    return _distinct(lab, region.coding)


def overall_centroid(region: Region) -> FloatArray:
    """Give the centroid of each piece of the region, shape (c, k), lab units.

    The mean of the vertices; one row for each combination of levels where no forbid splits it.
    """
    found = [_assembled(piece, _size(piece)) for piece in region.pieces]
    return _distinct(np.vstack(found), region.coding)


def _size(piece: Piece) -> int:
    return sum(block.polytope.dimension for block in piece.blocks)


def _assembled(piece: Piece, dimension: int) -> FloatArray:
    """Put the faces of the blocks together to those of a piece, by centroid."""
    k = piece.A.shape[1]
    rows: list[FloatArray] = []
    for split in _splits(dimension, [block.polytope.dimension for block in piece.blocks]):
        parts = [
            _block_centroids(block, size) for block, size in zip(piece.blocks, split, strict=True)
        ]
        for combination in product(*parts):
            row = np.full(k, np.nan)
            for j, value in piece.fixed.items():
                row[j] = value
            for block, part in zip(piece.blocks, combination, strict=True):
                row[list(block.columns)] = part
            rows.append(row)
    return np.array(rows).reshape(len(rows), k)


def _splits(total: int, most: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Share out a dimension over blocks that have room for it."""
    yield from (s for s in product(*(range(m + 1) for m in most)) if sum(s) == total)

"""The settings an exchange may choose from: the region's own corners, edges, faces and inside."""

from __future__ import annotations

import numpy as np

from doe.model.bench_steps import round_to_steps
from doe.model.coding import code
from doe.model.region import Region
from doe.model.sampling import sample_region
from doe.model.vertices import (
    edge_centroids,
    face_centroids,
    overall_centroid,
    some_vertices,
    vertex_count,
)
from doe.study.settings import FloatArray

# The faces' centroids hold the support of optimal second-order plans, or come close to it
# (Snee & Marquardt 1974, Technometrics 16, 399-408; Atkinson, Donev & Tobias 2007, 11.5).
MOST_CANDIDATES = 4000
INNER_POINTS = 200
# Beyond so many edges and faces the corners have to do.
_MOST_EDGES = 100_000
# Coded settings closer than this are one setting: finer than any bench can tell apart.
_SAME = 1e-6


def candidate_settings(region: Region, n_wanted: int, rng: np.random.Generator) -> FloatArray:
    """List settings worth running.

    Args:
        region: All settings the brief allows.
        n_wanted: How many there should be; inner points join the corners and centroids only
            where those are fewer.
        rng: Source of the inner points, and of the choice where a region has too many faces.

    Returns:
        Shape (g, k), lab units; corners first, all inside the region.
    """
    corners = some_vertices(region, MOST_CANDIDATES, rng)
    most = len(region.coding.axes)
    rows = [corners, overall_centroid(region)]
    if vertex_count(region) * most < _MOST_EDGES:
        edges = edge_centroids(region)
        rows.append(edges)
        if len(edges) < MOST_CANDIDATES:
            rows += [face_centroids(region, d) for d in range(2, most)]
    every = _distinct(np.vstack([part for part in rows if len(part)]), region)
    if len(every) < n_wanted:
        inner = sample_region(region, INNER_POINTS, rng)
        every = _distinct(np.vstack([every, inner]), region)
    if len(every) > MOST_CANDIDATES:
        every = every[np.sort(rng.choice(len(every), MOST_CANDIDATES, replace=False))]
    # Rounded before the search, so that the plan is the best among those the bench can make.
    return _distinct(round_to_steps(every, region), region)


def _distinct(rows: FloatArray, region: Region) -> FloatArray:
    inside = rows[region.contains(rows)]
    coded = np.nan_to_num(code(inside, region.coding), nan=9.0)
    _, first = np.unique(np.round(coded / _SAME).astype(np.int64), axis=0, return_index=True)
    distinct: FloatArray = inside[np.sort(first)]
    return distinct

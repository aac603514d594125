"""Extreme vertices: the corners, edges, faces and middle of a constrained package.

Source:
    McLean and Anderson (1966), Technometrics 8, 447-454; Snee (1975), Technometrics 17, 149-159.
"""

from __future__ import annotations

import itertools

import numpy as np

from doe.layouts.completing import Points, complete, of_kind
from doe.layouts.parts import require_package_alone
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.simplex import without_points
from doe.model.vertices import edge_centroids, face_centroids, overall_centroid, region_vertices
from doe.study.settings import FloatArray

NAME = "extreme vertices"

_CENTRE = 3
_FACE = 2
_SAME = 1e-7
_WITH_EDGES = frozenset({"quadratic", "special cubic", "cubic"})
_WITH_FACES = frozenset({"special cubic", "cubic"})


def make(request: Request) -> LayoutRuns:
    """Make the vertices of the constrained package, with the centroids that the model needs.

    Edge centroids from the quadratic model on, face centroids from the special cubic one on, third
    points of the edges for the cubic one; the overall centroid as the centre, blends half-way to
    the vertices as checks.

    Raises:
        PlanError: The study has no package, or factors that vary.
    """
    require_package_alone(request, NAME)
    models = set(request.wanted_models)
    vertices = np.asarray(region_vertices(request.region), dtype=np.float64)
    middle = np.asarray(overall_centroid(request.region), dtype=np.float64).mean(axis=0)
    groups: list[tuple[str, FloatArray]] = [("vertices", vertices)]
    if models & _WITH_EDGES:
        groups.append(("edge centroids", edge_centroids(request.region)))
    if models & _WITH_FACES:
        groups.append(("face centroids", face_centroids(request.region, _FACE)))
    if "cubic" in models:
        groups.append(("third points of edges", _edge_thirds(vertices, groups[1][1])))
    rows = np.zeros((0, len(request.coding.axes)))
    counts: dict[str, int] = {}
    for name, group in groups:
        new = without_points(np.asarray(group, dtype=np.float64), rows)
        counts[name] = len(new)
        rows = np.vstack([rows, new])
    checks = without_points((vertices + middle) / 2.0, np.vstack([rows, middle[None, :]]))
    return complete(
        request,
        Points(
            layout=NAME,
            coded=rows,
            kind=of_kind("design", len(rows)),
            centre=middle[None, :],
            default_centre=_CENTRE,
            checks=_far_apart(checks)[: len(request.coding.shares)],
            details=counts,
            reasons=(
                "The limits of the package cut the simplex; its "
                + ", ".join(f"{count} {name}" for name, count in counts.items())
                + " span all blends that are allowed.",
                "Blends half-way to the vertices check the model in the interior.",
            ),
        ),
    )


def _edge_thirds(vertices: FloatArray, middles: FloatArray) -> FloatArray:
    """Give the points one and two thirds along each edge: a cubic needs four points a side."""
    thirds = []
    for i, j in itertools.combinations(range(len(vertices)), 2):
        middle = (vertices[i] + vertices[j]) / 2.0
        # A point on an edge is a blend of its two ends only, so the middle tells the edge.
        if np.abs(middles - middle).max(axis=1).min() < _SAME:
            thirds += [(2 * vertices[i] + vertices[j]) / 3, (vertices[i] + 2 * vertices[j]) / 3]
    return np.array(thirds).reshape(-1, vertices.shape[1])


def _far_apart(rows: FloatArray) -> FloatArray:
    """Order rows so that each next one lies farthest from those before it, shape (m, q)."""
    if len(rows) < 2:
        return rows
    order = [0]
    gaps = np.linalg.norm(rows - rows[0], axis=1)
    while len(order) < len(rows):
        # Rounded, so that equal distances are decided by the order of rows on every machine.
        order.append(int(np.argmax(np.round(gaps, 9))))
        gaps = np.minimum(gaps, np.linalg.norm(rows - rows[order[-1]], axis=1))
        gaps[order] = -1.0
    return rows[order]


LAYOUT = Layout(
    name=NAME,
    title="Extreme vertices",
    for_="A package whose limits cut the simplex to an irregular region.",
    make=make,
)

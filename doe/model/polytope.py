"""Convex polytopes by their vertices: cutting, edges, faces and simplices.

A polytope grows one half-space at a time: vertices beyond the new face leave, and each edge that
crosses it gives a new vertex. Which constraints hold with equality at which vertex is kept
throughout, so that degenerate vertices (more constraints than dimensions) need no special case.

Source:
    Motzkin, Raiffa, Thompson and Thrall (1953), the double description method; Fukuda and Prodon
    (1996), Lecture Notes in Computer Science 1120, 91-111, Proposition 7 (adjacency);
    Cohen and Hickey (1979), Journal of the ACM 26, 401-414 (triangulation).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from doe.study.settings import BoolArray, FloatArray, frozen_array

# Two settings nearer than this part of their range are one: briefs are typed with fewer digits.
SAME = 1e-9
# Vertices are recorded to this many digits of the largest setting, which clears rounding noise.
DIGITS = 12
# Pairs of vertices compared at once, which bounds the memory of the adjacency test.
PAIRS_AT_ONCE = 4_000_000

IndexArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Polytope:
    """A bounded convex set of d settings.

    Attributes:
        vertices: Shape (v, d), lab units.
        incidence: Shape (v, c), True where a vertex lies on a constraint: low ends, high ends, the
            rows of A, then the shares' sum.
        dimension: Of its affine hull; below d where shares add to 1 or limits leave no room.
    """

    vertices: FloatArray
    incidence: BoolArray
    dimension: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen_array(self.vertices))

    @property
    def masks(self) -> tuple[int, ...]:
        """The vertices on each constraint, as bits of a whole number."""
        return tuple(_mask(column) for column in self.incidence.T)


def make_polytope(
    low: FloatArray, high: FloatArray, A: FloatArray, b: FloatArray, shares: BoolArray
) -> Polytope | None:
    """Find the vertices of a box cut by half-spaces, and by the sum of shares.

    Args:
        low: Low ends, shape (d,), lab units.
        high: High ends, shape (d,).
        A: Half-spaces A x <= b, shape (m, d).
        b: Shape (m,).
        shares: Shape (d,), True where a setting is a share; those add to 1.

    Returns:
        The polytope, None where nothing is left.
    """
    if np.any(low > high + SAME * np.maximum(1.0, np.abs(high))):
        return None
    d = len(low)
    span = np.where(high > low, high - low, 1.0)
    top = np.where(high > low, 1.0, 0.0)
    # Scaled settings u = (x − low) / span; every constraint is a row (a, b) with a·u <= b.
    rows = [(-np.eye(d)[j], 0.0) for j in range(d)] + [(np.eye(d)[j], top[j]) for j in range(d)]
    rows += [_scaled(a, float(bound), low, span) for a, bound in zip(A, b, strict=True)]
    if shares.any():
        rows.append(_scaled(shares.astype(np.float64), 1.0, low, span))
    G = np.array([a for a, _ in rows]).reshape(len(rows), d)
    g = np.array([bound for _, bound in rows])
    found = _grown(G, g, top, shares, n_half_spaces=len(A))
    if found is None:
        return None
    u, on = found
    spread = np.linalg.svd(u - u.mean(axis=0), compute_uv=False) if len(u) > 1 else np.zeros(1)
    x = low + span * u
    digits = DIGITS - np.ceil(np.log10(np.maximum(np.maximum(np.abs(low), np.abs(high)), 1e-9)))
    x = np.column_stack([np.round(x[:, j], int(digits[j])) for j in range(d)]) if d else x
    x = np.where(on[:, :d], low, np.where(on[:, d : 2 * d], high, x))
    return Polytope(vertices=x, incidence=on, dimension=int((spread > 1e-7).sum()))


def edges(polytope: Polytope) -> IndexArray:
    """List the pairs of neighbouring vertices, shape (e, 2)."""
    on = polytope.incidence
    every = np.arange(len(on))
    pairs = _neighbours(on, every, every, polytope.vertices.shape[1])
    return pairs[pairs[:, 0] < pairs[:, 1]]


def faces(polytope: Polytope, dimension: int) -> tuple[IndexArray, ...]:
    """List the faces of one dimension, each by its vertices; none where the polytope has none."""
    if dimension == 0:
        return tuple(np.array([i]) for i in range(len(polytope.vertices)))
    if dimension == 1 < polytope.dimension:
        return tuple(edges(polytope))
    level = [(1 << len(polytope.vertices)) - 1] if dimension <= polytope.dimension else []
    masks = tuple(dict.fromkeys(polytope.masks))
    for _ in range(polytope.dimension - dimension):
        level = list(dict.fromkeys(facet for face in level for facet in _facets(face, masks)))
    return tuple(_members(face) for face in sorted(level))


@lru_cache(maxsize=64)
def triangulate(polytope: Polytope, most: int = 40_000) -> IndexArray | None:
    """Split a polytope into simplices that share no inner point.

    Args:
        polytope: The polytope.
        most: More simplices than this are not worth their time.

    Returns:
        Shape (s, dimension + 1), indices of vertices; None beyond `most`.

    Source:
        Cohen and Hickey (1979): one vertex joined with every facet that misses it, recursively.
    """
    masks = tuple(dict.fromkeys(polytope.masks))
    known: dict[int, list[tuple[int, ...]] | None] = {}

    def split(face: int, dimension: int) -> list[tuple[int, ...]] | None:
        if face in known:
            return known[face]
        apex = (face & -face).bit_length() - 1
        if dimension == 0:
            return [(apex,)]
        parts: list[tuple[int, ...]] | None = []
        for facet in _facets(face, masks):
            if facet >> apex & 1:
                continue
            below = split(facet, dimension - 1)
            if below is None or parts is None or len(parts) + len(below) > most:
                parts = None
                break
            parts += [(apex, *simplex) for simplex in below]
        known[face] = parts
        return parts

    found = split((1 << len(polytope.vertices)) - 1, polytope.dimension)
    return None if found is None else np.array(found, dtype=np.intp)


def _scaled(a: FloatArray, b: float, low: FloatArray, span: FloatArray) -> tuple[FloatArray, float]:
    scaled = a * span
    size = float(np.abs(scaled).max(initial=0.0))
    size = size if size > 0 else 1.0
    return scaled / size, float(b - a @ low) / size


def _grown(
    G: FloatArray, g: FloatArray, top: FloatArray, shares: BoolArray, *, n_half_spaces: int
) -> tuple[FloatArray, BoolArray] | None:
    """Add one setting after another, and each row as soon as its settings are there."""
    d = len(top)
    order = [*np.flatnonzero(shares), *np.flatnonzero(~shares)]
    u = np.zeros((1, d))
    # Rows of settings that are still to come hold trivially with every vertex at their low end.
    on = np.zeros((1, len(g)), dtype=np.bool_)
    there = np.zeros(d, dtype=np.bool_)
    waiting = [(r, False) for r in range(2 * d, 2 * d + n_half_spaces)]
    if shares.any():
        waiting.insert(0, (len(g) - 1, True))
    for step, j in enumerate(order, start=1):
        u, on = _extruded(u, on, int(j), float(top[j]), d)
        there[j] = True
        ready = [(r, eq) for r, eq in waiting if not np.any((G[r] != 0) & ~there)]
        waiting = [entry for entry in waiting if entry not in ready]
        for r, is_sum in ready:
            cut = _cut(u, on, G, g, r, is_sum=is_sum, d=step)
            if cut is None:
                return None
            u, on = cut
    for r, _ in waiting:
        if g[r] < -SAME:
            return None
    return u, on


def _extruded(
    u: FloatArray, on: BoolArray, j: int, top: float, d: int
) -> tuple[FloatArray, BoolArray]:
    """Multiply a polytope with the range of one more setting."""
    bottom_on = on.copy()
    bottom_on[:, j] = True
    if top == 0.0:
        bottom_on[:, d + j] = True
        return u, bottom_on
    upper, upper_on = u.copy(), on.copy()
    upper[:, j] = top
    upper_on[:, d + j] = True
    return np.vstack([u, upper]), np.vstack([bottom_on, upper_on])


def _cut(
    u: FloatArray, on: BoolArray, G: FloatArray, g: FloatArray, r: int, *, is_sum: bool, d: int
) -> tuple[FloatArray, BoolArray] | None:
    """Cut with row r; `is_sum` keeps the plane only. None where nothing is left."""
    slack = g[r] - u @ G[r]
    beyond, inner = np.flatnonzero(slack < -SAME), np.flatnonzero(slack > SAME)
    on = on.copy()
    on[:, r] = np.abs(slack) <= SAME
    pairs = _neighbours(on, beyond, inner, d)
    out, kept = pairs[:, 0], pairs[:, 1]
    t = slack[kept] / (slack[kept] - slack[out])
    new = u[kept] + t[:, None] * (u[out] - u[kept])
    new_on = on[out] & on[kept]
    new_on[:, r] = True
    stay = on[:, r] if is_sum else slack >= -SAME
    u, on = np.vstack([u[stay], new]), np.vstack([on[stay], new_on])
    if len(u) == 0:
        return None
    # A vertex is its set of constraints; the same set twice is the same vertex found twice.
    _, first = np.unique(np.packbits(on, axis=1), axis=0, return_index=True)
    first.sort()
    return u[first], on[first]


def _neighbours(on: BoolArray, left: IndexArray, right: IndexArray, d: int) -> IndexArray:
    """Find the pairs of vertices joined by an edge, shape (e, 2).

    Two vertices are neighbours if no third lies on all the constraints that they share; where one
    of them lies on exactly d constraints, d − 1 shared ones suffice.
    """
    counts = on.sum(axis=1)
    weights = on.astype(np.float32)
    chunk = max(1, PAIRS_AT_ONCE // max(1, len(right)))
    found: list[IndexArray] = [np.empty((0, 2), dtype=np.intp)]
    for start in range(0, len(left), chunk):
        part = left[start : start + chunk]
        shared = _counted(weights[part], weights[right])
        i, j = np.nonzero(shared >= d - 1 - 0.5)
        pairs = np.column_stack([part[i], right[j]])
        pairs = pairs[pairs[:, 0] != pairs[:, 1]]
        simple = (counts[pairs[:, 0]] == d) | (counts[pairs[:, 1]] == d)
        doubtful = pairs[~simple]
        found += [pairs[simple], doubtful[_alone(weights, on, doubtful)]]
    return np.vstack(found)


def _alone(weights: NDArray[np.float32], on: BoolArray, pairs: IndexArray) -> BoolArray:
    """Tell the pairs whose shared constraints no third vertex lies on."""
    alone = np.zeros(len(pairs), dtype=np.bool_)
    chunk = max(1, PAIRS_AT_ONCE // max(1, len(on)))
    for start in range(0, len(pairs), chunk):
        part = pairs[start : start + chunk]
        common = on[part[:, 0]] & on[part[:, 1]]
        holding = _counted(common.astype(np.float32), weights) >= common.sum(axis=1)[:, None] - 0.5
        alone[start : start + chunk] = holding.sum(axis=1) == 2
    return alone


def _counted(left: NDArray[np.float32], right: NDArray[np.float32]) -> NDArray[np.float32]:
    """Count the constraints that rows of zeros and ones share, pair by pair."""
    # Some BLAS kernels raise the invalid flag from unused lanes of small single-precision products;
    # whole numbers up to a few hundred have nothing to be invalid about.
    with np.errstate(invalid="ignore"):
        return left @ right.T


def _facets(face: int, masks: tuple[int, ...]) -> list[int]:
    """Give the largest proper faces of a face: what constraints cut out of it."""
    parts = {face & mask for mask in masks} - {face, 0}
    return sorted(p for p in parts if not any(p != q and p & q == p for q in parts))


def _mask(column: BoolArray) -> int:
    return sum(1 << int(i) for i in np.flatnonzero(column))


def _members(mask: int) -> IndexArray:
    return np.array([i for i in range(mask.bit_length()) if mask >> i & 1], dtype=np.intp)

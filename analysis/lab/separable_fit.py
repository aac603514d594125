"""Least squares of curves that are linear in their weights: search the rest, solve the weights.

A grid over the coordinates finds every basin; each is followed by boxes of points that move
downhill and shrink where their centre is the lowest; the best end is polished by a simplex.

Source:
    Golub and Pereyra (1973), SIAM J. Numer. Anal. 10, 413-432 (from memory); pattern search:
    Torczon (1997), SIAM J. Optim. 7, 1-25 (from memory); the simplex of Nelder and Mead by scipy.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.optimize import minimize

from analysis.lab.demand_models import Chart, Mix
from doe.study.settings import FloatArray

# Points along each coordinate of the grid, by number of coordinates, and basins followed.
GRID = {1: 97, 2: 25, 3: 9}
BASINS = 5
# Rounds of shrinking: the box halves at most once a round, 30 halvings end at 1e-9 of a grid step.
ROUNDS = 60
QUICK_ROUNDS = 24
SMALLEST_BOX = 1e-9
_BOX = (-1.0, -0.5, 0.0, 0.5, 1.0)
_SMALL_BOX = (-1.0, 0.0, 1.0)
# Where the simplex stops; far below what an interval or a printed digit shows.
STEP_TOLERANCE = 1e-11
QUICK_TOLERANCE = 1e-6
POLISHED = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solved:
    """The best curve of a chart.

    Attributes:
        rss: Residual sum of squares; infinite where the chart holds no curve.
        at: Its coordinates, shape (c,).
        intercept: Its intercept.
        weights: Weights of its columns, shape (k,), at least 0.
    """

    rss: float
    at: FloatArray
    intercept: float
    weights: FloatArray


def solve_chart(chart: Chart, x: FloatArray, y: FloatArray, *, quick: bool = False) -> Solved:
    """Find the curve of a chart with the least residual sum of squares.

    Args:
        chart: The curves.
        x: Doses, shape (n,).
        y: Values, shape (n,).
        quick: Follow the best basin alone to the end and stop earlier, as an interval allows.
    """
    if not chart.bounds:
        return _curve(chart, np.zeros(0), x, y)
    ends = _followed(chart, _basins(chart, x, y), x, y, QUICK_ROUNDS if quick else ROUNDS)
    order = np.argsort(_rss(chart, ends, x, y), kind="stable")
    n_polished = 1 if quick else POLISHED
    best = [_polished(chart, end, x, y, quick=quick) for end in ends[order[:n_polished]]]
    return min((_curve(chart, end, x, y) for end in best), key=lambda one: one.rss)


def _rss(chart: Chart, at: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    return _solve_weights(chart.build(at, x), y)[0]


def _basins(chart: Chart, x: FloatArray, y: FloatArray) -> FloatArray:
    """Give the lowest points of a grid that are lower than their neighbours, shape (s, c)."""
    size = GRID[len(chart.bounds)]
    axes = [np.linspace(*ends, size) for ends in chart.bounds]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    flat = points.reshape(-1, len(axes))
    heights = _rss(chart, flat, x, y).reshape(points.shape[:-1])
    is_low = np.ones_like(heights, dtype=bool)
    padded = np.pad(heights, 1, constant_values=np.inf)
    for offset in _neighbours(len(axes)):
        part = tuple(slice(1 + d, 1 + d + size) for d in offset)
        is_low &= heights <= padded[part]
    places = np.flatnonzero(is_low.ravel() & np.isfinite(heights.ravel()))
    if len(places) == 0:
        places = np.array([0])
    order = np.argsort(heights.ravel()[places], kind="stable")[:BASINS]
    return np.asarray(flat[places[order]])


@cache
def _neighbours(k: int) -> tuple[tuple[int, ...], ...]:
    offsets = np.stack(np.meshgrid(*[(-1, 0, 1)] * k, indexing="ij"), axis=-1).reshape(-1, k)
    return tuple(tuple(int(d) for d in row) for row in offsets if row.any())


@cache
def _box(k: int) -> FloatArray:
    """Give the points of a box around 0, its centre first, shape (b, k)."""
    sides = _BOX if k < 3 else _SMALL_BOX
    points = np.stack(np.meshgrid(*[sides] * k, indexing="ij"), axis=-1).reshape(-1, k)
    return points[np.argsort(np.abs(points).sum(axis=1), kind="stable")]


def _followed(
    chart: Chart, starts: FloatArray, x: FloatArray, y: FloatArray, rounds: int
) -> FloatArray:
    """Move boxes downhill from all starts together, shape (s, c)."""
    low, high = np.array(chart.bounds).T
    s, k = starts.shape
    box, centres = _box(k), starts
    half = np.tile((high - low) / (GRID[k] - 1), (s, 1))
    for _ in range(rounds):
        points = np.clip(centres[:, None, :] + half[:, None, :] * box, low, high)
        heights = _rss(chart, points.reshape(-1, k), x, y).reshape(s, -1)
        best = np.argmin(heights, axis=1)
        centres = points[np.arange(s), best]
        half = np.where((best == 0)[:, None], half / 3, half)
        if half.max() < SMALLEST_BOX * float((high - low).max()):
            break
    return centres


def _polished(
    chart: Chart, at: FloatArray, x: FloatArray, y: FloatArray, *, quick: bool
) -> FloatArray:
    low, high = np.array(chart.bounds).T
    size = 1e-3 * (high - low)
    corners = [at, *(at + np.where(at + size > high, -size, size) * row for row in np.eye(len(at)))]

    def height(u: FloatArray) -> float:
        return float(_rss(chart, np.clip(u, low, high)[None, :], x, y)[0])

    end = minimize(
        height,
        at,
        method="Nelder-Mead",
        options={
            "initial_simplex": np.array(corners),
            "xatol": QUICK_TOLERANCE if quick else STEP_TOLERANCE,
            "fatol": np.inf if quick else 0.0,
            "maxiter": 200 * len(at),
        },
    )
    return np.clip(np.asarray(end.x, dtype=np.float64), low, high)


def _curve(chart: Chart, at: FloatArray, x: FloatArray, y: FloatArray) -> Solved:
    mix = chart.build(at[None, :], x)
    rss, w = _solve_weights(mix, y)
    means = np.array([column[0].mean() for column in mix.columns])
    intercept = float((y - mix.fixed[0]).mean() - means @ w[0])
    return Solved(rss=float(rss[0]), at=at, intercept=intercept, weights=w[0])


def _solve_weights(mix: Mix, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Solve intercept and weights of m curves; a weight that would be negative is 0.

    Returns:
        Residual sums of squares, shape (m,), infinite where there is no curve; weights (m, k).
    """
    rest = y - mix.fixed
    r = rest - rest.mean(axis=1, keepdims=True)
    Z = [column - column.mean(axis=1, keepdims=True) for column in mix.columns]
    w = _not_negative(Z, r)
    for j, z in enumerate(Z):
        r = r - w[:, j : j + 1] * z
    rss = np.einsum("mn,mn->m", r, r)
    return np.where(np.isfinite(rss), rss, np.inf), w


def _not_negative(Z: list[FloatArray], r: FloatArray) -> FloatArray:
    """Solve the normal equations of at most two centred columns under weights of at least 0."""
    if not Z:
        return np.zeros((len(r), 0))
    dots = [np.einsum("mn,mn->m", z, r) for z in Z]
    sizes = [np.einsum("mn,mn->m", z, z) for z in Z]
    alone = [np.maximum(_over(d, q), 0.0) for d, q in zip(dots, sizes, strict=True)]
    if len(Z) == 1:
        return np.column_stack(alone)
    cross = np.einsum("mn,mn->m", *Z)
    det = sizes[0] * sizes[1] - cross**2
    # Columns that are one but for rounding carry one weight.
    is_full = det > 1e-14 * sizes[0] * sizes[1]
    both = [
        _over(np.where(is_full, sizes[1] * dots[0] - cross * dots[1], -1.0), np.abs(det)),
        _over(np.where(is_full, sizes[0] * dots[1] - cross * dots[0], -1.0), np.abs(det)),
    ]
    is_free = is_full & (both[0] >= 0) & (both[1] >= 0)
    gains = [a * d for a, d in zip(alone, dots, strict=True)]
    is_first = gains[0] >= gains[1]
    return np.column_stack(
        [
            np.where(is_free, both[0], np.where(is_first, alone[0], 0.0)),
            np.where(is_free, both[1], np.where(is_first, 0.0, alone[1])),
        ]
    )


def _over(top: FloatArray, bottom: FloatArray) -> FloatArray:
    """Divide, 0 where there is nothing to divide by."""
    return np.where(bottom > 0, top / np.where(bottom > 0, bottom, 1.0), 0.0)

"""Uniform samples of the region in coded units.

Every combination of levels gets the same number of points. Within one, the blocks of a piece are
drawn apart: a range alone in its coding; a tied block from its simplices, in lab units, thinned to
be even in the logarithm of log-spaced factors; one with too many simplices by a random walk.

Source:
    Devroye (1986), Non-Uniform Random Variate Generation, chapter XI, Theorem 2.1 (simplex);
    Smith (1984), Operations Research 32, 1296-1308 (hit and run).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from math import factorial

import numpy as np

from doe.model.coding import Coding, NumericAxis
from doe.model.polytope import IndexArray, triangulate
from doe.model.region import Block, Piece, Region
from doe.study.settings import BoolArray, FloatArray, frozen_array

# Steps of the walk between two points that are kept, per dimension; on a polytope that was first
# brought into a round position d² steps mix, and a kept point after 10 d is nearly independent.
WALK_STEPS = 10
WALK_BURN_IN = 50
# Walkers that go at once.
WALKERS = 256
# A draw that keeps fewer than one point in so many is given up.
MOST_ROUNDS = 2000


def sample_region(region: Region, n: int, rng: np.random.Generator) -> FloatArray:
    """Draw settings evenly from the region, in coded units.

    Args:
        region: The region.
        n: How many.
        rng: Source of chance; the same state gives the same settings.

    Returns:
        Shape (n, k), lab units, in random order; levels weigh equally.
    """
    groups = region.combinations
    counts = np.full(len(groups), n // len(groups))
    # What is left over goes to combinations at random, one each.
    counts[rng.permutation(len(groups))[: n % len(groups)]] += 1
    drawn = [
        _sample_pieces(region, pieces, int(count), rng)
        for pieces, count in zip(groups, counts, strict=True)
        if count
    ]
    values = np.vstack([np.empty((0, len(region.coding.axes))), *drawn])
    return values[rng.permutation(len(values))]


def _sample_pieces(
    region: Region, pieces: Sequence[Piece], n: int, rng: np.random.Generator
) -> FloatArray:
    """Draw n points from the union of pieces that may overlap."""
    # A piece without width beside one that has some weighs nothing.
    widest = max(piece.dimension for piece in pieces)
    pieces = [piece for piece in pieces if piece.dimension == widest]
    logs = _log_columns(region.coding)
    floor = np.fmin.reduce([piece.low for piece in pieces])
    masses = [_mass(piece, logs, floor) for piece in pieces]
    if len(pieces) == 1:
        return _single(pieces[0], logs, n, rng)
    if any(mass is None for mass in masses):
        return _walk_pieces(pieces, logs, n, rng)
    share = np.array(masses, dtype=np.float64)
    share = share / share.sum()

    def draw(m: int) -> FloatArray:
        which = rng.choice(len(pieces), size=m, p=share)
        rows = np.empty((m, len(logs)))
        for i, piece in enumerate(pieces):
            here = which == i
            rows[here] = _proposals(piece, logs, int(here.sum()), rng)
        weight = _thinning(pieces, which, rows, logs, floor)
        # A point that r pieces share is proposed r times as often.
        return rows[rng.random(m) * np.maximum(region.memberships(rows), 1) < weight]

    return _gathered(draw, n)


def _gathered(draw: Callable[[int], FloatArray], n: int) -> FloatArray:
    """Draw until n points are kept."""
    kept: list[FloatArray] = []
    missing = n
    for _ in range(MOST_ROUNDS):
        kept.append(draw(2 * missing + 16)[:missing])
        missing -= len(kept[-1])
        if missing == 0:
            return np.vstack(kept)
    raise RuntimeError(f"{missing} of {n} points are missing after {MOST_ROUNDS} rounds")


def _single(piece: Piece, logs: BoolArray, n: int, rng: np.random.Generator) -> FloatArray:
    """Draw n points from one convex piece, block by block."""
    rows = _fixed_rows(piece, n, len(logs))
    for block in piece.blocks:
        columns = list(block.columns)
        if len(columns) > 1 and triangulate(block.polytope) is None:
            bounds = [_bounds(piece, columns)]
            rows[:, columns] = _walk(bounds, [block], columns, logs[columns], n, rng)
            continue

        def draw(m: int, block: Block = block, columns: list[int] = columns) -> FloatArray:
            part = _block_proposals(block, logs, m, rng)
            weight = _log_weight(part, logs[columns], piece.low[columns], block)
            return part[rng.random(m) < weight]

        rows[:, columns] = _gathered(draw, n)
    return rows


def _fixed_rows(piece: Piece, n: int, k: int) -> FloatArray:
    rows = np.full((n, k), np.nan)
    for j, value in piece.fixed.items():
        rows[:, j] = value
    return rows


def _log_columns(coding: Coding) -> BoolArray:
    return np.array([isinstance(a, NumericAxis) and a.spacing == "log" for a in coding.axes])


def _mass(piece: Piece, logs: BoolArray, floor: FloatArray) -> float | None:
    """Give the weight of a piece: its lab volume, `floor · ln` for a log range; None if unknown."""
    mass = 1.0
    for block in piece.blocks:
        if len(block.columns) == 1:
            j = block.columns[0]
            low, high = piece.low[j], piece.high[j]
            width = floor[j] * np.log(high / low) if logs[j] else high - low
            mass *= float(width) if width > 0 else 1.0
            continue
        volumes = _volumes(block)
        if volumes is None:
            return None
        mass *= float(volumes.sum())
    return mass


def _proposals(piece: Piece, logs: BoolArray, n: int, rng: np.random.Generator) -> FloatArray:
    rows = _fixed_rows(piece, n, len(logs))
    for block in piece.blocks:
        rows[:, list(block.columns)] = _block_proposals(block, logs, n, rng)
    return rows


def _block_proposals(block: Block, logs: BoolArray, n: int, rng: np.random.Generator) -> FloatArray:
    """Draw n points of a block: evenly in its coding if it is one setting, else in lab units."""
    vertices = block.polytope.vertices
    if len(block.columns) == 1:
        low, high = float(vertices.min()), float(vertices.max())
        t = rng.random((n, 1))
        return low * (high / low) ** t if logs[block.columns[0]] else low + (high - low) * t
    volumes, simplices = _volumes(block), triangulate(block.polytope)
    assert volumes is not None
    assert simplices is not None
    chosen = simplices[rng.choice(len(simplices), size=n, p=volumes / volumes.sum())]
    weights = rng.exponential(size=chosen.shape)
    weights /= weights.sum(axis=1, keepdims=True)
    rows: FloatArray = np.einsum("ns,nsd->nd", weights, vertices[chosen])
    return rows


@lru_cache(maxsize=256)
def _volumes(block: Block) -> FloatArray | None:
    """Give the volume of each simplex of a block, in its affine hull; None beyond too many."""
    simplices = triangulate(block.polytope)
    if simplices is None:
        return None
    corners = block.polytope.vertices[simplices]
    sides = corners[:, 1:] - corners[:, :1]
    # Volume² = det(E E') / d!², which needs no coordinates of the affine hull.
    gram = np.linalg.det(sides @ sides.transpose(0, 2, 1))
    volumes = np.sqrt(np.maximum(gram, 0.0)) / factorial(sides.shape[1])
    return frozen_array(volumes if volumes.sum() > 0 else np.ones(len(volumes)))


def _log_weight(rows: FloatArray, logs: BoolArray, floor: FloatArray, block: Block) -> FloatArray:
    """Thin lab-even points to ln-even ones, density ∝ Π 1/x, shape (n,)."""
    if len(block.columns) == 1 or not logs.any():
        return np.ones(len(rows))
    return np.asarray((floor[logs] / rows[:, logs]).prod(axis=1))


def _thinning(
    pieces: Sequence[Piece],
    which: IndexArray,
    rows: FloatArray,
    logs: BoolArray,
    floor: FloatArray,
) -> FloatArray:
    weight = np.ones(len(rows))
    for i, piece in enumerate(pieces):
        here = which == i
        for block in piece.blocks:
            columns = list(block.columns)
            weight[here] *= _log_weight(
                rows[np.ix_(here, columns)], logs[columns], floor[columns], block
            )
    return weight


def _bounds(piece: Piece, columns: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    rows = np.any(piece.A[:, list(columns)] != 0, axis=1)
    return piece.A[np.ix_(rows, list(columns))], piece.b[rows]


def _walk_pieces(
    pieces: Sequence[Piece], logs: BoolArray, n: int, rng: np.random.Generator
) -> FloatArray:
    """Walk through a union of pieces with blocks too rich to be split into simplices."""
    columns = list(pieces[0].free)
    rows = _fixed_rows(pieces[0], n, len(logs))
    bounds = [_bounds(piece, columns) for piece in pieces]
    rows[:, columns] = _walk(bounds, pieces[0].blocks, columns, logs[columns], n, rng)
    return rows


def _walk(
    bounds: Sequence[tuple[FloatArray, FloatArray]],
    blocks: Sequence[Block],
    columns: Sequence[int],
    logs: BoolArray,
    n: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Hit and run: along random lines, evenly in lab units, corrected to even logarithms."""
    place = {j: i for i, j in enumerate(columns)}
    walkers = min(WALKERS, n)
    x = np.empty((walkers, len(columns)))
    shape = np.zeros((len(columns), len(columns)))
    for block in blocks:
        own = [place[j] for j in block.columns]
        vertices = block.polytope.vertices
        start = rng.exponential(size=(walkers, len(vertices)))
        x[:, own] = start @ vertices / start.sum(axis=1, keepdims=True)
        centred = vertices - vertices.mean(axis=0)
        # Directions follow the body's own shape, so that a thin region is crossed as fast.
        _, s, axes = np.linalg.svd(centred, full_matrices=False)
        shape[np.ix_(own, own)] = (
            axes.T * (s * (s > s.max() * 1e-9)) / len(vertices) ** 0.5
        ) @ axes
    d = max(1, sum(block.polytope.dimension for block in blocks))
    kept: list[FloatArray] = []
    for step in range(WALK_STEPS * d * (WALK_BURN_IN + -(-n // walkers))):
        x = _step(x, bounds, shape, logs, rng)
        if step >= WALK_STEPS * d * WALK_BURN_IN and (step + 1) % (WALK_STEPS * d) == 0:
            kept.append(x)
    return np.vstack(kept)[:n]


def _step(
    x: FloatArray,
    bounds: Sequence[tuple[FloatArray, FloatArray]],
    shape: FloatArray,
    logs: BoolArray,
    rng: np.random.Generator,
) -> FloatArray:
    direction = rng.standard_normal(x.shape) @ shape
    back, ahead = np.full(len(x), np.inf), np.full(len(x), -np.inf)
    for A, b in bounds:
        t_low, t_high = _chord(x, direction, A, b)
        there = t_low <= t_high
        back = np.where(there, np.minimum(back, t_low), back)
        ahead = np.where(there, np.maximum(ahead, t_high), ahead)
    t = back + (ahead - back) * rng.random(len(x))
    new = x + np.where(np.isfinite(t), t, 0.0)[:, None] * direction
    inside = np.any([np.all(new @ A.T <= b + 1e-12, axis=1) for A, b in bounds], axis=0)
    # Metropolis: the line proposes evenly; ln-even settings have density Π 1/x.
    if logs.any():
        ratio = np.where(
            inside, (x[:, logs] / np.where(inside[:, None], new[:, logs], 1.0)).prod(1), 0
        )
        inside &= rng.random(len(x)) < ratio
    return np.where(inside[:, None], new, x)


def _chord(
    x: FloatArray, direction: FloatArray, A: FloatArray, b: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Find where each line enters and leaves a polytope, shape (n,) each."""
    speed = direction @ A.T
    room = b - x @ A.T
    with np.errstate(divide="ignore", invalid="ignore"):
        t = room / speed
    t_high = np.where(speed > 0, t, np.inf).min(axis=1)
    t_low = np.where(speed < 0, t, -np.inf).max(axis=1)
    never = np.any((speed == 0) & (room < 0), axis=1)
    return np.where(never, np.inf, t_low), np.where(never, -np.inf, t_high)

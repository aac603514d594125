"""The moves of a search: along a range, between two shares, along Cox's direction, to a level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from doe.layouts.optimal.bounds import Bounds, at_combination, chord, inside, share_columns
from doe.model.coding import code, decode
from doe.model.expansion import Expansion
from doe.model.moments import block_degree
from doe.study.settings import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One kind of move of a unit.

    Attributes:
        kind: Along a range; from one share to another; one share against all others in their
            proportions (Cox 1971, Biometrika 58, 155-159); to another level.
        first: Column that moves.
        second: The other share of a pair, else −1.
        nodes: Rows from which every point of the line follows: its degree and one.
        settings: Columns of the settings that change.
    """

    kind: Literal["range", "pair", "Cox", "level"]
    first: int
    second: int = -1
    nodes: int = 3
    settings: tuple[int, ...] = ()


def moves_of(bounds: Bounds, expansion: Expansion, columns: IntArray) -> list[Move]:
    """List the moves of a unit that holds some settings."""
    own = set(columns.tolist())
    shares = [int(j) for j in share_columns(bounds.coding)]
    moves = [
        Move(kind="range", first=j, nodes=block_degree(expansion, (j,)) + 1, settings=(j,))
        for j in sorted(own - set(shares) - set(bounds.options))
    ]
    moves += [Move(kind="level", first=j, settings=(j,)) for j in bounds.options if j in own]
    if len(shares) > 1 and own & set(shares):
        nodes = block_degree(expansion, tuple(shares)) + 1
        pairs = combinations(shares, 2)
        moves += [
            Move(kind="pair", first=i, second=j, nodes=nodes, settings=(i, j)) for i, j in pairs
        ]
        if len(shares) > 2:
            every = tuple(shares)
            moves += [Move(kind="Cox", first=i, nodes=nodes, settings=every) for i in shares]
    return moves


def segment(
    bounds: Bounds, move: Move, x: FloatArray, combination: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Find the line that a unit may move along.

    Args:
        bounds: The region.
        move: The move, no change of level.
        x: The unit's runs in every plan, shape (s, u, k), coded.
        combination: Shape (s, u).

    Returns:
        Both ends, shape (s, u, k), coded, and where the unit stands between them, 0 to 1, shape
        (s,).
    """
    j = move.first
    start, end = x.copy(), x.copy()
    if move.kind == "range" and not bounds.tied[j]:
        low = bounds.low[combination, j].max(axis=1)
        high = bounds.high[combination, j].min(axis=1)
        here = np.nan_to_num(x[:, 0, j])
        low, high = np.minimum(low, here), np.maximum(high, here)
        start[:, :, j] = np.where(np.isnan(x[:, :, j]), np.nan, low[:, None])
        end[:, :, j] = np.where(np.isnan(x[:, :, j]), np.nan, high[:, None])
        return start, end, _between(here, low, high)
    s, u, k = x.shape
    lab = decode(x.reshape(s * u, k), bounds.coding)
    direction = _direction(bounds, move, lab)
    low, high = chord(bounds, combination.ravel(), lab, direction)
    low, high = low.reshape(s, u).max(axis=1), high.reshape(s, u).min(axis=1)
    each = [np.repeat(t, u)[:, None] * direction + lab for t in (low, high)]
    # Only what moves is coded anew: the rest must keep its last digit.
    moved = direction != 0 if direction.ndim == 1 else np.any(direction != 0, axis=0)
    for target, rows in zip((start, end), each, strict=True):
        coded = code(rows, bounds.coding).reshape(s, u, k)
        target[:, :, moved] = coded[:, :, moved]
    if move.kind == "range":
        return start, end, _between(x[:, 0, j], start[:, 0, j], end[:, 0, j])
    return start, end, _between(np.zeros(s), low, high)


def segments(
    bounds: Bounds, moves: Sequence[Move], x: FloatArray, combination: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Find all lines of single runs at once; see `segment`.

    Args:
        bounds: The region.
        moves: m moves, none of them a change of level.
        x: A run of each plan, shape (s, k), coded.
        combination: Shape (s,).

    Returns:
        The way from one end to the other, shape (s, m, k), coded, 0 at what a level lacks; and
        where the run stands on it, 0 to 1, shape (s, m).
    """
    s, k = x.shape
    m = len(moves)
    lab = decode(x, bounds.coding)
    direction = np.zeros((s, m, k))
    for i, move in enumerate(moves):
        direction[:, i] = _direction(bounds, move, lab)
    each = np.repeat(lab, m, axis=0)
    flat = direction.reshape(s * m, k)
    low, high = chord(bounds, np.repeat(combination, m), each, flat)
    width = (high - low).reshape(s, m)
    now = _between(np.zeros(s * m), low, high).reshape(s, m)
    # Shares are coded as they are.
    way = direction * width[:, :, None]
    ranges = [i for i, move in enumerate(moves) if move.kind == "range"]
    for i in ranges:
        j = moves[i].first
        ends = np.concatenate([lab, lab])
        ends[:s, j] += low.reshape(s, m)[:, i]
        ends[s:, j] += high.reshape(s, m)[:, i]
        coded = code(ends, bounds.coding)[:, j]
        way[:, i] = 0.0
        way[:, i, j] = coded[s:] - coded[:s]
        now[:, i] = _between(x[:, j], coded[:s], coded[s:])
    return np.nan_to_num(way), now


def levels_of(
    bounds: Bounds, move: Move, x: FloatArray, combination: IntArray
) -> tuple[FloatArray, IntArray, BoolArray, IntArray]:
    """List what a unit becomes at each level.

    Returns:
        The runs at each of l levels, shape (s, l, u, k), their combinations, shape (s, l, u), which
        levels the region allows, shape (s, l), and the level now, shape (s,).
    """
    table = bounds.next[bounds.options.index(move.first)]
    s, u, k = x.shape
    new = table[combination].transpose(0, 2, 1)
    allowed = (new >= 0).all(axis=2)
    new = np.maximum(new, 0)
    n_levels = new.shape[1]
    wide = np.broadcast_to(x[:, None], (s, n_levels, u, k)).reshape(-1, k)
    rows = at_combination(bounds, wide, new.ravel())
    held = inside(bounds, new.ravel(), decode(rows, bounds.coding)).reshape(s, n_levels, u)
    now = (new[:, :, 0] == combination[:, None, 0]).argmax(axis=1)
    allowed &= held.all(axis=2)
    return rows.reshape(s, n_levels, u, k), new, np.asarray(allowed), np.asarray(now)


def _direction(bounds: Bounds, move: Move, lab: FloatArray) -> FloatArray:
    k = lab.shape[1]
    if move.kind != "Cox":
        direction = np.zeros(k)
        direction[move.first] = 1.0
        if move.second >= 0:
            direction[move.second] = -1.0
        return direction
    shares = share_columns(bounds.coding)
    others = shares[shares != move.first]
    total = lab[:, others].sum(axis=1, keepdims=True)
    # At a pure additive there are no proportions: the others grow alike.
    alike = np.full((len(lab), len(others)), 1.0 / len(others))
    full = total > 1e-9
    rows = np.zeros(lab.shape)
    rows[:, move.first] = 1.0
    rows[:, others] = -np.where(full, lab[:, others] / np.where(full, total, 1.0), alike)
    return rows


def _between(here: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    width = high - low
    open_ = width > 1e-12
    place = np.where(open_, (here - low) / np.where(open_, width, 1.0), 0.0)
    return np.asarray(np.clip(np.nan_to_num(place), 0.0, 1.0))

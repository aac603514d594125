"""The region laid out for many searches at once: chords along lines, and changes of level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.model.coding import Axis, ChoiceAxis, Coding, NumericAxis, ShareAxis, code
from doe.model.region import Piece, Region
from doe.study.settings import BoolArray, FloatArray, IntArray

# Slack within which a point counts as inside a piece, as a part of the ranges.
_SLACK = 1e-9
# A line whose speed towards a bound is less than this, in ranges, runs along it.
_ALONG = 1e-12
_SAME = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bounds:
    """The pieces of a region, padded to equal shape: c level combinations of r pieces.

    Attributes:
        coding: The k settings.
        A: Shape (c, r, m, k), scaled so that slack is in parts of the ranges.
        b: Shape (c, r, m); infinite where padded, −infinite for a piece that is not there.
        fixed: Shape (c, k), coded value of what a combination holds, NaN where free or lacking.
        lacking: Shape (c, k), settings that a combination lacks.
        low: Shape (c, k), coded low ends.
        high: Shape (c, k), coded high ends.
        tied: Shape (k,), settings that some bound ties to others.
        options: Columns of the settings that have levels only.
        next: For each of them, shape (c, levels): the combination with that level instead, −1
            where the brief allows none.
    """

    coding: Coding
    A: FloatArray
    b: FloatArray
    fixed: FloatArray
    lacking: BoolArray
    low: FloatArray
    high: FloatArray
    tied: BoolArray
    options: tuple[int, ...]
    next: tuple[IntArray, ...]


def share_columns(coding: Coding) -> IntArray:
    """List the columns of the shares."""
    axes = enumerate(coding.axes)
    return np.array([j for j, axis in axes if isinstance(axis, ShareAxis)], dtype=np.int64)


def is_option(axis: Axis) -> bool:
    """Tell whether a setting has levels only: a named choice, or numbers the bench can make."""
    return isinstance(axis, ChoiceAxis) or (isinstance(axis, NumericAxis) and bool(axis.levels))


def make_bounds(region: Region) -> Bounds:
    """Lay a region out."""
    coding, groups = region.coding, region.combinations
    k = len(coding.axes)
    shape = (len(groups), max(len(g) for g in groups), max(len(p.b) for p in region.pieces))
    A, b = np.zeros((*shape, k)), np.full(shape, np.inf)
    fixed = np.full((len(groups), k), np.nan)
    lacking = np.zeros((len(groups), k), dtype=np.bool_)
    low, high = fixed.copy(), fixed.copy()
    for c, group in enumerate(groups):
        b[c, len(group) :] = -np.inf
        for r, piece in enumerate(group):
            scale = np.maximum(np.abs(piece.A) @ region.spans, 1e-300)
            A[c, r, : len(piece.b)] = piece.A / scale[:, None]
            b[c, r, : len(piece.b)] = piece.b / scale
        for j, value in group[0].fixed.items():
            fixed[c, j] = value
            lacking[c, j] = bool(np.isnan(value))
        low[c] = np.where(np.isnan(fixed[c]), np.fmin.reduce([p.low for p in group]), fixed[c])
        high[c] = np.where(np.isnan(fixed[c]), np.fmax.reduce([p.high for p in group]), fixed[c])
    columns = tuple(j for j, axis in enumerate(coding.axes) if is_option(axis))
    coded = code(low, coding)
    return Bounds(
        coding=coding, A=A, b=b, fixed=np.where(np.isnan(fixed), np.nan, coded), lacking=lacking,
        low=coded, high=code(high, coding), tied=_tied(coding, groups), options=columns,
        next=tuple(_neighbours(fixed, columns, j) for j in columns),
    )  # fmt: skip


def chord(
    bounds: Bounds, combination: IntArray, lab: FloatArray, direction: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Find how far points may move along lines, to either side, through pieces that hold them.

    Args:
        bounds: The region.
        combination: Level combination of each point, shape (n,).
        lab: The points, shape (n, k), lab units; NaN for what a level lacks.
        direction: Shape (n, k) or (k,), lab units.

    Returns:
        Lowest and highest multiple of the direction, shape (n,) each; lowest <= 0 <= highest.
    """
    x = np.nan_to_num(lab)
    one = len(bounds.A) == 1
    A, b = (bounds.A[0], bounds.b[0]) if one else (bounds.A[combination], bounds.b[combination])
    sums = "rmk,nk->nrm" if one else "nrmk,nk->nrm"
    room = b - np.einsum(sums, A, x)
    speed = np.einsum(sums, A, np.broadcast_to(direction, x.shape))
    holds = np.all(room >= -_SLACK, axis=2)
    # A bound that the line runs along is never met; rounding must not make it a wall.
    moving = np.abs(speed) > _ALONG
    reach = np.where(moving, np.maximum(room, 0.0) / np.where(moving, np.abs(speed), 1.0), np.inf)
    ahead = np.where(speed > 0, reach, np.inf).min(axis=2)
    back = np.where(speed < 0, reach, np.inf).min(axis=2)
    high = np.where(holds, ahead, 0.0).max(axis=1)
    low = np.where(holds, back, 0.0).max(axis=1)
    return -np.where(np.isfinite(low), low, 0.0), np.where(np.isfinite(high), high, 0.0)


def inside(bounds: Bounds, combination: IntArray, lab: FloatArray) -> BoolArray:
    """Tell which points lie in the region, their level combinations given, shape (n,)."""
    room = bounds.b[combination] - np.einsum(
        "nrmk,nk->nrm", bounds.A[combination], np.nan_to_num(lab)
    )
    return np.asarray(np.all(room >= -_SLACK, axis=2).any(axis=1))


def at_combination(bounds: Bounds, coded: FloatArray, combination: IntArray) -> FloatArray:
    """Put points to level combinations: what those hold, lack, and what they bring anew.

    Args:
        bounds: The region.
        coded: Shape (n, k), coded.
        combination: Shape (n,).

    Returns:
        Shape (n, k), coded; a setting that was lacking starts at the middle of its range.
    """
    moved = np.where(np.isnan(coded), 0.0, coded)
    held = bounds.fixed[combination]
    moved = np.where(np.isnan(held), moved, held)
    moved[bounds.lacking[combination]] = np.nan
    return moved


def combinations_of(bounds: Bounds, coded: FloatArray) -> IntArray:
    """Find the level combination of coded points, shape (n,)."""
    found = np.zeros(len(coded), dtype=np.int64)
    for c, (held, lacks) in enumerate(zip(bounds.fixed, bounds.lacking, strict=True)):
        same = np.all(np.isnan(held) | (np.abs(coded - held) < _SAME), axis=1)
        found[same & np.all(np.isnan(coded) == lacks, axis=1)] = c
    return found


def _tied(coding: Coding, groups: tuple[tuple[Piece, ...], ...]) -> BoolArray:
    tied = np.array([isinstance(axis, ShareAxis) for axis in coding.axes])
    for group in groups:
        for piece in group:
            several = (piece.A != 0).sum(axis=1) > 1
            tied |= np.any(piece.A[several] != 0, axis=0)
            if len(group) > 1:
                tied[list(piece.free)] = True
    return tied


def _neighbours(fixed: FloatArray, columns: tuple[int, ...], j: int) -> IntArray:
    levels = np.unique(fixed[~np.isnan(fixed[:, j]), j])
    others = [i for i in columns if i != j]
    table = np.full((len(fixed), len(levels)), -1, dtype=np.int64)
    for c, row in enumerate(fixed):
        theirs = fixed[:, others]
        # A level may lack a setting that has levels only: it then agrees with any of them.
        same = (theirs == row[others]) | np.isnan(theirs) | np.isnan(row[others])
        for level, value in enumerate(levels):
            found = np.flatnonzero(same.all(axis=1) & (fixed[:, j] == value))
            if len(found):
                table[c, level] = found[0]
    return table

"""The region: every setting that the brief allows, as convex pieces.

Each combination of levels (of named choices and of numeric levels) has a polytope of ranges, limits
and Σ shares = 1. A `[[forbid]]` splits it: where it names m numeric settings, what is left is the
union of m overlapping pieces, one for each condition that fails. A level that lacks a factor meets
no condition on it, and the factor counts 0 in a limit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis, coding_of
from doe.model.contradiction import empty_region
from doe.model.polytope import SAME, Polytope, make_polytope
from doe.model.statements import (
    HalfSpace,
    Prohibition,
    Statements,
    beyond,
    level_combinations,
    range_half_spaces,
    statements_of,
    strikes,
)
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.settings import BoolArray, FloatArray, IntArray, frozen_array

# Default slack of membership as a part of each range: wider than rounding, finer than any balance.
TOLERANCE = 1e-7
PIEPEL = "Piepel (1983), Journal of Quality Technology 15, 97-102"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """Settings of a piece that no bound ties to the rest: a piece is the product of its blocks."""

    columns: tuple[int, ...]
    polytope: Polytope


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """A convex part of the region at one combination of levels.

    Attributes:
        fixed: Settings held in it: level indices, numeric levels, NaN for one that it lacks.
        A: Bounds A x <= b over the k settings, shape (m, k), lab units; 0 at fixed settings.
        b: Shape (m,).
        words: What each bound says, m sentences.
        total: Whether the shares in it sum to 1 (there is a package).
        low: Low ends, shape (k,), lab units, single bounds included; NaN where fixed.
        high: High ends, shape (k,).
        blocks: Its settings, split where nothing ties them, with their vertices.
    """

    fixed: Mapping[int, float]
    A: FloatArray
    b: FloatArray
    words: tuple[str, ...]
    total: bool
    low: FloatArray
    high: FloatArray
    blocks: tuple[Block, ...]

    def __post_init__(self) -> None:
        for name in ("A", "b", "low", "high"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def free(self) -> tuple[int, ...]:
        """Columns of the settings that vary in it."""
        return tuple(j for j in range(self.A.shape[1]) if j not in self.fixed)

    @property
    def dimension(self) -> int:
        """Dimension of its affine hull: one less than the free settings where shares vary."""
        return sum(block.polytope.dimension for block in self.blocks)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """All settings that the brief allows.

    Attributes:
        coding: The k settings.
        pieces: Its convex parts; those of one level combination may overlap.
        implied: Lowest and highest reachable value of each setting over all pieces, lab units.
        findings: Limits that cannot be reached, with the implied ones.
    """

    coding: Coding
    pieces: tuple[Piece, ...]
    implied: tuple[tuple[float, float], ...]
    findings: tuple[Finding, ...] = field(default=())

    def contains(self, values: FloatArray, tolerance: float = TOLERANCE) -> BoolArray:
        """Tell which settings the brief allows.

        Args:
            values: Shape (n, k), lab units.
            tolerance: Slack, as a part of each setting's range.

        Returns:
            Shape (n,).
        """
        return self.memberships(values, tolerance) > 0

    def memberships(self, values: FloatArray, tolerance: float = TOLERANCE) -> IntArray:
        """Count the pieces that hold each row, shape (n,)."""
        span = self.spans
        total = np.zeros(len(values), dtype=np.int64)
        for piece in self.pieces:
            total += inside_piece(piece, values, span, self.coding, tolerance)
        return total

    @property
    def spans(self) -> FloatArray:
        """Width of each setting's range, shape (k,), lab units; 1 for shares and choices."""
        return np.array(
            [a.high - a.low if isinstance(a, NumericAxis) else 1.0 for a in self.coding.axes]
        )

    @property
    def combinations(self) -> tuple[tuple[Piece, ...], ...]:
        """The pieces, gathered by their combination of levels."""
        groups: dict[tuple[tuple[int, str], ...], list[Piece]] = {}
        for piece in self.pieces:
            key = tuple((j, repr(value)) for j, value in piece.fixed.items())
            groups.setdefault(key, []).append(piece)
        return tuple(tuple(group) for group in groups.values())


def region_of(study: Study, *, axial_beyond: bool = False) -> Region:
    """Work out the region of a brief.

    Args:
        study: The brief.
        axial_beyond: Accepted for callers that allow axial runs beyond the ranges; the region that
            is searched and integrated stays that of the brief.

    Returns:
        The region, with a finding for each limit that the others put out of reach.

    Raises:
        StudyError: Nothing is left; names the statements that contradict each other.
    """
    return make_region(coding_of(study), statements_of(study, coding_of(study)))


def make_region(coding: Coding, statements: Statements) -> Region:
    """Work out a region from its settings and statements; see `region_of`."""
    pieces = tuple(_pieces(coding, statements))
    if not pieces:
        raise empty_region(coding, statements)
    implied = tuple(_reach(j, pieces) for j in range(len(coding.axes)))
    findings = (
        *_empty_levels(coding, pieces),
        *_unreachable(coding, implied),
        *_idle_forbids(coding, statements),
    )
    return Region(coding=coding, pieces=pieces, implied=implied, findings=findings)


def inside_piece(
    piece: Piece, values: FloatArray, span: FloatArray, coding: Coding, tolerance: float = TOLERANCE
) -> BoolArray:
    """Tell which rows lie in one piece, shape (n,); see `Region.contains`."""
    inside = np.ones(len(values), dtype=np.bool_)
    for j, value in piece.fixed.items():
        column = values[:, j]
        near = np.abs(column - value) <= tolerance * span[j]
        inside &= np.isnan(column) if np.isnan(value) else near
    free = list(piece.free)
    rows = np.flatnonzero(inside)
    x = values[rows][:, free]
    slack = tolerance * (np.abs(piece.A[:, free]) @ span[free])
    held = np.all(x @ piece.A[:, free].T <= piece.b + slack, axis=1)
    shares = [j for j, axis in enumerate(coding.axes) if isinstance(axis, ShareAxis)]
    if piece.total:
        held &= np.abs(values[rows][:, shares].sum(axis=1) - 1) <= tolerance
    inside[rows] = held
    return inside


def binding_words(region: Region, row: FloatArray, tolerance: float = 1e-6) -> tuple[str, ...]:
    """Say which bounds a setting lies on, shape (k,) lab units; empty inside every range."""
    said: dict[str, None] = {}
    for piece in region.pieces:
        if not inside_piece(piece, row[None, :], region.spans, region.coding)[0]:
            continue
        free = list(piece.free)
        slack = piece.b - piece.A[:, free] @ row[free]
        width = np.abs(piece.A[:, free]) @ region.spans[free]
        said |= dict.fromkeys(
            words for words, on in zip(piece.words, slack <= tolerance * width, strict=True) if on
        )
    return tuple(said)


def _pieces(coding: Coding, statements: Statements) -> Iterator[Piece]:
    known: dict[bytes, tuple[Block, ...] | None] = {}
    for levels in level_combinations(coding):
        ends, fixed = range_half_spaces(coding, levels)
        bounds = [*ends, *(limit.with_fixed(fixed) for limit in statements.limits)]
        parts = [_piece(coding, fixed, bounds, known)]
        for forbid in statements.prohibitions:
            parts = [
                part
                for piece in parts
                if piece is not None
                for part in _split(piece, forbid, coding, known)
            ]
        yield from (piece for piece in parts if piece is not None)


def _split(
    piece: Piece, forbid: Prohibition, coding: Coding, known: dict[bytes, tuple[Block, ...] | None]
) -> list[Piece | None]:
    """Leave what a forbid leaves of a piece: one part for each setting whose conditions fail."""
    parts: list[Piece | None] = []
    bounds = [
        HalfSpace(a=a, b=float(b), words=w)
        for a, b, w in zip(piece.A, piece.b, piece.words, strict=True)
    ]
    for j, conditions in forbid.conditions:
        if j in piece.fixed:
            axis = coding.axes[j]
            span = axis.high - axis.low if isinstance(axis, NumericAxis) else 1.0
            if not any(strikes(one, piece.fixed[j], span) for one in conditions):
                return [piece]
            continue
        left = [beyond(one, j, coding, forbid.words) for one in conditions]
        outside = [half for half in left if half is not None]
        if not outside or all(_holds_throughout(half, piece) for half in outside):
            return [piece]
        parts.append(_piece(coding, piece.fixed, [*bounds, *outside], known))
    return parts


def _holds_throughout(half: HalfSpace, piece: Piece) -> bool:
    j = int(np.flatnonzero(half.a)[0])
    return bool(half.a[j] * (piece.high if half.a[j] > 0 else piece.low)[j] <= half.b + SAME)


def _piece(
    coding: Coding,
    fixed: Mapping[int, float],
    bounds: Sequence[HalfSpace],
    known: dict[bytes, tuple[Block, ...] | None],
) -> Piece | None:
    """Make a piece of its bounds; None where they leave nothing."""
    k = len(coding.axes)
    A = np.array([half.a for half in bounds]).reshape(len(bounds), k)
    b = np.array([half.b for half in bounds])
    free = [j for j in range(k) if j not in fixed]
    key = A.tobytes() + b.tobytes()
    if key not in known:
        known[key] = _blocks(coding, free, A, b)
    blocks = known[key]
    if blocks is None:
        return None
    low, high = np.full(k, np.nan), np.full(k, np.nan)
    for block in blocks:
        low[list(block.columns)] = block.polytope.vertices.min(axis=0)
        high[list(block.columns)] = block.polytope.vertices.max(axis=0)
    kept = np.any(A != 0, axis=1)
    words = tuple(half.words for half, keep in zip(bounds, kept, strict=True) if keep)
    return Piece(
        fixed=fixed,
        A=A[kept],
        b=b[kept],
        words=words,
        total=bool(coding.shares),
        low=low,
        high=high,
        blocks=blocks,
    )


def _blocks(
    coding: Coding, free: Sequence[int], A: FloatArray, b: FloatArray
) -> tuple[Block, ...] | None:
    size = np.abs(A).sum(axis=1)
    if np.any((size == 0) & (b < -SAME)):
        return None
    single = (A != 0).sum(axis=1) == 1
    low, high = np.full(A.shape[1], -np.inf), np.full(A.shape[1], np.inf)
    for a, bound in zip(A[single], b[single], strict=True):
        j = int(np.flatnonzero(a)[0])
        if a[j] > 0:
            high[j] = min(high[j], bound / a[j])
        else:
            low[j] = max(low[j], bound / a[j])
    ties = [set(np.flatnonzero(a).tolist()) for a in A[(A != 0).sum(axis=1) > 1]]
    shares = {j for j, axis in enumerate(coding.axes) if isinstance(axis, ShareAxis)}
    blocks: list[Block] = []
    for columns in _groups(free, [*ties, shares]):
        own = list(columns)
        rows = ~single & np.any(A[:, own] != 0, axis=1)
        polytope = make_polytope(
            low[own], high[own], A[np.ix_(rows, own)], b[rows], np.isin(own, list(shares))
        )
        if polytope is None:
            return None
        blocks.append(Block(columns=columns, polytope=polytope))
    return tuple(blocks)


def _groups(free: Sequence[int], ties: Sequence[set[int]]) -> list[tuple[int, ...]]:
    """Gather the settings that ties join, each group in column order."""
    groups = [{j} for j in free]
    for tie in ties:
        joined = [group for group in groups if group & tie]
        if len(joined) > 1:
            groups = [group for group in groups if not group & tie] + [set().union(*joined)]
    return sorted(tuple(sorted(group)) for group in groups)


def _reach(j: int, pieces: Sequence[Piece]) -> tuple[float, float]:
    lows = [piece.fixed.get(j, piece.low[j]) for piece in pieces]
    highs = [piece.fixed.get(j, piece.high[j]) for piece in pieces]
    there = [i for i, low in enumerate(lows) if not np.isnan(low)]
    if not there:
        return float("nan"), float("nan")
    return float(min(lows[i] for i in there)), float(max(highs[i] for i in there))


def _empty_levels(coding: Coding, pieces: Sequence[Piece]) -> Iterator[Finding]:
    """Name the levels of choices and of numeric factors at which the brief allows nothing."""
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ShareAxis) or not axis.levels:
            continue
        there = {piece.fixed[j] for piece in pieces}
        levels: list[tuple[float, str]] = (
            [(float(i), level) for i, level in enumerate(axis.levels) if level not in axis.never]
            if isinstance(axis, ChoiceAxis)
            else [(level, f"{level:g} {axis.unit}".rstrip()) for level in axis.levels]
        )
        empty = [word for place, word in levels if place not in there]
        if empty:
            yield Finding(
                level="caution",
                what=f"'{axis.name}' cannot be {' or '.join(empty)}: the limits and forbids leave "
                "no setting there, so nothing will be learnt of it",
                evidence={"levels without a setting": len(empty)},
                advice="Take the level out of the brief, or move the bound that empties it.",
            )


def _unreachable(coding: Coding, implied: Sequence[tuple[float, float]]) -> Iterator[Finding]:
    for axis, (low, high) in zip(coding.axes, implied, strict=True):
        if isinstance(axis, ChoiceAxis):
            continue
        slack = TOLERANCE * max(axis.high - axis.low, TOLERANCE)
        unit = f" {axis.unit}" if isinstance(axis, NumericAxis) and axis.unit else ""
        share = isinstance(axis, ShareAxis)
        ends = (("low", axis.low, low), ("high", axis.high, high))
        for end, stated, reached in ends:
            if not abs(stated - reached) > slack:
                continue
            others = "the other shares and the limits" if share else "the limits and forbids"
            yield Finding(
                level="note",
                what=f"{'share of ' if share else ''}'{axis.name}' cannot reach its {end} end "
                f"{stated:g}{unit}: {others} stop it at {reached:g}{unit}",
                evidence={"stated": stated, "implied": reached},
                advice=f"Write {end} = {reached:g}, or move the bound that stops it.",
                source=PIEPEL if share else "",
            )


def _idle_forbids(coding: Coding, statements: Statements) -> Iterator[Finding]:
    """Name forbids that name single numbers of a range, and so take nothing with a width away."""
    for forbid in statements.prohibitions:
        for j, conditions in forbid.conditions:
            axis = coding.axes[j]
            ranged = not isinstance(axis, ChoiceAxis) and not getattr(axis, "levels", ())
            if ranged and all(one.sign == "=" for one in conditions):
                yield Finding(
                    level="caution",
                    what=f"'{forbid.words}' forbids nothing: '{axis.name}' has a range, and a "
                    "single number in it has no width",
                    advice='Write "> …" or "< …", or give the factor levels.',
                )

"""Settings that no run speaks for: the models say nothing there, and the search stays away."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from doe.model.region import Region
from doe.study.settings import BoolArray, FloatArray, frozen_array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OffLine:
    """Settings away from the line, or the one value, that all runs keep to.

    Attributes:
        a: The line is `a · x = b`; shape (k,), lab units.
        b: See `a`.
        slack: How far `a · x` may lie from it.
        words: What the runs keep to, as a sentence without its end.
    """

    a: FloatArray
    b: float
    slack: float
    words: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "a", frozen_array(self.a))

    def holds(self, values: FloatArray) -> BoolArray:
        """Tell which settings, shape (n, k), lie in the gap, shape (n,)."""
        off: BoolArray = np.abs(values @ self.a - self.b) > self.slack
        return off

    def strikes(self, fixed: Mapping[int, float]) -> bool:
        """Tell whether a piece with these fixed settings lies in the gap as a whole."""
        on = np.flatnonzero(self.a)
        if any(int(j) not in fixed for j in on):
            return False
        return bool(abs(sum(self.a[j] * fixed[int(j)] for j in on) - self.b) > self.slack)


@dataclass(frozen=True, slots=True, kw_only=True)
class NeverMet:
    """Levels of one choice, or of several together, that no run has.

    Attributes:
        columns: The choices, as columns of the settings.
        met: The level numbers that runs have.
        words: What no run has, as a sentence without its end.
    """

    columns: tuple[int, ...]
    met: frozenset[tuple[int, ...]]
    words: str

    def holds(self, values: FloatArray) -> BoolArray:
        """Tell which settings, shape (n, k), lie in the gap, shape (n,)."""
        rows = np.nan_to_num(values[:, list(self.columns)], nan=-1.0).astype(np.int64)
        return np.array([tuple(row) not in self.met for row in rows.tolist()], dtype=np.bool_)

    def strikes(self, fixed: Mapping[int, float]) -> bool:
        """Tell whether a piece with these fixed settings lies in the gap as a whole."""
        return tuple(int(fixed.get(j, -1)) for j in self.columns) not in self.met


Gap = OffLine | NeverMet


def outside_gaps(region: Region, gaps: Iterable[Gap]) -> Region:
    """Take out of a region the pieces that lie in a gap; the whole where nothing would be left."""
    every = tuple(gaps)
    left = tuple(
        piece for piece in region.pieces if not any(gap.strikes(piece.fixed) for gap in every)
    )
    return replace(region, pieces=left) if left else region


def in_gaps(values: FloatArray, gaps: Sequence[Gap]) -> tuple[BoolArray, tuple[str, ...]]:
    """Tell which settings, shape (n, k), lie in one of several gaps, and why."""
    where = np.zeros(len(values), dtype=np.bool_)
    why: dict[str, None] = {}
    for gap in gaps:
        own = gap.holds(values)
        where |= own
        if own.any():
            why[gap.words] = None
    return where, tuple(why)

"""The model as a search works with it: few columns change when one setting moves.

Shares enter as pseudo-components (x − low) / (1 − Σ low) where the model spans the same with them,
and columns have unit mean square over the region, so that a narrow blend is nearly as well
conditioned as a whole simplex.

Source:
    Kurotori (1966), Industrial Quality Control 22, 592-596 (pseudo-components).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from doe.layouts.optimal.bounds import share_columns
from doe.model.coding import NumericAxis, code
from doe.model.expansion import Expansion, compile_columns
from doe.model.region import Region
from doe.model.sampling import sample_region
from doe.study.settings import FloatArray, IntArray

# Rows beyond the number of columns from which the change of columns is worked out.
_SPARE = 40
# A column is in the span of others if it is met this closely, in parts of its size.
_SPANNED = 1e-8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Working:
    """A model with its columns for a search.

    Attributes:
        expansion: The model.
        scale: Divisor of each column, shape (p,).
        shift: Subtracted from each setting, shape (k,); only shares have one.
        factor: Divisor of each setting thereafter, shape (k,).
        basis: Shape (p, p): model matrix @ basis gives the working columns.
    """

    expansion: Expansion
    scale: FloatArray
    shift: FloatArray
    factor: FloatArray
    basis: FloatArray

    def matrix(self, x: FloatArray) -> FloatArray:
        """Expand coded settings, shape (..., k), into the working columns, shape (..., p)."""
        flat = (x.reshape(-1, x.shape[-1]) - self.shift) / self.factor
        return (self.expansion.matrix(flat) / self.scale).reshape(*x.shape[:-1], -1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moving:
    """The working columns that change with some settings.

    Attributes:
        columns: Their numbers, shape (c,).
        working: The model, of which only these columns are made.
        expansion: These columns alone.
    """

    columns: IntArray
    working: Working
    expansion: Expansion

    def matrix(self, x: FloatArray) -> FloatArray:
        """Expand coded settings, shape (..., k), into these columns, shape (..., c)."""
        w = self.working
        flat = (x.reshape(-1, x.shape[-1]) - w.shift) / w.factor
        part = np.ascontiguousarray(self.expansion.matrix(flat)) / w.scale[self.columns]
        return np.asarray(part.reshape(*x.shape[:-1], -1))


def make_working(region: Region, expansion: Expansion, moments: FloatArray) -> Working | None:
    """Choose the working columns of a model.

    Args:
        region: All settings the brief allows.
        expansion: The model.
        moments: Its moments over the region, shape (p, p).

    Returns:
        The working model; None where the region cannot tell the columns apart.
    """
    p, k = len(expansion.columns), len(expansion.coding.axes)
    lows = np.zeros(k)
    for j in share_columns(expansion.coding):
        lows[j] = region.implied[j][0]
    room = 1.0 - lows.sum()
    shared = lows.any() and room > 1e-9
    factor = np.ones(k)
    if shared:
        factor[share_columns(expansion.coding)] = room
        points = sample_region(region, p + _SPARE, np.random.default_rng(0))
        x = code(points, expansion.coding)
        X, W = expansion.matrix(x), expansion.matrix((x - lows) / factor)
        R, *_ = np.linalg.lstsq(X, W)
        missed = np.abs(X @ R - W).max(axis=0)
        if np.linalg.matrix_rank(X) == p and np.all(
            missed <= _SPANNED * np.maximum(np.abs(W).max(axis=0), 1e-300)
        ):
            scale = np.sqrt(np.maximum(np.diag(R.T @ moments @ R), 1e-300))
            return Working(
                expansion=expansion, scale=scale, shift=lows, factor=factor, basis=R / scale
            )
    size = np.sqrt(np.maximum(np.diag(moments), 0.0))
    if np.any(size <= 0):
        return None
    return Working(
        expansion=expansion, scale=size, shift=np.zeros(k), factor=np.ones(k),
        basis=np.diag(1.0 / size),
    )  # fmt: skip


def moving(working: Working, settings: tuple[int, ...]) -> Moving:
    """Find the columns that change with some settings, and with the ranges that hang on them."""
    coding = working.expansion.coding
    names = {coding.names[j] for j in settings}
    names |= {
        axis.name
        for axis in coding.axes
        if isinstance(axis, NumericAxis) and axis.ranges and axis.ranges[0].choice in names
    }
    chosen = [
        i
        for i, column in enumerate(working.expansion.columns)
        if names & {name for name, _ in column.term.powers}
    ]
    return Moving(
        columns=np.array(chosen, dtype=np.int64),
        working=working,
        expansion=_part(working.expansion, tuple(chosen)),
    )


@lru_cache(maxsize=512)
def _part(expansion: Expansion, chosen: tuple[int, ...]) -> Expansion:
    return compile_columns(expansion.coding, tuple(expansion.columns[i] for i in chosen))

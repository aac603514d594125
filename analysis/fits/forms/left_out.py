"""How far a model misses units that it has not seen: each left out in turn, its shape with it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.fits.forms.rows import FormRows
from analysis.fits.forms.shape_search import Bounds, NoShapeError, shape_at
from doe.model.bend import Bend
from doe.study.settings import FloatArray, IntArray

# Columns of what is left that add less than this to the others cannot be told apart there.
_DEPENDENT = 1e-10


def left_out_error(
    rows: FormRows,
    units: Sequence[IntArray],
    ratios: FloatArray,
    bend: Bend | None = None,
    bounds: Bounds = (),
) -> float | None:
    """Give the root of the mean squared error of units predicted by the others.

    Args:
        rows: The rows.
        units: Rows of each unit.
        ratios: Variance ratios, one a random stratum; those of all rows stand for those of some.
        bend: A form, estimated anew without each unit; None for the polynomial.
        bounds: Of its shape.

    Returns:
        Fitted scale, over the rows of the plan; None where the others cannot carry the model.
    """
    missed: list[FloatArray] = []
    for unit in units:
        own = unit[rows.planned[unit]]
        if not len(own):
            continue
        kept = np.setdiff1d(np.arange(len(rows.y)), unit)
        errors = _missed(rows, kept, own, ratios, bend, bounds)
        if errors is None:
            return None
        missed.append(errors)
    if not missed:
        return None
    every = np.concatenate(missed)
    return float(np.sqrt(np.mean(every**2)))


def _missed(
    rows: FormRows,
    kept: IntArray,
    own: IntArray,
    ratios: FloatArray,
    bend: Bend | None,
    bounds: Bounds,
) -> FloatArray | None:
    known = rows.part(kept)
    if not _told(rows, kept, own):
        return None
    if bend is not None:
        try:
            bend = bend.of_shape(shape_at(known, bend, bounds, ratios))
        except NoShapeError:
            return None
    X = np.hstack([known.surface(bend), known.beside])
    if len(kept) < X.shape[1]:
        return None
    weighed = known.weighing(ratios)
    Q, R = np.linalg.qr(weighed(X))
    size = np.abs(np.diag(R))
    if size.min() <= _DEPENDENT * size.max():
        return None
    b = np.linalg.solve(R, Q.T @ weighed(known.y))
    p = rows.n_surface
    missing = rows.y[own] - rows.surface(bend)[own] @ b[:p]
    beside = rows.beside[kept]
    there = np.abs(beside).max(axis=0, initial=0.0) > 0.0
    return np.asarray(missing - rows.beside[own][:, there] @ b[p:])


def _told(rows: FormRows, kept: IntArray, own: IntArray) -> bool:
    """Tell whether what is left tells the blocks of what is left out."""
    beside = rows.beside
    lost = np.abs(beside[kept]).max(axis=0, initial=0.0) == 0.0
    return not bool(np.any(beside[own][:, lost]))

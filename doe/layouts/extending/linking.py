"""Units that stand already and are made again: link runs, replicates, repeats.

A unit is a run where every run is a mill batch of its own, and a whole batch where runs share them:
what is repeated in a new batch must be repeated with all its samples.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from doe.layouts.extending.frame import Frame, samples_per_batch
from doe.layouts.extending.measure import Yardstick, row_key
from doe.layouts.extending.request import Extension
from doe.layouts.placing import REGION_TOLERANCE
from doe.model.matrix import model_matrix
from doe.model.strata import precision
from doe.study.settings import FloatArray

# An exchange is kept only if it gains more than this part: far above rounding, below any use.
_GAIN = 1e-7
_SWEEPS = 20
# Eigenvalues below this part of the largest count as this part, so that choices can be compared
# before the model can be estimated.
_FLOOR = 1e-8


def repeatable_units(ask: Extension) -> list[FloatArray]:
    """List the units that can be made again: different settings, inside the region as it is now.

    Returns:
        One array (s, k) a unit, lab units, centre settings first.
    """
    plan, per = ask.plan, samples_per_batch(ask)
    values = np.asarray(plan.settings.values)
    groups: dict[object, list[int]] = {}
    for i in ask.standing:
        key = ("batch", plan.batch[i]) if ask.shared and plan.batch[i] is not None else ("run", i)
        groups.setdefault(key, []).append(i)
    units: dict[tuple[tuple[float, ...], ...], FloatArray] = {}
    ordered = sorted(groups.values(), key=lambda rows: plan.kind[rows[0]] != "centre")
    for rows in ordered:
        unit = values[rows]
        if len(rows) == per and bool(np.all(ask.region.contains(unit, REGION_TOLERANCE))):
            units.setdefault(tuple(sorted(row_key(row) for row in unit)), unit)
    return list(units.values())


def best_units(
    ask: Extension,
    stick: Yardstick,
    frame: Frame,
    n_units: int,
    free: FloatArray,
    start: Sequence[int] = (),
) -> list[int]:
    """Choose the units to make again so that the prediction is best; each once before twice.

    Args:
        ask: What is wanted.
        stick: Model and moments.
        frame: Strata; the chosen units stand first among the new runs.
        n_units: How many.
        free: Settings of the other new runs, shape (f, k).
        start: A choice to improve upon; empty for the first ones.

    Returns:
        Places in `repeatable_units`.
    """
    units = repeatable_units(ask)
    chosen = list(start) or [i % len(units) for i in range(n_units)]
    P = precision(frame.strata, stick.ratio)
    held = model_matrix(ask.held, ask.coding, stick.model)
    blocks = [model_matrix(unit, ask.coding, stick.model) for unit in units]
    others = model_matrix(free, ask.coding, stick.model)

    def value(choice: Sequence[int]) -> float:
        X = np.vstack([held, *(blocks[i] for i in choice), others])
        return _ridged(X, P, stick.moments)

    best = value(chosen)
    most = -(-n_units // len(units))
    for _ in range(_SWEEPS):
        before = best
        for place in range(n_units):
            for i in range(len(units)):
                if i == chosen[place] or chosen.count(i) >= most:
                    continue
                tried = [*chosen[:place], i, *chosen[place + 1 :]]
                found = value(tried)
                if found < best - _GAIN * abs(best):
                    chosen, best = tried, found
        if best >= before:
            break
    return chosen


def _ridged(X: FloatArray, P: FloatArray, moments: FloatArray) -> float:
    length = np.sqrt(np.maximum(np.diag(moments), 1e-300))
    values, vectors = np.linalg.eigh((X / length).T @ P @ (X / length))
    values = np.maximum(values, _FLOOR * values[-1])
    inner = np.einsum("ij,ij->j", vectors, (moments / np.outer(length, length)) @ vectors)
    return float((inner / values).sum())

"""A plain exchange over candidates, until the search of `doe.layouts.optimal` takes strata."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from doe.layouts.optimal.candidates import candidate_settings
from doe.model.coding import code
from doe.model.expansion import compile_model
from doe.model.matrix import model_matrix
from doe.model.moments import region_moments
from doe.model.region import Region
from doe.model.strata import Strata, moving_units, precision
from doe.model.term import Model
from doe.study.brief import Stage
from doe.study.settings import FloatArray, IntArray

_CANDIDATES = 200
_STARTS = 2
_SWEEPS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wanted:
    """What is wanted of a search."""

    region: Region
    model: Model
    weights: Mapping[str, float]
    n: int
    strata: Strata
    stages: tuple[Stage, ...]
    held: FloatArray
    ratios: tuple[float, ...] = (1.0,)
    area: FloatArray | None = None
    starts: int | None = None
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundPlan:
    """What a search found."""

    values: FloatArray
    groups: int
    agreeing: int


def best_plan(wanted: Wanted) -> FoundPlan:
    """Search the best settings beside those that are held."""
    rng = np.random.default_rng(wanted.seed)
    offered = candidate_settings(wanted.region, 50, rng)
    if len(offered) > _CANDIDATES:
        offered = offered[rng.choice(len(offered), _CANDIDATES, replace=False)]
    m, n = len(wanted.held), wanted.n
    units = moving_units(wanted.strata, wanted.stages, m)
    value = _value(wanted)
    ends = []
    for _ in range(_STARTS):
        start = np.vstack([wanted.held, offered[rng.integers(len(offered), size=n - m)]])
        for rows, columns in units:
            start[np.ix_(rows, columns)] = start[rows[0], columns]
        ends.append(_exchanged(start, units, offered, wanted.region, value))
    scores = [value(end) for end in ends]
    best = int(np.argmin(scores))
    near = sum(score <= 1.001 * scores[best] for score in scores)
    return FoundPlan(values=ends[best], groups=len(ends), agreeing=near)


def _value(wanted: Wanted) -> Callable[[FloatArray], float]:
    coding = wanted.region.coding
    expansion = compile_model(coding, wanted.model)
    if wanted.area is None:
        moments = region_moments(wanted.region, expansion, wanted.seed)
    else:
        F = expansion.matrix(code(wanted.area, coding))
        moments = F.T @ F / len(F)
    P = precision(wanted.strata, wanted.ratios[0])

    def value(values: FloatArray) -> float:
        X = model_matrix(values, coding, wanted.model)
        M = X.T @ P @ X
        M = M + np.eye(len(M)) * 1e-8 * np.trace(M) / len(M)
        return float(np.sum(np.linalg.inv(M) * moments))

    return value


def _exchanged(
    values: FloatArray,
    units: list[tuple[IntArray, IntArray]],
    offered: FloatArray,
    region: Region,
    value: Callable[[FloatArray], float],
) -> FloatArray:
    best = value(values)
    for _ in range(_SWEEPS):
        before = best
        for rows, columns in units:
            for candidate in offered:
                tried = values.copy()
                tried[np.ix_(rows, columns)] = candidate[columns]
                if region.contains(tried[rows]).all() and value(tried) < best - 1e-9:
                    values, best = tried, value(tried)
        if best > before - 1e-7:
            break
    return values

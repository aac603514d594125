"""Where the likelihood of the variance ratios is highest, with zero found exactly.

One stratum: the slope is looked at over the whole range and its root found between neighbours.
More: a net over all ratios is looked at, and Newton steps on the logarithms lead up from each place
of it that stands above its neighbours, with components set to 0 where the likelihood falls from 0
on. A step of scoring in the variances goes before them, which for balanced strata ends at the
summit. The slope at the end is part of the answer.

Source:
    Searle, Casella and McCulloch (1992), Variance Components, sections 8.2 and 11.3: scoring, and
    that one step of it (MINQUE) solves the equations of balanced rows (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
from scipy import linalg, optimize

from analysis.fits.height import Height, Likelihood
from analysis.fits.variance_model import VarianceModel
from doe.study.settings import BoolArray, FloatArray, frozen_array

# Ratios in units of a stratum's size: below and above, the likelihood is flat to its last digits.
LEAST, MOST = 1e-9, 1e9
# The slope along ln ρ, in units of likelihood, that counts as none.
LEVEL = 1e-7
_LOGS = np.linspace(np.log(LEAST), np.log(MOST), 73)
# Levels of each ratio in the net, in units of its size, by the number of strata: a summit is as
# wide as some e², and the net stays below a few hundred places.
_NETS = {2: (0.0, 0.05, 0.5, 5.0, 50.0), 3: (0.0, 0.03, 0.5, 5.0, 100.0)}
_COARSE = (0.0, 0.1, 1.0, 20.0)
# What a component that was 0 for nearly the same readings starts from.
_NEARLY_NONE = 0.01
_STEPS = 60
# A step of e² at most: further off the parabola says nothing.
_LONGEST = 2.0
_HALVINGS = 12
# Three steps that gain no more than rounding: the slope left is rounding, too.
_NO_RISE, _STALLS = 1e-11, 3
# A step that more than halves a ratio may be on its way to 0.
_HEADING_FOR_ZERO = -0.7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Optimum:
    """Ratios at the highest likelihood.

    Attributes:
        ratios: Shape (r,); exactly 0 where the likelihood falls from there on.
        height: The likelihood there.
        slope: Largest slope along ln ρ, or upwards from a 0, in units of likelihood.
        known: tr PG_kPG_l there at unit residual variance, residual last, shape (r + 1, r + 1).
        at_end: Whether some ratio ran to the upper end: the residual has next to no variance.
    """

    ratios: FloatArray
    height: Height
    slope: float
    known: FloatArray
    at_end: bool

    def __post_init__(self) -> None:
        for name in ("ratios", "known"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def is_settled(self) -> bool:
        """Whether the slope vanishes."""
        return self.slope <= LEVEL or self.at_end


class _Place(NamedTuple):
    ratios: FloatArray
    height: Height


def highest(
    model: VarianceModel, likelihood: Likelihood = "reml", *, near: FloatArray | None = None
) -> Optimum:
    """Find the ratios, all told by the rows (`VarianceModel.untold` is empty).

    Args:
        model: What the rows say.
        likelihood: Which to climb.
        near: Ratios of nearly the same readings, shape (r,), to start from and from there only.
    """
    if model.r == 0:
        return _told(model, _Place(np.zeros(0), _plain(model, likelihood)))
    if model.r == 1:
        return _told(model, _highest_alone(model, likelihood))
    if near is not None:
        begin = np.where(near > 0, near, _NEARLY_NONE / model.scales)
        return _told(model, _climb(model, begin, likelihood))
    starts = _starts(model, likelihood)
    best = _climb(model, _scored(model, starts[0], likelihood), likelihood)
    for start in starts[1:]:
        top = _climb(model, start, likelihood, known=best.ratios)
        if top.height.value > best.height.value:
            best = top
    return _told(model, best)


def _starts(model: VarianceModel, likelihood: Likelihood) -> FloatArray:
    """Give the places of the net that no neighbour overtops, highest first, shape (·, r)."""
    levels, neighbours = _net(model.r)
    heights = model.values(levels / model.scales, likelihood)
    around = np.where(neighbours, heights, -np.inf).max(axis=1)
    tops = np.flatnonzero(heights >= around)
    highest_first = tops[np.argsort(-heights[tops])]
    return np.asarray(levels[highest_first] / model.scales)


def _scored(model: VarianceModel, start: FloatArray, likelihood: Likelihood) -> FloatArray:
    """Give where scoring leads from a start in one step; the start where that is no higher."""
    if likelihood == "ml" or not start.all():
        return start
    variances = np.append(start, 1.0)
    here = model.at_variances(variances)
    variances += np.linalg.solve(here.known, here.score)
    if not min(variances.tolist()) > 0:
        return start
    moved = variances[:-1] / variances[-1]
    before, after = model.values(np.array([start, moved]), likelihood)
    return moved if after > before else start


@cache
def _net(r: int) -> tuple[FloatArray, BoolArray]:
    """Give the places of the net, shape (g, r), and which touch, corners too, shape (g, g)."""
    levels = _NETS.get(r, _COARSE)
    index = np.indices((len(levels),) * r).reshape(r, -1).T
    steps = np.abs(index[:, None, :] - index[None, :, :]).max(axis=2)
    return np.array(levels)[index], steps == 1


def _told(model: VarianceModel, place: _Place) -> Optimum:
    ratios, height = place
    up = np.maximum(height.gradient, 0.0) / model.scales
    slopes = np.where(ratios > 0, np.abs(ratios * height.gradient), up)
    return Optimum(
        ratios=ratios,
        height=height,
        slope=float(slopes.max(initial=0.0)),
        known=model.information(ratios),
        at_end=bool((ratios * model.scales >= 0.99 * MOST).any()),
    )


def _plain(model: VarianceModel, likelihood: Likelihood) -> Height:
    nothing = np.zeros((0, 0))
    m = model.n if likelihood == "ml" else model.n - model.p
    return Height(
        value=-0.5 * m * float(np.log(model.within / m)),
        quad=model.within,
        gradient=np.zeros(0),
        curvature=nothing,
        expected=nothing,
    )


def _highest_alone(model: VarianceModel, likelihood: Likelihood) -> _Place:
    def slope(log_ratio: float) -> float:
        return float(model.slopes_alone(math.exp(log_ratio), likelihood))

    logs = _LOGS - math.log(model.scales[0])
    slopes = model.slopes_alone(np.exp(logs), likelihood)
    # Where it rises from 0 on, 0 is no top.
    tops = [] if slopes[0] > 0 else [0.0]
    tops += [
        float(np.exp(optimize.brentq(slope, logs[i], logs[i + 1], xtol=1e-13, rtol=1e-14)))
        for i in np.flatnonzero((slopes[:-1] > 0) & (slopes[1:] <= 0))
    ]
    if slopes[-1] > 0:
        tops.append(float(np.exp(logs[-1])))
    places = [_Place(np.array([top]), model.height(np.array([top]), likelihood)) for top in tops]
    return max(places, key=lambda place: place.height.value)


def _climb(
    model: VarianceModel,
    start: FloatArray,
    likelihood: Likelihood,
    *,
    known: FloatArray | None = None,
) -> _Place:
    """Climb from a start to a summit, or to the neighbourhood of one that is known."""
    place, stalls = _Place(start, model.height(start, likelihood)), 0
    for _ in range(_STEPS):
        ratios, height = place
        if known is not None and _is_near(ratios, known):
            return place
        slope = ratios * height.gradient
        if _largest(slope) <= LEVEL * 1e-2:
            rising = (ratios <= 0) & (height.gradient > LEVEL * model.scales)
            if not rising.any():
                return place
            ratios = np.where(rising, 1e-3 / model.scales, ratios)
            place = _Place(ratios, model.height(ratios, likelihood))
            continue
        step = _newton_step(ratios, slope, height)
        moved = _without_idle(model, place, step, likelihood)
        if moved is None:
            moved = _longest_rise(model, place, step, likelihood)
            if moved is None:
                return place
            stalls = stalls + 1 if moved.height.value - height.value < _NO_RISE else 0
        place = moved
        if stalls >= _STALLS:
            return place
    return place


def _is_near(ratios: FloatArray, known: FloatArray) -> bool:
    return bool(((ratios > 0) == (known > 0)).all() and np.allclose(ratios, known, rtol=0.05))


def _newton_step(ratios: FloatArray, slope: FloatArray, height: Height) -> FloatArray:
    """Give the step along ln ρ, shape (r,); none of a ratio that is 0."""
    scaled, diagonal = ratios[:, None] * ratios, slice(None, None, len(ratios) + 1)
    # A ratio that is 0 leaves its row and its slope empty: 1 on the diagonal holds it there.
    known = -scaled * height.curvature
    known.flat[diagonal] += np.where(ratios > 0, -slope, 1.0)
    _, step, fault = linalg.lapack.dposv(known, slope)
    if fault:
        known = scaled * height.expected
        known.flat[diagonal] += np.where(ratios > 0, 1e-6, 1.0)
        _, step, fault = linalg.lapack.dposv(known, slope)
    if fault or not math.isfinite(_largest(step)):
        step = slope
    return np.asarray(step / max(1.0, _largest(step) / _LONGEST))


def _largest(parts: FloatArray) -> float:
    return float(max(map(abs, parts.tolist())))


def _longest_rise(
    model: VarianceModel, place: _Place, step: FloatArray, likelihood: Likelihood
) -> _Place | None:
    value = place.height.value
    for _ in range(_HALVINGS):
        moved = np.minimum(place.ratios * np.exp(step), MOST / model.scales)
        height = model.height(moved, likelihood)
        if height.value >= value - 1e-13 * abs(value):
            return _Place(moved, height) if _largest(step) > 1e-14 else None
        step = step / 2
    return None


def _without_idle(
    model: VarianceModel, place: _Place, step: FloatArray, likelihood: Likelihood
) -> _Place | None:
    """Set to 0 what heads for it and is as high there; None where nothing does."""
    for k, (ratio, part) in enumerate(zip(place.ratios.tolist(), step.tolist(), strict=True)):
        if ratio <= 0 or part >= _HEADING_FOR_ZERO:
            continue
        without = place.ratios.copy()
        without[k] = 0.0
        there = model.height(without, likelihood)
        if there.value >= place.height.value - 1e-12 and there.gradient[k] <= 0:
            return _Place(without, there)
    return None

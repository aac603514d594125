"""Where the likelihood of the variance ratios is highest, with zero found exactly.

One stratum: the slope is looked at over the whole range and its root found between neighbours.
More: Newton steps on the logarithms, from several starts, with components set to 0 where the
likelihood falls from 0 on. The slope at the end is part of the answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, optimize

from analysis.fits.variance_model import Height, Likelihood, VarianceModel
from doe.study.settings import BoolArray, FloatArray, frozen_array

# Ratios in units of a stratum's size: below and above, the likelihood is flat to its last digits.
LEAST, MOST = 1e-9, 1e9
# The slope along ln ρ, in units of likelihood, that counts as none.
LEVEL = 1e-7
_STARTS = (1.0, 0.03, 30.0)
# With so many units the likelihood has one summit, and a second start is enough to see it.
_MANY = 60
_GRID = 73
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
        return _told(model, np.zeros(0), likelihood)
    if model.r == 1:
        return _told(model, _highest_alone(model, likelihood), likelihood)
    if near is not None:
        begin = np.where(near > 0, near, _NEARLY_NONE / model.scales)
        return _told(model, _climb(model, begin, likelihood), likelihood)
    best: FloatArray | None = None
    for start in _STARTS[: 3 if len(model.e) <= _MANY else 2]:
        top = _climb(model, start / model.scales, likelihood, known=best)
        if best is None or _value(model, top, likelihood) > _value(model, best, likelihood):
            best = top
    assert best is not None
    return _told(model, _without_idle(model, best, likelihood), likelihood)


def _value(model: VarianceModel, ratios: FloatArray, likelihood: Likelihood) -> float:
    return model.height(ratios, likelihood).value


def _told(model: VarianceModel, ratios: FloatArray, likelihood: Likelihood) -> Optimum:
    height = model.height(ratios, likelihood) if model.r else _plain(model, likelihood)
    steepness = np.where(ratios > 0, np.abs(ratios * height.gradient), 0.0)
    rising = np.where(ratios > 0, 0.0, np.maximum(height.gradient, 0.0)) / model.scales
    return Optimum(
        ratios=ratios,
        height=height,
        slope=float(max(steepness.max(initial=0.0), rising.max(initial=0.0))),
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


def _highest_alone(model: VarianceModel, likelihood: Likelihood) -> FloatArray:
    def slope(log_ratio: float) -> float:
        return float(model.slopes_alone(np.exp(log_ratio), likelihood))

    scale = float(model.scales[0])
    logs = np.linspace(np.log(LEAST / scale), np.log(MOST / scale), _GRID)
    slopes = model.slopes_alone(np.exp(logs), likelihood)
    tops = [0.0] + [
        float(np.exp(optimize.brentq(slope, logs[i], logs[i + 1], xtol=1e-13, rtol=1e-14)))
        for i in range(_GRID - 1)
        if slopes[i] > 0 >= slopes[i + 1]
    ]
    if slopes[-1] > 0:
        tops.append(float(np.exp(logs[-1])))
    heights = [model.height(np.array([top]), likelihood).value for top in tops]
    return np.array([tops[int(np.argmax(heights))]])


def _climb(
    model: VarianceModel,
    start: FloatArray,
    likelihood: Likelihood,
    *,
    known: FloatArray | None = None,
) -> FloatArray:
    """Climb from a start to a summit, or to the neighbourhood of one that is known."""
    ratios, stalls = start.copy(), 0
    height = model.height(ratios, likelihood)
    for _ in range(_STEPS):
        if known is not None and _is_near(ratios, known):
            return known
        free = ratios > 0
        slope = ratios * height.gradient
        rising = ~free & (height.gradient > LEVEL * model.scales)
        if np.abs(slope).max(initial=0.0) <= LEVEL * 1e-3:
            if not rising.any():
                return ratios
            ratios = np.where(rising, 1e-3 / model.scales, ratios)
            height = model.height(ratios, likelihood)
            continue
        step = np.zeros(model.r)
        step[free] = _newton_step(ratios, height, free)
        dropped = _drop_idle(model, ratios, step, height, likelihood)
        if dropped is not None:
            ratios, height = dropped
            continue
        moved = _longest_rise(model, ratios, step, height.value, likelihood)
        if moved is None:
            return ratios
        stalls = stalls + 1 if moved[1].value - height.value < _NO_RISE else 0
        ratios, height = moved
        if stalls >= _STALLS:
            return ratios
    return ratios


def _is_near(ratios: FloatArray, known: FloatArray) -> bool:
    return bool(((ratios > 0) == (known > 0)).all() and np.allclose(ratios, known, rtol=0.05))


def _newton_step(ratios: FloatArray, height: Height, free: BoolArray) -> FloatArray:
    rho, slope = ratios[free], (ratios * height.gradient)[free]
    scaled = np.outer(rho, rho)
    observed = -(scaled * height.curvature[np.ix_(free, free)] + np.diag(slope))
    expected = scaled * height.expected[np.ix_(free, free)]
    for known in (observed, expected + 1e-6 * np.eye(len(rho))):
        try:
            step = linalg.cho_solve(linalg.cho_factor(known), slope)
        except linalg.LinAlgError:
            continue
        if np.isfinite(step).all():
            return np.asarray(step / max(1.0, np.abs(step).max() / _LONGEST))
    return np.asarray(slope / max(1.0, np.abs(slope).max() / _LONGEST))


def _longest_rise(
    model: VarianceModel,
    ratios: FloatArray,
    step: FloatArray,
    value: float,
    likelihood: Likelihood,
) -> tuple[FloatArray, Height] | None:
    for _ in range(_HALVINGS):
        moved = np.minimum(ratios * np.exp(step), MOST / model.scales)
        height = model.height(moved, likelihood)
        if height.value >= value - 1e-13 * abs(value):
            return (moved, height) if np.abs(step).max() > 1e-14 else None
        step = step / 2
    return None


def _drop_idle(
    model: VarianceModel,
    ratios: FloatArray,
    step: FloatArray,
    height: Height,
    likelihood: Likelihood,
) -> tuple[FloatArray, Height] | None:
    """Set to 0 what heads for it and is as high there; None where nothing does."""
    for k in np.flatnonzero((ratios > 0) & (step < _HEADING_FOR_ZERO)):
        without = ratios.copy()
        without[k] = 0.0
        there = model.height(without, likelihood)
        if there.value >= height.value - 1e-12 and there.gradient[k] <= 0:
            return without, there
    return None


def _without_idle(model: VarianceModel, ratios: FloatArray, likelihood: Likelihood) -> FloatArray:
    """Try the summit with each component at 0 once more, so that no start decides on it."""
    best, value = ratios, _value(model, ratios, likelihood)
    for k in np.flatnonzero(ratios > 0):
        without = ratios.copy()
        without[k] = 0.0
        if model.height(without, likelihood).gradient[k] > 0:
            continue
        top = _climb(model, without, likelihood)
        there = _value(model, top, likelihood)
        if there > value + 1e-10:
            best, value = top, there
    return best

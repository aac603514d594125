"""Box-Cox: which power of the response the model in use likes best.

Source:
    Box and Cox (1964), J. R. Stat. Soc. B 26, 211-252, section 3: profile likelihood of λ with the
    response scaled by its geometric mean, equation (8), and its interval, equation (10).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy import optimize, stats

from analysis.fits.assessment import BoxCox
from analysis.fits.fit import Scale
from doe.study.settings import FloatArray

# Beyond ±5 a power is no scale anyone would read; an interval that ends there is open.
POWER_END = 5.0
# With fewer degrees of freedom the profile follows single runs.
LEAST_DF = 3
_STEP = 0.1
# Where each point is a search of its own; the ends of the interval do not hang on it.
_WIDE_STEP = 0.25
_USUAL: tuple[tuple[float, str], ...] = (
    (1.0, "none"),
    (0.5, "square root"),
    (0.0, "log"),
    (-0.5, "reciprocal square root"),
    (-1.0, "reciprocal"),
)


def box_cox(
    readings: Sequence[Sequence[float]],
    basis: FloatArray,
    df: int,
    *,
    level: float = 0.95,
    likelihood: Callable[[FloatArray], float] | None = None,
) -> BoxCox | None:
    """Find λ of the model in use.

    Args:
        readings: Repeats of each run, response unit; averaged after transformation.
        basis: Orthonormal columns of the model matrix, shape (n, p).
        df: Residual degrees of freedom.
        level: Confidence of the interval.
        likelihood: Highest log-likelihood of some values, shape (n,), by the model in use; None for
            least squares on the basis.

    Returns:
        None where a value is zero or below, or nothing is left to judge by.
    """
    if df < LEAST_DF or any(value <= 0 for run in readings for value in run):
        return None
    profile = _Profile(readings, likelihood or (lambda z: _of_least_squares(z, basis)))
    step = _STEP if likelihood is None else _WIDE_STEP
    powers = np.arange(-POWER_END, POWER_END + step / 2, step)
    heights = np.array([profile.log_likelihood(power) for power in powers])
    if not np.isfinite(heights).all():
        return None
    best = _summit(profile, powers, heights)
    floor = profile.log_likelihood(best) - float(stats.chi2.ppf(level, 1)) / 2
    interval = (_edge(profile, best, floor, -1.0), _edge(profile, best, floor, 1.0))
    supported = tuple(name for power, name in _USUAL if interval[0] <= power <= interval[1])
    return BoxCox(
        power=best,
        interval=interval,
        level=level,
        suggestion=_suggestion(best, interval),
        supported=supported,
        powers=tuple(float(power) for power in powers.round(10)),
        log_likelihood=tuple(float(height) for height in heights),
    )


def automatic_scale(found: BoxCox | None) -> Scale:
    """Choose the scale that λ asks for: the response as it is read, if λ allows 1.

    Else the logarithm or the square root, the nearer one of those that its interval holds; if it
    holds neither, the power itself.
    """
    if found is None or found.interval[0] <= 1.0 <= found.interval[1]:
        return Scale()
    choices = ((0.0, Scale(name="log")), (0.5, Scale(name="square root")))
    inside = [one for one in choices if found.interval[0] <= one[0] <= found.interval[1]]
    if not inside:
        return Scale(name="power", power=readable_power(found))
    return min(inside, key=lambda one: abs(one[0] - found.power))[1]


def readable_power(found: BoxCox) -> float:
    """Give λ with as few digits as its interval allows: whole, half, or to a decimal or more."""
    low, high = found.interval
    for digits in (0, 1, 2):
        power = round(found.power, digits)
        if low <= power <= high:
            return power + 0.0
    return found.power


def typed_scale(found: BoxCox) -> str:
    """Write the better scale as the brief takes it.

    Example:
        >>> from dataclasses import replace
        >>> from analysis.fits.assessment import BoxCox
        >>> found = BoxCox(power=-0.9, interval=(-1.4, -0.4), level=0.95, suggestion="reciprocal",
        ...                supported=("reciprocal",), powers=(), log_likelihood=())
        >>> typed_scale(found)
        'scale = "power" and power = -1'
        >>> typed_scale(replace(found, suggestion="log"))
        'scale = "log"'
    """
    if found.suggestion == "none":
        return 'scale = "identity"'
    if found.suggestion in ("log", "square root"):
        return f'scale = "{found.suggestion}"'
    usual = {name: power for power, name in _USUAL}
    power = usual.get(found.suggestion, readable_power(found))
    return f'scale = "power" and power = {power:g}'


class _Profile:
    """The likelihood of λ with coefficients and variance at their best."""

    def __init__(
        self, readings: Sequence[Sequence[float]], likelihood: Callable[[FloatArray], float]
    ) -> None:
        self._counts = np.array([len(run) for run in readings])
        self._run = np.repeat(np.arange(len(readings)), self._counts)
        logs = np.log([value for run in readings for value in run])
        # About the geometric mean; each run counts once, however often it was read.
        self._logs = logs - float(self._averaged(logs).mean())
        self._likelihood = likelihood

    def log_likelihood(self, power: float) -> float:
        # u = y over its geometric mean; (u^λ − 1)/λ differs from the scaled form of equation (8)
        # by a constant, which the model holds.
        z = self._averaged(self._moved(power))
        return self._likelihood(z - z.mean())

    def _averaged(self, values: FloatArray) -> FloatArray:
        averaged: FloatArray = np.bincount(self._run, weights=values) / self._counts
        return averaged

    def _moved(self, power: float) -> FloatArray:
        # Below 1e-8 the power scale is the logarithm to all digits.
        if abs(power) < 1e-8:
            return self._logs
        moved: FloatArray = np.expm1(power * self._logs) / power
        return moved


def _of_least_squares(z: FloatArray, basis: FloatArray) -> float:
    left = z - basis @ (basis.T @ z)
    rss = float(left @ left)
    return -0.5 * len(z) * float(np.log(rss / len(z))) if rss > 0 else float("inf")


def _summit(profile: _Profile, powers: FloatArray, heights: FloatArray) -> float:
    top = int(heights.argmax())
    low, high = powers[max(top - 1, 0)], powers[min(top + 1, len(powers) - 1)]
    found = optimize.minimize_scalar(
        lambda power: -profile.log_likelihood(power),
        bounds=(float(low), float(high)),
        method="bounded",
        options={"xatol": 1e-8},
    )
    return float(found.x)


def _edge(profile: _Profile, best: float, floor: float, side: float) -> float:
    end = side * POWER_END
    if profile.log_likelihood(end) >= floor:
        return end
    return float(optimize.brentq(lambda x: profile.log_likelihood(x) - floor, best, end, xtol=1e-8))


def _suggestion(best: float, interval: tuple[float, float]) -> str:
    inside = [one for one in _USUAL if interval[0] <= one[0] <= interval[1]]
    if any(power == 1.0 for power, _ in inside):
        return "none"
    if inside:
        return min(inside, key=lambda one: abs(one[0] - best))[1]
    return f"power {best:.2g}"

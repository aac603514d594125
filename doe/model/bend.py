"""Forms: a factor's axis bent by a curve whose shape is estimated with the model.

Given the shape, a response is linear in the bent factor u and its products with other settings, as
with any other coded factor: u = −1 at the low end of the range (a parabola apart).

Source:
    First-order approach x = x∞ + (x0 − x∞) exp(−k t) and the demand curves (share of the surface
    left bare by Langmuir, lines in ln dose, parabola in ln dose): from memory; the same as for the
    grind times of one batch and for a dose ladder.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal, NamedTuple, get_args

import numpy as np

from doe.study.settings import FloatArray

FormName = Literal["first order", "coverage", "plateau", "two lines", "parabola"]
FORMS: tuple[FormName, ...] = get_args(FormName)


class Bent(NamedTuple):
    """A bent axis at n settings.

    Attributes:
        value: u, shape (n,).
        slope: ∂u/∂t, per lab unit, shape (n,).
        by_shape: ∂u/∂s, per unit of each shape parameter, shape (n, s).
        slope_by_shape: ∂²u/∂t∂s, shape (n, s).
    """

    value: FloatArray
    slope: FloatArray
    by_shape: FloatArray
    slope_by_shape: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """One factor's axis, bent.

    Attributes:
        factor: Name of the factor.
        form: The curve.
        shape: Its s parameters, lab units, in the order of `FormKind.parameters`.
        low: Low end of the factor's range, lab unit.
        high: High end.
        weights: Coefficients of the model's columns that hold the factor, in their order; with them
            a model has a column for each parameter, the slope of the value along it. Empty before
            they are known: then there are no such columns.
    """

    factor: str
    form: FormName
    shape: tuple[float, ...]
    low: float
    high: float
    weights: tuple[float, ...] = ()

    @property
    def kind(self) -> FormKind:
        """What is known of its curve."""
        return FORM_KINDS[self.form]

    @property
    def shape_columns(self) -> tuple[str, ...]:
        """Names of the columns that its parameters add to a model."""
        return self.kind.parameters if self.weights else ()

    def at(self, values: FloatArray) -> Bent:
        """Bend settings, shape (n,), lab unit; NaN stays NaN."""
        return self.kind.bend(values, self.low, self.high, np.array(self.shape))

    def of_shape(self, shape: FloatArray, weights: FloatArray | None = None) -> Bend:
        """Give the same form with another shape, and with weights where they are known."""
        known = () if weights is None else tuple(map(float, weights))
        return replace(self, shape=tuple(map(float, shape)), weights=known)


@dataclass(frozen=True, slots=True, kw_only=True)
class FormKind:
    """What is known of a form.

    Attributes:
        formula: As it is printed; t is a time, D a dose.
        parameters: Names of its shape parameters.
        units: Their units, `{}` the factor's own.
        least_values: Fewest different settings that it is tried on; common practice, no source.
        needs_positive: Whether every setting must lie above 0, as its logarithm is taken.
        bend: From settings, low end, high end and shape to the bent axis.
        search: From different settings to the lowest and highest value of each parameter.
    """

    formula: str
    parameters: tuple[str, ...]
    units: tuple[str, ...]
    least_values: int
    needs_positive: bool
    bend: Callable[[FloatArray, float, float, FloatArray], Bent]
    search: Callable[[FloatArray], tuple[tuple[float, float], ...]]


# Weakest bend that is told from a straight line, times the range; and what is left at the first
# setting above the lowest where nothing more can be told of a rate: exp(−12).
_STRAIGHT, _GONE = 1e-3, 12.0
# A surface half covered at so small a part of the lowest setting is covered everywhere.
_COVERED = 1e3
# Steepest rise past the critical dose, and slightest, over the fall before it.
_MOST_RISE = 1e2
# How far outside of the doses tried the turn of a parabola is sought, in spans of ln dose.
_TURN_SPANS = 3.0


def _first_order(t: FloatArray, low: float, high: float, shape: FloatArray) -> Bent:
    """Bend by 1 − exp(−k (t − low)) over its value at the high end."""
    (k,) = shape
    r, x = high - low, t - low
    left, end = np.exp(-k * x), float(np.exp(-k * r))
    done, whole = -np.expm1(-k * x), float(-np.expm1(-k * r))
    by_k = 2.0 * (x * left * whole - done * r * end) / whole**2
    slope_by_k = 2.0 * ((1.0 - k * x) * left * whole - k * left * r * end) / whole**2
    return Bent(
        2.0 * done / whole - 1.0, 2.0 * k * left / whole, by_k[:, None], slope_by_k[:, None]
    )


def _coverage(t: FloatArray, low: float, high: float, shape: FloatArray) -> Bent:
    """Bend by θ = K D / (1 + K D): θ(D) − θ(low) over θ(high) − θ(low)."""
    (K,) = shape
    r, x, room = high - low, t - low, 1.0 + K * t
    value = 2.0 * x / r * (1.0 + K * high) / room - 1.0
    slope = 2.0 * (1.0 + K * high) * (1.0 + K * low) / (r * room**2)
    by_k = 2.0 * x * (high - t) / (r * room**2)
    slope_by_k = 2.0 / r * ((high - t - x) / room**2 - 2.0 * K * x * (high - t) / room**3)
    return Bent(value, slope, by_k[:, None], slope_by_k[:, None])


def _two_lines(t: FloatArray, low: float, high: float, shape: FloatArray) -> Bent:
    """Bend by ln D up to D0, and back from there by ρ times as steep a line."""
    at, rho = shape
    x, d = np.log(t), float(np.log(at))
    reach = d - float(np.log(low))
    above = np.where(np.isnan(t), np.nan, (x > d).astype(np.float64))
    side = rho * above - (1.0 - above)
    gap = side * (x - d)
    by_at = 2.0 / at * (side * reach + gap) / reach**2
    by_rho = -2.0 * above * (x - d) / reach
    return Bent(
        1.0 - 2.0 * gap / reach,
        -2.0 * side / (t * reach),
        np.stack([by_at, by_rho], axis=1),
        np.stack([2.0 * side / (at * reach**2 * t), -2.0 * above / (t * reach)], axis=1),
    )


def _plateau(t: FloatArray, low: float, high: float, shape: FloatArray) -> Bent:
    """Bend by ln D up to D0, flat beyond."""
    both = _two_lines(t, low, high, np.append(shape, 0.0))
    return Bent(both.value, both.slope, both.by_shape[:, :1], both.slope_by_shape[:, :1])


def _parabola(t: FloatArray, low: float, high: float, shape: FloatArray) -> Bent:
    """Bend by (ln D − ln Dm)², in half ranges of ln D: 0 at the turn."""
    (at,) = shape
    half = float(np.log(high / low)) / 2.0
    w = (np.log(t) - float(np.log(at))) / half
    return Bent(
        w**2,
        2.0 * w / (half * t),
        (-2.0 * w / (half * at))[:, None],
        (-2.0 / (half**2 * t * at))[:, None],
    )


def _rates(values: FloatArray) -> tuple[tuple[float, float], ...]:
    reach = float(values[-1] - values[0])
    return ((_STRAIGHT / reach, _GONE / float(values[1] - values[0])),)


def _strengths(values: FloatArray) -> tuple[tuple[float, float], ...]:
    first = float(values[0] if values[0] > 0.0 else values[1])
    return ((_STRAIGHT / float(values[-1]), _COVERED / first),)


def _kinks(values: FloatArray) -> tuple[tuple[float, float], ...]:
    # Two doses tell the fall; one beyond them its end.
    return ((float(values[1]), float(values[-1])),)


def _kinks_and_rises(values: FloatArray) -> tuple[tuple[float, float], ...]:
    return ((float(values[1]), float(values[-2])), (1.0 / _MOST_RISE, _MOST_RISE))


def _turns(values: FloatArray) -> tuple[tuple[float, float], ...]:
    low, high = float(values[0]), float(values[-1])
    room = (high / low) ** _TURN_SPANS
    return ((low / room, high * room),)


FORM_KINDS: Mapping[FormName, FormKind] = MappingProxyType(
    {
        "first order": FormKind(
            formula="y = y∞ + (y0 − y∞)·exp(−k·t)",
            parameters=("rate",),
            units=("1/{}",),
            least_values=4,
            needs_positive=False,
            bend=_first_order,
            search=_rates,
        ),
        "coverage": FormKind(
            formula="y = a + b·(1 − θ), θ = K·D / (1 + K·D)",
            parameters=("strength of adsorption",),
            units=("1/({})",),
            least_values=4,
            needs_positive=False,
            bend=_coverage,
            search=_strengths,
        ),
        "plateau": FormKind(
            formula="y = y0 + s1·(ln D0 − ln D)₊",
            parameters=("critical dose",),
            units=("{}",),
            least_values=5,
            needs_positive=True,
            bend=_plateau,
            search=_kinks,
        ),
        "two lines": FormKind(
            formula="y = y0 + s1·((ln D0 − ln D)₊ + ρ·(ln D − ln D0)₊)",
            parameters=("critical dose", "rise over fall"),
            units=("{}", ""),
            least_values=6,
            needs_positive=True,
            bend=_two_lines,
            search=_kinks_and_rises,
        ),
        "parabola": FormKind(
            formula="y = y0 + q·(ln D − ln Dm)²",
            parameters=("dose at the turn",),
            units=("{}",),
            least_values=4,
            needs_positive=True,
            bend=_parabola,
            search=_turns,
        ),
    }
)

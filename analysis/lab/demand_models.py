"""Models of a dispersant-demand curve: ln viscosity falls with the dose, is flat, and rises again.

Every model is an intercept, a known part, and columns with weights of at least 0 that depend on a
few coordinates which enter nonlinearly. The same form holds a curve tied to a place: one whose
minimum, breakpoint or pick-off dose is given. So one search fits a model and profiles it.

Source:
    Separable least squares: Golub and Pereyra (1973), SIAM J. Numer. Anal. 10, 413-432 (from
    memory). The curves: common practice for demand ladders, and the Langmuir isotherm for the
    share of the surface that is covered.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from doe.study.settings import FloatArray

# How far outside of the doses tried the vertex of a parabola is sought, in spans of ln dose.
VERTEX_SPANS = 3.0
# Slowest and fastest decay: one that looks straight over the ladder, one gone by the first dose.
SLOWEST, FASTEST = 0.05, 20.0
# A dose that is tied must leave room for a curve to fall beyond it, as a part of ln dose.
NUDGE = 1e-6
# Smallest rise past the minimum that is told from none, as a part of the fall at the breakpoint.
LEAST_PART = 1e-6


BoolArray = npt.NDArray[np.bool_]


class Mix(NamedTuple):
    """What m curves are made of at n doses.

    Attributes:
        fixed: The known part, shape (m, n); NaN where the coordinates give no such curve.
        columns: What is weighed, k of shape (m, n).
    """

    fixed: FloatArray
    columns: tuple[FloatArray, ...]


Build = Callable[[FloatArray, FloatArray], Mix]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chart:
    """A family of curves over its coordinates.

    Attributes:
        bounds: Lowest and highest value of each coordinate.
        build: From coordinates, shape (m, c), and doses, shape (n,), to the mix of m curves.
    """

    bounds: tuple[tuple[float, float], ...]
    build: Build


class Span(NamedTuple):
    """Lowest and highest dose tried."""

    low: float
    high: float

    @property
    def logs(self) -> tuple[float, float]:
        """Their natural logarithms."""
        return float(np.log(self.low)), float(np.log(self.high))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DemandModel:
    """One model of the curve.

    Attributes:
        name: As the user asks for it.
        formula: As it is printed; y is ln viscosity, D the dose.
        letters: Its parameters, in the order of `parameters`.
        least_doses: Fewest different doses that it is fitted to.
        fit: All its curves.
        at_pick: Its curves whose lowest dose within `margin` (in ln) of the minimum is given.
        at_minimum: Its curves with a given minimum; empty where it has none.
        at_break: Its curves with a given breakpoint; empty where it has none.
        parameters: From coordinates, intercept and weights of `fit` to the printed parameters.
    """

    name: str
    formula: str
    letters: tuple[str, ...]
    least_doses: int
    fit: Callable[[Span], Chart]
    at_pick: Callable[[float, float, Span], tuple[Chart, ...]]
    at_minimum: Callable[[float, Span], tuple[Chart, ...]]
    at_break: Callable[[float, Span], tuple[Chart, ...]]
    parameters: Callable[[FloatArray, float, FloatArray], tuple[float, ...]]

    @property
    def n_parameters(self) -> int:
        """How many parameters are fitted, the residual scatter left out."""
        return len(self.letters)


def _none(_place: float, _span: Span) -> tuple[Chart, ...]:
    return ()


def _above(x: FloatArray, at: FloatArray | float) -> FloatArray:
    return np.maximum(x - at, 0.0)


def _below(x: FloatArray, at: FloatArray | float) -> FloatArray:
    return np.maximum(at - x, 0.0)


def _weighed(*columns: FloatArray) -> Mix:
    return Mix(np.zeros_like(columns[0]), columns)


def _where(is_curve: BoolArray, values: FloatArray) -> FloatArray:
    """Keep a known part where there is such a curve; shapes (m, 1) and (m, n)."""
    return np.where(is_curve, values, np.nan)


def _column(u: FloatArray, place: int) -> FloatArray:
    """Give one coordinate as a column, shape (m, 1)."""
    return u[:, place : place + 1]


# Fall and rise: y = a + b·exp(-c·D) + d·max(0, D - D0). Its minimum is the breakpoint where the
# rise outweighs the fall there, d >= b·c·exp(-c·D0), and else where b·c·exp(-c·D) = d.


def _decays(span: Span) -> tuple[float, float]:
    return float(np.log(SLOWEST / span.high)), float(np.log(FASTEST / span.low))


def _fall_and_rise(span: Span) -> Chart:
    def build(u: FloatArray, doses: FloatArray) -> Mix:
        c, d0 = np.exp(_column(u, 0)), np.exp(_column(u, 1))
        return _weighed(np.exp(-c * doses), _above(doses, d0))

    return Chart(bounds=(_decays(span), span.logs), build=build)


def _fall_and_rise_picks(pick: float, margin: float, span: Span) -> tuple[Chart, ...]:
    """Tie b by b·(s(pick) - s(minimum)) = margin, s the curve over b."""

    def kinked(u: FloatArray, doses: FloatArray) -> Mix:
        c, d0 = np.exp(_column(u, 0)), np.exp(_column(u, 1))
        drop = np.exp(-c * pick) - np.exp(-c * d0)
        rise = _above(doses, d0)
        shape = np.exp(-c * doses) + c * np.exp(-c * d0) * rise
        return Mix(_where(drop > 0, margin / np.where(drop > 0, drop, 1.0) * shape), (rise,))

    def smooth(u: FloatArray, doses: FloatArray) -> Mix:
        c, d0, part = np.exp(_column(u, 0)), np.exp(_column(u, 1)), _column(u, 2)
        slope = part * c * np.exp(-c * d0)
        lowest = np.minimum(span.high, d0 - np.log(part) / c)

        def shape(at: FloatArray | float) -> FloatArray:
            return np.asarray(np.exp(-c * at) + slope * _above(np.asarray(at), d0))

        drop = shape(pick) - shape(lowest)
        is_curve = (lowest > pick) & (drop > 0)
        return Mix(_where(is_curve, margin / np.where(is_curve, drop, 1.0) * shape(doses)), ())

    decays, logs = _decays(span), span.logs
    beyond = (min(float(np.log(pick)) + NUDGE, logs[1]), logs[1])
    return (
        Chart(bounds=(decays, beyond), build=kinked),
        Chart(bounds=(decays, logs, (LEAST_PART, 1.0)), build=smooth),
    )


def _fall_and_rise_minima(lowest: float, span: Span) -> tuple[Chart, ...]:
    def kinked(u: FloatArray, doses: FloatArray) -> Mix:
        c = np.exp(_column(u, 0))
        rise = _above(doses, lowest) * np.ones_like(c)
        return _weighed(np.exp(-c * doses) + c * np.exp(-c * lowest) * rise, rise)

    def smooth(u: FloatArray, doses: FloatArray) -> Mix:
        c, d0 = np.exp(_column(u, 0)), np.exp(_column(u, 1))
        return _weighed(np.exp(-c * doses) + c * np.exp(-c * lowest) * _above(doses, d0))

    decays = _decays(span)
    return (
        Chart(bounds=(decays,), build=kinked),
        Chart(bounds=(decays, (span.logs[0], float(np.log(lowest)))), build=smooth),
    )


def _fall_and_rise_breaks(at: float, span: Span) -> tuple[Chart, ...]:
    def build(u: FloatArray, doses: FloatArray) -> Mix:
        c = np.exp(_column(u, 0))
        return _weighed(np.exp(-c * doses), _above(doses, at) * np.ones_like(c))

    return (Chart(bounds=(_decays(span),), build=build),)


# Two lines in ln D that meet at D0, which is the minimum: y = y0 + s1·(ln D0 - ln D)+ +
# s2·(ln D - ln D0)+.


def _two_lines(span: Span) -> Chart:
    def build(u: FloatArray, doses: FloatArray) -> Mix:
        return _weighed(_below(np.log(doses), u), _above(np.log(doses), u))

    return Chart(bounds=(span.logs,), build=build)


def _two_lines_picks(pick: float, margin: float, span: Span) -> tuple[Chart, ...]:
    at = float(np.log(pick))

    def build(u: FloatArray, doses: FloatArray) -> Mix:
        x, is_curve = np.log(doses), u > at
        slope = margin / np.where(is_curve, u - at, 1.0)
        return Mix(_where(is_curve, slope * _below(x, u)), (_above(x, u),))

    top = span.logs[1]
    return (Chart(bounds=((min(at + NUDGE, top), top),), build=build),)


def _two_lines_places(place: float, _span: Span) -> tuple[Chart, ...]:
    def build(u: FloatArray, doses: FloatArray) -> Mix:
        x = np.log(doses) * np.ones((len(u), 1))
        return _weighed(_below(x, float(np.log(place))), _above(x, float(np.log(place))))

    return (Chart(bounds=(), build=build),)


# A parabola in ln D with its vertex at the optimum: y = y0 + q·(ln D - ln Dm)². The same curve as
# y = β0 + β1·ln D + β2·(ln D)², with Dm = exp(-β1 / (2·β2)).


def _vertices(span: Span) -> tuple[float, float]:
    low, high = span.logs
    room = VERTEX_SPANS * (high - low)
    return low - room, high + room


def _parabola(span: Span) -> Chart:
    def build(u: FloatArray, doses: FloatArray) -> Mix:
        return _weighed((np.log(doses) - u) ** 2)

    return Chart(bounds=(_vertices(span),), build=build)


def _parabola_picks(pick: float, margin: float, span: Span) -> tuple[Chart, ...]:
    at, top = float(np.log(pick)), span.logs[1]

    def build(u: FloatArray, doses: FloatArray) -> Mix:
        drop = (at - u) ** 2 - (np.minimum(u, top) - u) ** 2
        is_curve = (u > at) & (drop > 0)
        height = margin / np.where(is_curve, drop, 1.0)
        return Mix(_where(is_curve, height * (np.log(doses) - u) ** 2), ())

    return (Chart(bounds=((at + NUDGE, _vertices(span)[1]),), build=build),)


def _parabola_minima(lowest: float, _span: Span) -> tuple[Chart, ...]:
    def build(u: FloatArray, doses: FloatArray) -> Mix:
        return _weighed((np.log(doses) - np.log(lowest)) ** 2 * np.ones((len(u), 1)))

    return (Chart(bounds=(), build=build),)


# The surface left bare, 1 - θ = 1 / (1 + K·D) by Langmuir: y = a + b·(1 - θ). It only falls.


def _bare_surface(span: Span) -> Chart:
    def build(u: FloatArray, doses: FloatArray) -> Mix:
        return _weighed(1 / (1 + np.exp(u) * doses))

    return Chart(bounds=(_decays(span),), build=build)


def _bare_surface_picks(pick: float, margin: float, span: Span) -> tuple[Chart, ...]:
    def build(u: FloatArray, doses: FloatArray) -> Mix:
        k = np.exp(u)
        drop = 1 / (1 + k * pick) - 1 / (1 + k * span.high)
        is_curve = drop > 0
        height = margin / np.where(is_curve, drop, 1.0)
        return Mix(_where(is_curve, height / (1 + k * doses)), ())

    return (Chart(bounds=(_decays(span),), build=build),)


# Fewest doses of the first and third: common practice; of the others: two more than what bends.
MODELS = (
    DemandModel(
        name="fall and rise",
        formula="y = a + b·exp(−c·D) + d·max(0, D − D0)",
        letters=("a", "b", "c", "d", "D0"),
        least_doses=7,
        fit=_fall_and_rise,
        at_pick=_fall_and_rise_picks,
        at_minimum=_fall_and_rise_minima,
        at_break=_fall_and_rise_breaks,
        parameters=lambda u, a, w: (
            a, float(w[0]), float(np.exp(u[0])), float(w[1]), float(np.exp(u[1])),
        ),
    ),
    DemandModel(
        name="two lines",
        formula="y = y0 + s1·(ln D0 − ln D)₊ + s2·(ln D − ln D0)₊",
        letters=("y0", "s1", "s2", "D0"),
        least_doses=6,
        fit=_two_lines,
        at_pick=_two_lines_picks,
        at_minimum=_two_lines_places,
        at_break=_two_lines_places,
        parameters=lambda u, a, w: (a, float(w[0]), float(w[1]), float(np.exp(u[0]))),
    ),
    DemandModel(
        name="parabola",
        formula="y = y0 + q·(ln D − ln Dm)²",
        letters=("y0", "q", "Dm"),
        least_doses=4,
        fit=_parabola,
        at_pick=_parabola_picks,
        at_minimum=_parabola_minima,
        at_break=_none,
        parameters=lambda u, a, w: (a, float(w[0]), float(np.exp(u[0]))),
    ),
    DemandModel(
        name="coverage",
        formula="y = a + b·(1 − θ), θ = K·D / (1 + K·D)",
        letters=("a", "b", "K"),
        least_doses=5,
        fit=_bare_surface,
        at_pick=_bare_surface_picks,
        at_minimum=_none,
        at_break=_none,
        parameters=lambda u, a, w: (a, float(w[0]), float(np.exp(u[0]))),
    ),
)  # fmt: skip

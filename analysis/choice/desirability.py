"""Desirability: how far one response, and all of them together, are where the team wants them.

Source:
    Derringer, G. and Suich, R. (1980), Simultaneous Optimization of Several Response Variables,
    Journal of Quality Technology 12(4), 214-219, equations 1-3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doe.errors import OptimumError
from doe.methods.kinds import kind_of
from doe.study.brief import Response, Study, View
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """What is wanted of one response.

    Attributes:
        response: Name of the response.
        importance: Weight in the overall desirability, positive.
        shape: Exponent of the ramp.
        ramps: One straight line (a, c) a side, `a + c y`: 0 at worst, 1 at best, y in the
            response's unit. A target has two; the lower of them counts.
    """

    response: str
    importance: float
    shape: float
    ramps: tuple[tuple[float, float], ...]

    @property
    def ramp_length(self) -> float:
        """From worst to best, response unit; of two sides the shorter."""
        return 1.0 / max(abs(c) for _, c in self.ramps)


def aims_of(study: Study, view: str = "") -> tuple[Aim, ...]:
    """Gather the aims of a brief, with the importances of one role where `view` names it.

    Args:
        study: The brief.
        view: Role of a `[[view]]`; empty for the brief's own importances.

    Returns:
        One aim for each response that has one and counts, in the brief's order.

    Raises:
        OptimumError: No response has an aim, an aim lacks its ends, or no view has that role.
    """
    importances = {} if not view else _view(study, view).importance
    aims = [
        _aim(response, importances.get(response.name, response.importance))
        for response in study.responses
        if response.aim is not None
    ]
    kept = tuple(aim for aim in aims if aim.importance > 0.0)
    if not kept:
        raise OptimumError(
            "no response has an aim, so no recipe is better than another",
            where="study.toml, response",
            allowed='aim = "low", "high" or "target", with best and worst',
            do="Give an aim to each response that the team cares for.",
        )
    return kept


def height(aim: Aim, value: FloatArray) -> FloatArray:
    """Measure how far up its ramp a response is: 0 at worst, 1 at best, not cut at either.

    Args:
        aim: What is wanted.
        value: Any shape, response unit; NaN, a value that cannot be told, counts as −∞.

    Returns:
        Same shape. Below 0 and above 1 where the value lies beyond worst or best; a target
        never exceeds 1.
    """
    sides = [a + c * value for a, c in aim.ramps]
    lowest: FloatArray = np.minimum.reduce(sides)
    return np.where(np.isnan(lowest), -np.inf, lowest)


def desirability(aim: Aim, value: FloatArray) -> FloatArray:
    """Turn values of a response into desirabilities.

    Args:
        aim: What is wanted.
        value: Any shape, response unit.

    Returns:
        Same shape, 0 at worst and beyond, 1 at best and beyond.

    Source:
        Derringer and Suich (1980), equations 1 and 2.

    Example:
        >>> aim = Aim(response="viscosity", importance=1, shape=1, ramps=((1.5, -0.0005),))
        >>> desirability(aim, np.array([1000.0, 2000.0, 3000.0]))
        array([1. , 0.5, 0. ])
    """
    return np.clip(height(aim, value), 0.0, 1.0) ** aim.shape


def overall_desirability(each: FloatArray, importance: Sequence[float] | FloatArray) -> FloatArray:
    """Join desirabilities by their importance-weighted geometric mean.

    Args:
        each: Shape (..., m), desirability of each of the m responses, 0..1.
        importance: Shape (m,), positive.

    Returns:
        Shape (...), 0 as soon as one is 0.

    Source:
        Derringer and Suich (1980), equation 3; weights as in Derringer (1994), A Balancing Act,
        Quality Progress 27(6), 51-58.

    Example:
        >>> overall_desirability(np.array([[0.25, 1.0], [0.0, 1.0]]), [1.0, 1.0])
        array([0.5, 0. ])
    """
    weights = np.asarray(importance, dtype=np.float64)
    weights = weights / weights.sum()
    with np.errstate(divide="ignore"):
        joint: FloatArray = np.exp(np.log(each) @ weights)
    return joint


def _view(study: Study, role: str) -> View:
    for view in study.views:
        if view.role.casefold() == role.strip().casefold():
            return view
    roles = ", ".join(f"'{view.role}'" for view in study.views)
    raise OptimumError(
        f"no view is written for the role '{role}'",
        where="--view",
        allowed=roles or "no view: the brief has none",
        do="Name one of these, or add a [[view]] to study.toml.",
    )


def _aim(response: Response, importance: float) -> Aim:
    if kind_of(response) == "rating":
        # Its value is the probability of the accepted classes: that is its desirability.
        return Aim(
            response=response.name, importance=importance, shape=response.shape, ramps=((0.0, 1.0),)
        )
    ends = _ends(response)
    if any(best == worst for best, worst in ends) or not ends:
        raise OptimumError(
            f"the aim of '{response.name}' cannot be measured: its ends are missing or equal",
            where=f"study.toml, response '{response.name}'",
            allowed="best and worst; for a target best, worst_low and worst_high",
            do="State where the response is as good as it need be and where it is useless.",
        )
    ramps = tuple((-worst / (best - worst), 1.0 / (best - worst)) for best, worst in ends)
    return Aim(response=response.name, importance=importance, shape=response.shape, ramps=ramps)


def _ends(response: Response) -> tuple[tuple[float, float], ...]:
    """Pair best with each worst; none where one is missing or lies on the wrong side."""
    if response.best is None:
        return ()
    sides: tuple[tuple[float | None, float], ...]
    if response.aim == "target":
        sides = ((response.worst_low, 1.0), (response.worst_high, -1.0))
    else:
        sides = ((response.worst, 1.0 if response.aim == "high" else -1.0),)
    pairs = tuple((response.best, w) for w, sign in sides if w is not None)
    rising = all((response.best - w) * sign > 0 for w, sign in sides if w is not None)
    return pairs if rising and len(pairs) == len(sides) else ()

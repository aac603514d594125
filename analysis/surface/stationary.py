"""The stationary point of a second-order surface and its canonical form."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.fits.fit import Fit
from doe.errors import FitError
from doe.model.coding import ChoiceAxis, NumericAxis, decode
from doe.study.settings import FloatArray, frozen_array

# A curvature below this part of the largest is a ridge: the point along it means nothing.
RIDGE = 1e-8

Kind = Literal["maximum", "minimum", "saddle", "ridge"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StationaryPoint:
    """Where a second-order surface has no slope, and how it bends there; fitted scale.

    Attributes:
        names: The k factors.
        at: Shape (k,), lab units; NaN on a ridge.
        at_coded: Shape (k,), coded; may lie far outside the ranges.
        curvatures: Shape (k,), eigenvalues, largest first, per squared coded unit.
        directions: Shape (k, k), a column for each curvature, coded.
        kind: maximum, minimum, saddle or ridge.
        inside: Whether it lies inside every range.
    """

    names: tuple[str, ...]
    at: FloatArray
    at_coded: FloatArray
    curvatures: FloatArray
    directions: FloatArray
    kind: Kind
    inside: bool

    def __post_init__(self) -> None:
        for name in ("at", "at_coded", "curvatures", "directions"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def stationary_point(fit: Fit) -> StationaryPoint:
    """Find where a second-order model in numeric factors has no slope.

    Args:
        fit: A model in numeric factors with one range each, terms of order two or less.

    Raises:
        FitError: The model holds shares, named choices or third-order terms.

    Source:
        Box and Draper (2007), Response Surfaces, Mixtures, and Ridge Analyses, 2nd ed., chapters
        10 and 11: y = b0 + b'x + x'Bx has no slope at x = −B⁻¹b/2.
    """
    b, B = _slopes_and_bends(fit)
    curvatures, directions = np.linalg.eigh(B)
    order = np.argsort(-curvatures)
    curvatures, directions = curvatures[order], directions[:, order]
    flat = np.abs(curvatures).min() <= RIDGE * max(np.abs(curvatures).max(), RIDGE)
    coded: FloatArray = np.full(len(b), np.nan)
    if not flat:
        coded = np.asarray(np.linalg.solve(B, -b / 2.0), dtype=np.float64)
    kind: Kind = "saddle"
    if flat:
        kind = "ridge"
    elif np.all(curvatures < 0.0):
        kind = "maximum"
    elif np.all(curvatures > 0.0):
        kind = "minimum"
    return StationaryPoint(
        names=fit.coding.names,
        at=decode(coded[None, :], fit.coding)[0],
        at_coded=coded,
        curvatures=curvatures,
        directions=directions,
        kind=kind,
        inside=bool(np.all(np.abs(coded) <= 1.0)),
    )


def _slopes_and_bends(fit: Fit) -> tuple[FloatArray, FloatArray]:
    """Read b (k,) and symmetric B (k, k) off the coefficients: squares on its diagonal."""
    k = len(fit.coding.axes)
    simple = all(isinstance(axis, NumericAxis) and not axis.ranges for axis in fit.coding.axes)
    if not simple or any(isinstance(axis, ChoiceAxis) for axis in fit.coding.axes):
        raise FitError(
            "a stationary point is told only of numeric factors with one range each",
            where=f"response '{fit.response}'",
            allowed="a model without shares and named choices",
            do="Read the effects along each setting instead.",
        )
    b, B = np.zeros(k), np.zeros((k, k))
    for column, value in zip(fit.columns, fit.coefficients, strict=True):
        places = [
            fit.coding.index(name) for name, power in column.term.powers for _ in range(power)
        ]
        if len(places) == 1:
            b[places[0]] += value
        elif len(places) == 2:
            i, j = places
            B[i, j] += value / 2.0
            B[j, i] += value / 2.0
        elif len(places) > 2:
            raise FitError(
                "a stationary point is told only of second-order models",
                where=f"response '{fit.response}'",
                allowed="linear, interactions or quadratic",
            )
    return b, B

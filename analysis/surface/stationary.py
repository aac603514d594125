"""The stationary point of a second-order surface and its canonical form."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.fits.fit import Fit
from analysis.surface.second_order import SecondOrder, second_order
from doe.errors import FitError
from doe.model.coding import NumericAxis, decode
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
    """
    axes = fit.coding.axes
    if not all(isinstance(axis, NumericAxis) and not axis.ranges for axis in axes):
        raise FitError(
            "a stationary point is told only of numeric factors with one range each",
            where=f"response '{fit.response}'",
            allowed="a model without shares and named choices",
            do="Read the effects along each setting instead.",
        )
    middle = decode(np.zeros((1, len(axes))), fit.coding)[0]
    return stationary_of(second_order(fit, middle))


def stationary_of(form: SecondOrder) -> StationaryPoint:
    """Find where a surface has no slope along the factors that move.

    Source:
        Box and Draper (2007), Response Surfaces, Mixtures, and Ridge Analyses, 2nd ed., chapters
        10 and 11: y = b0 + b'x + x'Bx has no slope at x = −B⁻¹b/2.
    """
    b, B = form.middle_slopes, form.curvature
    curvatures, directions = np.linalg.eigh(B)
    order = np.argsort(-curvatures)
    curvatures, directions = curvatures[order], directions[:, order]
    flat = not len(b) or (np.abs(curvatures).min() <= RIDGE * max(np.abs(curvatures).max(), RIDGE))
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
        names=form.names,
        at=form.settings(coded[None, :])[0][list(form.columns)],
        at_coded=coded,
        curvatures=curvatures,
        directions=directions,
        kind=kind,
        inside=bool(np.all(np.abs(coded) <= 1.0)),
    )

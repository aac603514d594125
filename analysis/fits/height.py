"""How high the likelihood of variance ratios is at one place, and how it slopes there.

Source:
    Searle, Casella and McCulloch (1992), Variance Components, sections 6.6 and 6.7.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

from doe.study.settings import FloatArray

Likelihood = Literal["reml", "ml"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Height:
    """The likelihood at some ratios and what its slope needs; r random strata.

    Attributes:
        value: Log-likelihood up to a constant, σ² at its best.
        quad: y'Py at unit residual variance: (n − p) σ² for REML.
        gradient: Along the ratios, shape (r,).
        curvature: Second derivatives along the ratios, shape (r, r).
        expected: What the information is on average in place of −curvature, shape (r, r).
    """

    value: float
    quad: float
    gradient: FloatArray
    curvature: FloatArray
    expected: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steepness:
    """The restricted likelihood of some variances, its slope and its expected information."""

    value: float
    score: FloatArray
    known: FloatArray


class Parts(NamedTuple):
    """What a height is made of: ln |·|, y'Py, and per stratum what their derivatives sum up."""

    det: float
    quad: float
    traces: FloatArray
    crossed: FloatArray
    own: FloatArray
    pulled: FloatArray


def height_of(m: int, parts: Parts) -> Height:
    """Put a height together; m rows, less the coefficients where the likelihood is restricted."""
    # l = −½ ln|·| − ½ m ln quad; ∂ln|·| = tr T_kk, ∂quad = −|v_k|², ∂²quad = 2 v_k'T_kl v_l.
    det, quad, traces, crossed, own, pulled = parts
    rises = own / quad
    return Height(
        value=-0.5 * det - 0.5 * m * math.log(quad / m),
        quad=quad,
        gradient=-0.5 * traces + 0.5 * m * rises,
        curvature=0.5 * crossed - (m / quad) * pulled + 0.5 * m * rises[:, None] * rises,
        expected=0.5 * crossed - (0.5 / m) * traces[:, None] * traces,
    )

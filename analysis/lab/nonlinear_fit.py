"""Nonlinear least squares of a few parameters: the point, its covariance, its sum of squares."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from doe.study.settings import FloatArray

# Residuals and their slopes by parameter, shapes (n,) and (n, p), at a parameter vector (p,).
Residuals = Callable[[FloatArray], FloatArray]
Slopes = Callable[[FloatArray], FloatArray]

# Steps and gains below a few units of rounding end the search; a certified optimum is reached to
# nine digits and more.
_TIGHT = 1e-15
# Gauss-Newton steps that polish what the search leaves, and how much rounding may seem to lose.
_POLISH = 20
_FLAT = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Optimum:
    """The least sum of squares near a start.

    Attributes:
        parameters: Shape (p,).
        covariance: Of the parameters, s² (J'J)⁻¹, shape (p, p); NaN without degrees of freedom or
            where the data do not tell the parameters apart.
        sum_of_squares: Of the residuals.
        df: Degrees of freedom, n − p.
    """

    parameters: FloatArray
    covariance: FloatArray
    sum_of_squares: float
    df: int

    @property
    def standard_errors(self) -> FloatArray:
        """Standard errors of the parameters, shape (p,)."""
        errors: FloatArray = np.sqrt(np.diag(self.covariance))
        return errors


def minimise_squares(
    residuals: Residuals, slopes: Slopes, start: FloatArray, *, lower: FloatArray, upper: FloatArray
) -> Optimum:
    """Find the least sum of squares near a start, inside bounds.

    Args:
        residuals: The residuals of a parameter vector.
        slopes: Their derivatives.
        start: First parameters, shape (p,), strictly inside the bounds.
        lower: Least parameters, shape (p,).
        upper: Greatest parameters, shape (p,).

    Source:
        Covariance by linear approximation: Bates & Watts (1988), Nonlinear Regression Analysis,
        section 2.3; from memory.
    """
    found = least_squares(
        residuals, start, jac=slopes, bounds=(lower, upper), x_scale="jac",
        ftol=_TIGHT, xtol=_TIGHT, gtol=_TIGHT, max_nfev=300,
    )  # fmt: skip
    x = _polished(residuals, slopes, np.asarray(found.x, dtype=np.float64), lower, upper)
    r = residuals(x)
    df = len(r) - len(x)
    return Optimum(
        parameters=x,
        covariance=_covariance(slopes(x), float(r @ r), df),
        sum_of_squares=float(r @ r),
        df=df,
    )


def _polished(
    residuals: Residuals, slopes: Slopes, x: FloatArray, lower: FloatArray, upper: FloatArray
) -> FloatArray:
    """Step on while steps shrink: the flat sum of squares tells only half of the digits."""
    last = np.inf
    for _ in range(_POLISH):
        r = residuals(x)
        step = np.asarray(np.linalg.lstsq(slopes(x), -r, rcond=None)[0], dtype=np.float64)
        tried = x + step
        # Next to a parameter of 0 a step is endless, and the point stays as the search left it.
        with np.errstate(over="ignore"):
            size = float(np.max(np.abs(step) / (np.abs(x) + np.finfo(np.float64).tiny)))
        if not size < last / 2.0 or np.any(tried <= lower) or np.any(tried >= upper):
            return x
        after = residuals(tried)
        if not float(after @ after) <= float(r @ r) * (1.0 + _FLAT):
            return x
        x, last = tried, size
    return x


def _covariance(J: FloatArray, sum_of_squares: float, df: int) -> FloatArray:
    p = J.shape[1]
    if df < 1 or not np.all(np.isfinite(J)):
        return np.full((p, p), np.nan)
    # Columns are scaled to length 1 first: parameters differ by powers of ten.
    length = np.linalg.norm(J, axis=0)
    if np.any(length == 0.0):
        return np.full((p, p), np.nan)
    _, R = np.linalg.qr(J / length)
    if np.min(np.abs(np.diag(R))) < np.finfo(np.float64).eps * p:
        return np.full((p, p), np.nan)
    inverse = np.linalg.solve(R, np.eye(p))
    covariance: FloatArray = (inverse @ inverse.T) * sum_of_squares / df / np.outer(length, length)
    return covariance

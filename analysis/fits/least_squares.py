"""Least squares by orthogonal factorisation, with the digits it leaves.

Never by normal equations (they square the condition number) and never by a pseudo-inverse (it
drops directions silently, and with them digits).

Source:
    Golub and Van Loan (2013), Matrix Computations, 4th ed., sections 5.3 and 5.5; refinement of
    residuals and coefficients together after Björck (1967), BIT 7, 257-278, equations (4.1).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import linalg

from analysis.fits.compensated import subtract_products
from doe.study.settings import BoolArray, FloatArray, frozen_array

# A direction is missing when its singular value, columns scaled alike, drowns in rounding.
RANK_TOLERANCE = 4.0 * float(np.finfo(np.float64).eps)
# Each pass of refinement gains digits until nothing moves; one or two are the rule, five the end.
_MAX_PASSES = 5
# A step is the part of the one before that the first was of the coefficients, or less: after one as
# short as this, beside them, the next is below the last digit of any.
_LAST_STEP = 1e-13
# Residuals below this part of the largest reading are the rounding of the readings themselves: a
# response that was computed, not measured, or one that never varies.
_EXACT = 16.0 * float(np.finfo(np.float64).eps)


class DependentColumnsError(ValueError):
    """Some columns are sums of others, so that coefficients have no single value.

    Attributes:
        groups: Column numbers that cannot be told apart, one tuple a missing direction.
        rank: How many directions there are.
    """

    def __init__(self, groups: tuple[tuple[int, ...], ...], rank: int) -> None:
        super().__init__(f"rank {rank}, dependent columns {groups}")
        self.groups = groups
        self.rank = rank


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeastSquares:
    """What least squares gives before anyone asks what the columns mean.

    Attributes:
        coefficients: Shape (p,).
        unscaled_covariance: (X'X)⁻¹, shape (p, p); times the residual variance, the covariance.
        residuals: Shape (n,); zero where they are no more than the rounding of the readings.
        leverage: Diagonal of the hat matrix, shape (n,).
        basis: Orthonormal columns that span X, shape (n, p).
        rss: Residual sum of squares.
        df: Residual degrees of freedom, n − p.
        condition: Condition number of X with its columns scaled to equal length.
    """

    coefficients: FloatArray
    unscaled_covariance: FloatArray
    residuals: FloatArray
    leverage: FloatArray
    basis: FloatArray
    rss: float
    df: int
    condition: float

    def __post_init__(self) -> None:
        names = ("coefficients", "unscaled_covariance", "residuals", "leverage", "basis")
        for name in names:
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def residual_variance(self) -> float:
        """Residual mean square; NaN without residual degrees of freedom."""
        return self.rss / self.df if self.df > 0 else float("nan")

    @property
    def covariance(self) -> FloatArray:
        """Covariance of the coefficients, shape (p, p); NaN when saturated."""
        covariance: FloatArray = self.unscaled_covariance * self.residual_variance
        return covariance

    @property
    def digits_left(self) -> float:
        """Decimal digits of the coefficients that the condition number leaves of about 16."""
        return float(-np.log10(np.finfo(np.float64).eps * self.condition))


def of_constant(solved: LeastSquares, X: FloatArray, planned: BoolArray) -> LeastSquares:
    """Give the fit of runs that all read the same: that value, and no effect, to the last digit.

    The columns hold the constant, so that the fit of ones has whole coefficients: 1 for an
    intercept or each share, 0 elsewhere. Controls, which have columns of their own, keep theirs.

    Args:
        solved: Their fit with its rounding errors.
        X: Shape (n, p).
        planned: Shape (n,), runs of the plan, which all read the same.
    """
    ones = np.round(solve_least_squares(X, planned.astype(np.float64)).coefficients, 6)
    value = float((X @ solved.coefficients + solved.residuals)[planned].mean())
    own = np.abs(X[planned]).max(axis=0) == 0.0
    return replace(
        solved,
        coefficients=np.where(own, solved.coefficients, value * ones + 0.0),
        residuals=np.zeros_like(solved.residuals),
        rss=0.0,
    )


def solve_least_squares(X: FloatArray, y: FloatArray, *, refined: bool = True) -> LeastSquares:
    """Fit y by the columns of X.

    Args:
        X: Shape (n, p), n at least p.
        y: Shape (n,).
        refined: Whether to go on to the last digits of these very numbers; needless where X and y
            are products that have been rounded themselves.

    Returns:
        Coefficients and what belongs to them; with n = p there are no degrees of freedom.

    Raises:
        DependentColumnsError: The columns are not independent.

    Example:
        >>> line = np.column_stack([np.ones(3), [1.0, 2.0, 3.0]])
        >>> solve_least_squares(line, np.array([2.0, 4.0, 6.0])).coefficients.round(12) + 0.0
        array([0., 2.])
    """
    n, p = X.shape
    scaled, scale = scale_columns(X)
    Q, R = _factor(scaled)
    singular, dependent = _singular_values(scaled, R)
    if dependent or n < p:
        raise DependentColumnsError(dependent, p - len(dependent))
    R_inverse = inverse_of_triangle(R)
    b, r = _refine(scaled, y, Q, R_inverse, passes=_MAX_PASSES if refined else 0)
    R_inverse = R_inverse / scale[:, None]
    if n == p or np.abs(r).max(initial=0.0) <= _EXACT * np.abs(y).max(initial=0.0):
        r = np.zeros(n)
    return LeastSquares(
        coefficients=b / scale,
        unscaled_covariance=R_inverse @ R_inverse.T,
        residuals=r,
        leverage=np.minimum((Q**2).sum(axis=1), 1.0),
        basis=Q,
        rss=float(r @ r),
        df=n - p,
        condition=float(singular[0] / singular[-1]) if p else 1.0,
    )


def scale_columns(X: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bring columns to about equal length by powers of two, which round nothing.

    Returns:
        The matrix with each column over its factor, shape (n, p), and the factors, shape (p,). A
        coefficient of X is that of the scaled matrix over its factor.
    """
    length = np.linalg.norm(X, axis=0)
    safe = np.where(length > 0, length, 1.0)
    scale = np.asarray(2.0 ** np.round(np.log2(safe)), dtype=np.float64)
    return X / scale, scale


def inverse_of_triangle(R: FloatArray, *, lower: bool = False) -> FloatArray:
    """Invert a triangle without zeros on its diagonal, shape (p, p)."""
    if not len(R):
        return np.zeros((0, 0))
    return np.asarray(linalg.lapack.dtrtri(R, lower=lower)[0], dtype=np.float64)


def root_of(V: FloatArray) -> FloatArray:
    """Give the lower factor L of V = LL', shape (n, n), V well away from singular."""
    if not len(V):
        return np.zeros((0, 0))
    return np.asarray(linalg.lapack.dpotrf(V, lower=True)[0], dtype=np.float64)


def dependent_groups(X: FloatArray) -> tuple[tuple[int, ...], ...]:
    """Name the columns that cannot be told apart, one group for each missing direction.

    A group ends with the column that adds nothing and begins with the earlier ones that it is the
    weighted sum of; earlier columns are the simpler terms, so the later one is the one to drop.

    Example:
        >>> dependent_groups(np.array([[1.0, -1.0, 1.0], [1.0, 1.0, 1.0]]))
        ((0, 2),)
    """
    scaled, _ = scale_columns(X)
    n, p = scaled.shape
    tolerance = max(n, p) * RANK_TOLERANCE * max(1.0, float(np.linalg.norm(scaled, 2)))
    kept: list[int] = []
    groups: list[tuple[int, ...]] = []
    for j in range(p):
        column = scaled[:, j]
        if not kept:
            weights, left = np.zeros(0), column
        else:
            Q, R = _factor(scaled[:, kept])
            weights = linalg.solve_triangular(R, Q.T @ column)
            left = column - Q @ (Q.T @ column)
            left = left - Q @ (Q.T @ left)
        if np.linalg.norm(left) > tolerance:
            kept.append(j)
        else:
            # 1e-6: weights of true aliases are simple fractions; rounding leaves far less.
            members = [kept[i] for i in np.flatnonzero(np.abs(weights) > 1e-6)]
            groups.append((*members, j))
    return tuple(groups)


def _factor(X: FloatArray) -> tuple[FloatArray, FloatArray]:
    Q, R = np.linalg.qr(X)
    return Q, R


def _singular_values(
    scaled: FloatArray, R: FloatArray
) -> tuple[FloatArray, tuple[tuple[int, ...], ...]]:
    """Give those of the columns at equal length, from their triangle, and what is dependent."""
    n, p = scaled.shape
    if p == 0:
        return np.zeros(0), ()
    equal = R / np.maximum(np.linalg.norm(R, axis=0), np.finfo(np.float64).tiny)
    singular: FloatArray = np.linalg.svd(equal, compute_uv=False)
    if n >= p and singular[-1] > max(n, p) * RANK_TOLERANCE * singular[0]:
        return singular, ()
    return singular, dependent_groups(scaled)


def _refine(
    X: FloatArray, y: FloatArray, Q: FloatArray, R_inverse: FloatArray, *, passes: int
) -> tuple[FloatArray, FloatArray]:
    # Björck: [I X; X' 0][r; b] = [y; 0]. Its residuals f = y − r − Xb and g = −X'r are rounded once
    # only; the corrections, which need few digits, come from the factors at hand.
    b = R_inverse @ (Q.T @ y)
    r = y - X @ b
    last = np.inf
    for _ in range(passes):
        f = subtract_products(y, np.column_stack([r, X]), np.r_[1.0, b])
        g = subtract_products(np.zeros_like(b), np.ascontiguousarray(X.T), r)
        u = R_inverse.T @ g
        projected = Q.T @ f
        step = R_inverse @ (projected - u)
        size = float(np.linalg.norm(step))
        if not size < last:
            break
        r = r + Q @ u + (f - Q @ projected)
        b, last = b + step, size
        if size <= _LAST_STEP * float(np.linalg.norm(b)):
            break
    return b, r

"""What the readings say of the variance ratios once the coefficients are out of the way.

V = σ² (I + Σ ρ_k Z_k Z_k'). With M the projection off X, A an orthonormal basis of what MZ spans
and B = A'MZ, everything about ρ lies in C = (I + Σ ρ_k B_k B_k')⁻¹, a matrix of at most as many
rows as there are units. All sums of squares are sums of parts that cannot be negative, so that no
digits are lost where one stratum dwarfs another.

Source:
    Patterson and Thompson (1971), Biometrika 58, 545-554 (restricted likelihood); Searle, Casella
    and McCulloch (1992), Variance Components, sections 6.6 and 6.7, for its derivatives.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy import linalg

from analysis.fits.least_squares import LeastSquares, inverse_of_triangle, root_of
from doe.study.settings import FloatArray, IntArray, frozen_array

Likelihood = Literal["reml", "ml"]
# Units hold whole rows, so that a direction of MZ is of the size of 1 or is rounding.
_NO_DIRECTION = 1e-9
# Relative size below which two components move the likelihood in the same way.
_SAME = 1e-9


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VarianceModel:
    """Sufficient statistics of the ratios.

    Attributes:
        A: The s directions among the rows, shape (n, s).
        B: Shape (s, q), all units side by side.
        e: Residuals along the s directions, shape (s,).
        within: Sum of squares of the residuals beside them.
        inner: Z'Z, shape (q, q), for the plain likelihood.
        member: 1 where a column belongs to a stratum, shape (q, r).
        scales: Mean size of each stratum's part of V where ρ = 1, shape (r,); 0 where there is
            none.
        n: Rows.
        p: Coefficients.
        r: Random strata.
        is_diagonal: Whether B is diagonal, as it is turned to be for a single stratum.
    """

    A: FloatArray
    B: FloatArray
    e: FloatArray
    within: float
    inner: FloatArray
    member: FloatArray
    scales: FloatArray
    n: int
    p: int
    r: int
    is_diagonal: bool = False

    def __post_init__(self) -> None:
        for name in ("A", "B", "e", "inner", "member", "scales"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def of_residuals(self, residuals: FloatArray) -> VarianceModel:
        """Take other readings of the same rows, by their residuals beside X, shape (n,)."""
        e = self.A.T @ residuals
        beside = residuals - self.A @ e
        return replace(self, e=e, within=float(beside @ beside))

    def untold(self) -> tuple[int, ...]:
        """Name strata whose variance these rows cannot tell; r stands for the residual.

        Where two components move the likelihood alike, all that are tied so are named.
        """
        known = self._information(np.eye(len(self.e)))
        size = np.sqrt(np.diag(known))
        empty = [k for k in range(self.r) if size[k] <= _NO_DIRECTION * size[-1] or size[-1] <= 0]
        told = [k for k in range(self.r + 1) if k not in empty]
        if not told or self.n <= self.p:
            return tuple(range(self.r + 1))
        values, vectors = np.linalg.eigh(known[told][:, told] / np.outer(size[told], size[told]))
        tied = np.abs(vectors[:, values < _SAME]).max(axis=1, initial=0.0) > np.sqrt(_SAME)
        return tuple(sorted({*empty, *(k for k, t in zip(told, tied, strict=True) if t)}))

    def height(self, ratios: FloatArray, likelihood: Likelihood = "reml") -> Height:
        """Give the profile likelihood and its derivatives at some ratios, all 0 or more."""
        if self.is_diagonal:
            return self._height_alone(float(ratios[0]), likelihood)
        half, log_det = self._half_inverse(ratios)
        pulled_in, left = half @ self.B, half @ self.e
        T, v = pulled_in.T @ pulled_in, pulled_in.T @ left
        quad = self.within + float(left @ left)
        det, traces, crossed = log_det, self._sums(np.diag(T)), self._blocks(T**2)
        m = self.n - self.p
        if likelihood == "ml":
            det, inner = self._inner_inverse(ratios)
            traces, crossed, m = self._sums(np.diag(inner)), self._blocks(inner**2), self.n
        own = self._sums(v**2)
        pulled = self._blocks(v[:, None] * T * v)
        return _height(m, det, quad, traces, crossed, own, pulled)

    def values(self, ratios: FloatArray, likelihood: Likelihood = "reml") -> FloatArray:
        """Give the value of the height at many places at once, shape (g, r) to shape (g,).

        To some digits fewer than `height`: to see where it is high, not to end there.
        """
        of_columns, s = ratios @ self.member.T, len(self.e)
        # With M = I + BρB' bordered by e and by c, the last pivot is c − e'M⁻¹e.
        border = 2 * float(self.e @ self.e) + self.within
        bordered = np.empty((len(ratios), s + 1, s + 1))
        bordered[:, :s, :s] = np.eye(s) + (self.B * of_columns[:, None, :]) @ self.B.T
        bordered[:, :s, s] = bordered[:, s, :s] = self.e
        bordered[:, s, s] = border
        roots = np.linalg.cholesky(bordered).diagonal(axis1=1, axis2=2)
        quad, roots, m = self.within + border - roots[:, s] ** 2, roots[:, :s], self.n - self.p
        if likelihood == "ml":
            half, m = np.sqrt(of_columns), self.n
            whole = np.eye(len(self.inner)) + half[:, :, None] * self.inner * half[:, None, :]
            roots = np.linalg.cholesky(whole).diagonal(axis1=1, axis2=2)
        return np.asarray(-np.log(roots).sum(axis=1) - 0.5 * m * np.log(quad / m))

    def slopes_alone(self, ratios: FloatArray, likelihood: Likelihood) -> FloatArray:
        """Give the slope along ln ρ of a single stratum at many ratios, shape of `ratios`."""
        d = np.diag(self.B) ** 2
        c = 1 / (1 + np.multiply.outer(ratios, d))
        quad = self.within + c @ self.e**2
        own = (c**2) @ (self.e**2 * d)
        sizes, m = (d, self.n - self.p) if likelihood == "reml" else (np.diag(self.inner), self.n)
        told = (sizes / (1 + np.multiply.outer(ratios, sizes))).sum(axis=-1)
        return np.asarray(ratios * (-0.5 * told + 0.5 * m * own / quad))

    def at_variances(self, variances: FloatArray) -> Steepness:
        """Give the restricted likelihood of all r + 1 variances, residual last and above 0."""
        residual = float(variances[-1])
        ratios = variances[:-1] / residual
        half, log_det = self._half_inverse(ratios)
        C = half.T @ half
        Ce = C @ self.e
        v = self.B.T @ Ce
        quad = self.within + float(self.e @ Ce)
        m = self.n - self.p
        squares = np.append(self._sums(v**2), self.within + float(Ce @ Ce))
        rest = m - len(self.e) + float(np.trace(C))
        traces = np.append(self._sums((self.B * (C @ self.B)).sum(axis=0)), rest)
        return Steepness(
            value=-0.5 * (log_det + m * float(np.log(residual)) + quad / residual),
            score=-0.5 * (traces / residual - squares / residual**2),
            known=0.5 * self.information(ratios) / residual**2,
        )

    def information(self, ratios: FloatArray) -> FloatArray:
        """Give tr PG_kPG_l at unit residual variance, shape (r + 1, r + 1); residual last."""
        half, _ = self._half_inverse(ratios)
        return self._information(half.T @ half)

    def _information(self, C: FloatArray) -> FloatArray:
        CB = C @ self.B
        known = np.zeros((self.r + 1, self.r + 1))
        known[:-1, :-1] = self._blocks((self.B.T @ CB) ** 2)
        known[:-1, -1] = known[-1, :-1] = self._sums((CB**2).sum(axis=0))
        known[-1, -1] = self.n - self.p - len(self.e) + float((C**2).sum())
        return known

    def _height_alone(self, ratio: float, likelihood: Likelihood) -> Height:
        d = np.diag(self.B) ** 2
        c = 1 / (1 + ratio * d)
        quad = self.within + float((self.e**2 * c).sum())
        sizes, m = (d, self.n - self.p) if likelihood == "reml" else (np.diag(self.inner), self.n)
        told = sizes / (1 + ratio * sizes)
        own = float((self.e**2 * d * c**2).sum())
        pulled = float((self.e**2 * d**2 * c**3).sum())
        return _height(
            m,
            float(np.log1p(ratio * sizes).sum()),
            quad,
            np.array([told.sum()]),
            np.array([[(told**2).sum()]]),
            np.array([own]),
            np.array([[pulled]]),
        )

    def _half_inverse(self, ratios: FloatArray) -> tuple[FloatArray, float]:
        """Give the inverse of the lower factor of C⁻¹ = I + BρB', and ln |C⁻¹|."""
        if self.is_diagonal:
            sizes = 1 + ratios[0] * np.diag(self.B) ** 2
            return np.diag(sizes**-0.5), float(np.log(sizes).sum())
        # Eigenvalues of C⁻¹ are 1 or more, so that its inverse is as good as its entries.
        inside = np.eye(len(self.e)) + (self.B * (self.member @ ratios)) @ self.B.T
        factor = root_of(inside)
        return inverse_of_triangle(factor, lower=True), 2 * float(np.log(np.diag(factor)).sum())

    def _inner_inverse(self, ratios: FloatArray) -> tuple[float, FloatArray]:
        """Give ln |V| and Z'V⁻¹Z at unit residual variance."""
        half = np.sqrt(self.member @ ratios)
        inside = np.eye(len(half)) + half[:, None] * self.inner * half
        factor = linalg.cholesky(inside, lower=True)
        pulled = linalg.solve_triangular(factor, half[:, None] * self.inner, lower=True)
        return 2 * float(np.log(np.diag(factor)).sum()), self.inner - pulled.T @ pulled

    def _sums(self, of_units: FloatArray) -> FloatArray:
        return np.asarray(of_units @ self.member)

    def _blocks(self, of_pairs: FloatArray) -> FloatArray:
        return np.asarray(self.member.T @ of_pairs @ self.member)


def variance_model(solved: LeastSquares, units: Sequence[IntArray]) -> VarianceModel:
    """Gather what the rows tell of the ratios.

    Args:
        solved: Plain least squares of the rows, for its orthonormal columns and residuals.
        units: Unit of each row, shape (n,), one entry a random stratum.
    """
    n, p = solved.basis.shape
    members = [members_of(unit) for unit in units]
    Z = np.hstack(members) if members else np.zeros((n, 0))
    of_stratum = np.repeat(np.arange(len(members)), [z.shape[1] for z in members])
    MZ = Z - solved.basis @ (solved.basis.T @ Z)
    A, size, across = np.linalg.svd(MZ, full_matrices=False)
    rank = int((size > _NO_DIRECTION * np.sqrt(n)).sum())
    A, size, B = A[:, :rank], size[:rank], size[:rank, None] * across[:rank]
    alone = len(members) == 1
    if alone:
        # Z'MZ turned to its own axes: any other turn of the units tells the same.
        B, of_stratum = np.diag(size), np.zeros(rank, dtype=np.int64)
    member = (of_stratum[:, None] == np.arange(len(members))).astype(np.float64)
    squares = (B**2).sum(axis=0)
    counts = (squares > _NO_DIRECTION**2) @ member
    nothing = VarianceModel(
        A=A,
        B=B,
        e=np.zeros(len(B)),
        within=0.0,
        inner=np.diag(Z.sum(axis=0)) if alone else Z.T @ Z,
        member=member,
        scales=(squares @ member) / np.maximum(counts, 1.0),
        n=n,
        p=p,
        r=len(members),
        is_diagonal=alone,
    )
    return nothing.of_residuals(solved.residuals)


def members_of(unit: IntArray) -> FloatArray:
    """Give Z of a stratum: one 0/1 column a unit, shape (n, units)."""
    return np.asarray(unit[:, None] == np.unique(unit)[None, :], dtype=np.float64)


def _height(
    m: int,
    det: float,
    quad: float,
    traces: FloatArray,
    crossed: FloatArray,
    own: FloatArray,
    pulled: FloatArray,
) -> Height:
    # l = −½ ln|·| − ½ m ln quad; ∂ln|·| = tr T_kk, ∂quad = −|v_k|², ∂²quad = 2 v_k'T_kl v_l.
    outer = own[:, None] * own / quad**2
    return Height(
        value=-0.5 * det - 0.5 * m * float(np.log(quad / m)),
        quad=quad,
        gradient=-0.5 * traces + 0.5 * m * own / quad,
        curvature=0.5 * crossed - m * pulled / quad + 0.5 * m * outer,
        expected=0.5 * crossed - 0.5 * traces[:, None] * traces / m,
    )

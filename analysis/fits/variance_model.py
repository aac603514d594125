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

from analysis.fits.least_squares import LeastSquares
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
        stratum: Which stratum each of the q columns belongs to, shape (q,).
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
    stratum: IntArray
    n: int
    p: int
    r: int
    is_diagonal: bool = False

    def __post_init__(self) -> None:
        for name in ("A", "B", "e", "inner"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def of_residuals(self, residuals: FloatArray) -> VarianceModel:
        """Take other readings of the same rows, by their residuals beside X, shape (n,)."""
        e = self.A.T @ residuals
        beside = residuals - self.A @ e
        return replace(self, e=e, within=float(beside @ beside))

    @property
    def scales(self) -> FloatArray:
        """Mean size of each stratum's part of V where ρ = 1, shape (r,); 0 where there is none."""
        squares = (self.B**2).sum(axis=0)
        counts = np.maximum(self._sums((squares > _NO_DIRECTION**2).astype(np.float64)), 1.0)
        return self._sums(squares) / counts

    def untold(self) -> tuple[int, ...]:
        """Name strata whose variance these rows cannot tell; r stands for the residual.

        Where two components move the likelihood alike, all that are tied so are named.
        """
        known = self.information(np.zeros(self.r))
        size = np.sqrt(np.diag(known))
        empty = [k for k in range(self.r) if size[k] <= _NO_DIRECTION * size[-1] or size[-1] <= 0]
        told = [k for k in range(self.r + 1) if k not in empty]
        if not told or self.n <= self.p:
            return tuple(range(self.r + 1))
        values, vectors = np.linalg.eigh(known[np.ix_(told, told)] / np.outer(size, size)[
            np.ix_(told, told)
        ])  # fmt: skip
        tied = np.abs(vectors[:, values < _SAME]).max(axis=1, initial=0.0) > np.sqrt(_SAME)
        return tuple(sorted({*empty, *(k for k, t in zip(told, tied, strict=True) if t)}))

    def height(self, ratios: FloatArray, likelihood: Likelihood = "reml") -> Height:
        """Give the profile likelihood and its derivatives at some ratios, all 0 or more."""
        if self.is_diagonal:
            return self._height_alone(float(ratios[0]), likelihood)
        C, log_det = self._inverse(ratios)
        CB, Ce = C @ self.B, C @ self.e
        T, v = self.B.T @ CB, self.B.T @ Ce
        quad = self.within + float(self.e @ Ce)
        det, traces, crossed = log_det, self._sums(np.diag(T)), self._blocks(T**2)
        m = self.n - self.p
        if likelihood == "ml":
            det, inner = self._inner_inverse(ratios)
            traces, crossed, m = self._sums(np.diag(inner)), self._blocks(inner**2), self.n
        own = self._sums(v**2)
        pulled = self._blocks(T * np.outer(v, v))
        return _height(m, det, quad, traces, crossed, own, pulled)

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
        C, log_det = self._inverse(ratios)
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
        C, _ = self._inverse(ratios)
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

    def _inverse(self, ratios: FloatArray) -> tuple[FloatArray, float]:
        if self.is_diagonal:
            d = np.diag(self.B) ** 2
            return np.diag(1 / (1 + ratios[0] * d)), float(np.log1p(ratios[0] * d).sum())
        if not len(self.e):
            return np.zeros((0, 0)), 0.0
        inside = np.eye(len(self.e)) + (self.B * ratios[self.stratum]) @ self.B.T
        # Eigenvalues of `inside` are 1 or more, so that its inverse is as good as its entries.
        factor, _ = linalg.lapack.dpotrf(inside, lower=True)
        half, _ = linalg.lapack.dpotri(factor, lower=True)
        inverse: FloatArray = np.tril(half) + np.tril(half, -1).T
        return inverse, 2 * float(np.log(np.diag(factor)).sum())

    def _inner_inverse(self, ratios: FloatArray) -> tuple[float, FloatArray]:
        """Give ln |V| and Z'V⁻¹Z at unit residual variance."""
        half = np.sqrt(ratios[self.stratum])
        inside = np.eye(len(half)) + half[:, None] * self.inner * half
        factor = linalg.cholesky(inside, lower=True)
        pulled = linalg.solve_triangular(factor, half[:, None] * self.inner, lower=True)
        return 2 * float(np.log(np.diag(factor)).sum()), self.inner - pulled.T @ pulled

    def _sums(self, of_units: FloatArray) -> FloatArray:
        sums = np.bincount(self.stratum, weights=of_units, minlength=self.r)
        return np.asarray(sums, dtype=np.float64)

    def _blocks(self, of_pairs: FloatArray) -> FloatArray:
        member = (self.stratum[:, None] == np.arange(self.r)).astype(np.float64)
        return np.asarray(member.T @ of_pairs @ member)


def variance_model(solved: LeastSquares, units: Sequence[IntArray]) -> VarianceModel:
    """Gather what the rows tell of the ratios.

    Args:
        solved: Plain least squares of the rows, for its orthonormal columns and residuals.
        units: Unit of each row, shape (n,), one entry a random stratum.
    """
    n, p = solved.basis.shape
    members = [members_of(unit) for unit in units]
    Z = np.hstack(members) if members else np.zeros((n, 0))
    stratum = np.repeat(np.arange(len(members)), [z.shape[1] for z in members])
    MZ = Z - solved.basis @ (solved.basis.T @ Z)
    found, R, order = linalg.qr(MZ, mode="economic", pivoting=True)
    rank = int((np.abs(np.diag(R)) > _NO_DIRECTION * np.sqrt(n)).sum())
    A: FloatArray = np.asarray(found[:, :rank], dtype=np.float64)
    B = np.zeros((rank, Z.shape[1]))
    B[:, order] = R[:rank]
    alone = len(members) == 1
    if alone:
        turn, size, _ = linalg.svd(B, full_matrices=False)
        A, B = A @ turn, np.diag(size)
        stratum = np.zeros(len(size), dtype=np.int64)
    inner = np.diag(Z.sum(axis=0)) if alone else Z.T @ Z
    nothing = VarianceModel(
        A=A,
        B=B,
        e=np.zeros(len(B)),
        within=0.0,
        inner=inner,
        stratum=stratum,
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
    outer = np.outer(own, own) / quad**2
    return Height(
        value=-0.5 * det - 0.5 * m * float(np.log(quad / m)),
        quad=quad,
        gradient=-0.5 * traces + 0.5 * m * own / quad,
        curvature=0.5 * crossed - m * pulled / quad + 0.5 * m * outer,
        expected=0.5 * crossed - 0.5 * np.outer(traces, traces) / m,
    )

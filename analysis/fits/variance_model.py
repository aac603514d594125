"""What the readings say of the variance ratios once the coefficients are out of the way.

V = σ² (I + Σ ρ_k Z_k Z_k'). With M the projection off X, A an orthonormal basis of what MZ spans
and B = A'MZ, everything about ρ lies in C = (I + Σ ρ_k B_k B_k')⁻¹, a matrix of at most as many
rows as there are units. All sums of squares are sums of parts that cannot be negative, so that no
digits are lost where one stratum dwarfs another. Where all B_k B_k' have their axes in common, as a
single stratum's are and those of balanced strata, A lies along them: C is then diagonal.

Source:
    Patterson and Thompson (1971), Biometrika 58, 545-554 (restricted likelihood); Searle, Casella
    and McCulloch (1992), Variance Components, sections 6.6 and 6.7, for its derivatives.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import linalg

from analysis.fits.height import Height, Likelihood, Parts, Steepness, height_of
from analysis.fits.least_squares import LeastSquares, inverse_of_triangle, root_of
from doe.study.settings import FloatArray, IntArray, frozen_array

# Units hold whole rows, so that a direction of MZ is of the size of 1 or is rounding.
_NO_DIRECTION = 1e-9
# Relative size below which two components move the likelihood in the same way.
_SAME = 1e-9
# Part of the largest size along an axis below which what lies across two axes is rounding.
_NOT_ACROSS = 1e-12


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
        along: Diagonals of the B_k B_k', shape (s, r), where all of these are diagonal; None where
            their axes differ.
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
    along: FloatArray | None = None

    def __post_init__(self) -> None:
        for name in ("A", "B", "e", "inner", "member", "scales"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        if self.along is not None:
            object.__setattr__(self, "along", frozen_array(self.along))

    def of_residuals(self, residuals: FloatArray) -> VarianceModel:
        """Take other readings of the same rows, by their residuals beside X, shape (n,)."""
        e, within = _split(self.A, residuals)
        return replace(self, e=e, within=within)

    def untold(self) -> tuple[int, ...]:
        """Name strata whose variance these rows cannot tell; r stands for the residual.

        Where two components move the likelihood alike, all that are tied so are named.
        """
        known = self.information(np.zeros(self.r))
        size = np.sqrt(known.diagonal())
        empty = [k for k in range(self.r) if size[k] <= _NO_DIRECTION * size[-1] or size[-1] <= 0]
        told = [k for k in range(self.r + 1) if k not in empty]
        if not told or self.n <= self.p:
            return tuple(range(self.r + 1))
        values, vectors = np.linalg.eigh(known[told][:, told] / np.outer(size[told], size[told]))
        if values[0] >= _SAME:
            return tuple(empty)
        tied = np.abs(vectors[:, values < _SAME]).max(axis=1, initial=0.0) > np.sqrt(_SAME)
        return tuple(sorted({*empty, *(k for k, t in zip(told, tied, strict=True) if t)}))

    def height(self, ratios: FloatArray, likelihood: Likelihood = "reml") -> Height:
        """Give the profile likelihood and its derivatives at some ratios, all 0 or more."""
        m = self.n - self.p
        parts = self._joint(ratios) if self.along is None else self._apart(ratios)
        if likelihood == "ml":
            parts, m = self._with_rows(parts, ratios), self.n
        return height_of(m, parts)

    def values(self, ratios: FloatArray, likelihood: Likelihood = "reml") -> FloatArray:
        """Give the value of the height at many places at once, shape (g, r) to shape (g,).

        To some digits fewer than `height`: to see where it is high, not to end there.
        """
        det, quad = self._many_joint(ratios) if self.along is None else self._many_apart(ratios)
        m = self.n - self.p
        if likelihood == "ml":
            half, m = np.sqrt(ratios @ self.member.T), self.n
            whole = np.eye(len(self.inner)) + half[:, :, None] * self.inner * half[:, None, :]
            roots = np.linalg.cholesky(whole).diagonal(axis1=1, axis2=2)
            det = 2 * np.log(roots).sum(axis=1)
        return np.asarray(-0.5 * det - 0.5 * m * np.log(quad / m))

    def slopes_alone(self, ratios: FloatArray | float, likelihood: Likelihood) -> FloatArray:
        """Give the slope along ln ρ of a single stratum at many ratios, shape of `ratios`."""
        assert self.along is not None
        d, squares = self.along[:, 0], self.e * self.e
        c = 1 / (1 + np.multiply.outer(ratios, d))
        quad, own, told, m = self.within + c @ squares, (c * c) @ (squares * d), c @ d, self.n
        if likelihood == "reml":
            m -= self.p
        else:
            sizes = self.inner.diagonal()
            told = (1 / (1 + np.multiply.outer(ratios, sizes))) @ sizes
        return np.asarray(ratios * (-0.5 * told + 0.5 * m * own / quad))

    def at_variances(self, variances: FloatArray) -> Steepness:
        """Give the restricted likelihood of all r + 1 variances, residual last and above 0."""
        residual = float(variances[-1])
        ratios, m = variances[:-1] / residual, self.n - self.p
        if self.along is not None:
            c = 1 / (1 + self.along @ ratios)
            log_det, Ce, trace = -float(np.log(c).sum()), c * self.e, float(c.sum())
            own, told, known = (Ce * Ce) @ self.along, c @ self.along, self._known_apart(c)
        else:
            half, log_det = self._half_inverse(ratios)
            C = half.T @ half
            Ce, trace, known = C @ self.e, float(np.trace(C)), self._known_joint(C)
            own = self._sums((self.B.T @ Ce) ** 2)
            told = self._sums((self.B * (C @ self.B)).sum(axis=0))
        quad = self.within + float(self.e @ Ce)
        squares = np.append(own, self.within + float(Ce @ Ce))
        traces = np.append(told, m - len(self.e) + trace)
        return Steepness(
            value=-0.5 * (log_det + m * float(np.log(residual)) + quad / residual),
            score=-0.5 * (traces / residual - squares / residual**2),
            known=0.5 * known / residual**2,
        )

    def information(self, ratios: FloatArray) -> FloatArray:
        """Give tr PG_kPG_l at unit residual variance, shape (r + 1, r + 1); residual last."""
        if self.along is not None:
            return self._known_apart(1 / (1 + self.along @ ratios))
        half, _ = self._half_inverse(ratios)
        return self._known_joint(half.T @ half)

    def _known_apart(self, c: FloatArray) -> FloatArray:
        """Give the information where C is diagonal, by its diagonal of shape (s,)."""
        assert self.along is not None
        squares, of_axes = c * c, c[:, None] * self.along
        known = np.empty((self.r + 1, self.r + 1))
        known[:-1, :-1] = of_axes.T @ of_axes
        known[:-1, -1] = known[-1, :-1] = squares @ self.along
        known[-1, -1] = self.n - self.p - len(self.e) + float(squares.sum())
        return known

    def _known_joint(self, C: FloatArray) -> FloatArray:
        """Give the same by the whole of C."""
        CB = C @ self.B
        known = np.empty((self.r + 1, self.r + 1))
        known[:-1, :-1] = self._blocks((self.B.T @ CB) ** 2)
        known[:-1, -1] = known[-1, :-1] = self._sums((CB * CB).sum(axis=0))
        known[-1, -1] = self.n - self.p - len(self.e) + float((C * C).sum())
        return known

    def _apart(self, ratios: FloatArray) -> Parts:
        """Give the restricted likelihood's where C is diagonal."""
        assert self.along is not None
        sizes = self.along @ ratios
        c = 1 / (1 + sizes)
        squares, of_axes = self.e * self.e * c, c[:, None] * self.along
        return Parts(
            det=float(np.log1p(sizes).sum()),
            quad=self.within + float(squares.sum()),
            traces=c @ self.along,
            crossed=of_axes.T @ of_axes,
            own=squares @ of_axes,
            pulled=of_axes.T @ (squares[:, None] * of_axes),
        )

    def _joint(self, ratios: FloatArray) -> Parts:
        """Give the same by the factor of C⁻¹."""
        half, log_det = self._half_inverse(ratios)
        pulled_in, left = half @ self.B, half @ self.e
        T, v = pulled_in.T @ pulled_in, left @ pulled_in
        of_units = v[:, None] * self.member
        return Parts(
            det=log_det,
            quad=self.within + float(left @ left),
            traces=self._sums(T.diagonal()),
            crossed=self._blocks(T * T),
            own=v @ of_units,
            pulled=of_units.T @ T @ of_units,
        )

    def _with_rows(self, parts: Parts, ratios: FloatArray) -> Parts:
        """Put in what the plain likelihood has of all rows in place of those beside X."""
        if self.r == 1:
            sizes = self.inner.diagonal()
            told = sizes / (1 + ratios * sizes)
            det, traces = float(np.log1p(ratios * sizes).sum()), np.array([told.sum()])
            return parts._replace(det=det, traces=traces, crossed=np.array([[told @ told]]))
        det, inner = self._inner_inverse(ratios)
        traces, crossed = self._sums(inner.diagonal()), self._blocks(inner * inner)
        return parts._replace(det=det, traces=traces, crossed=crossed)

    def _many_apart(self, ratios: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give ln |C⁻¹| and the sum of squares at many places where C is diagonal."""
        assert self.along is not None
        sizes = ratios @ self.along.T
        quad: FloatArray = self.within + (1 / (1 + sizes)) @ self.e**2
        return np.log1p(sizes).sum(axis=1), quad

    def _many_joint(self, ratios: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the same by factors."""
        of_columns, s = ratios @ self.member.T, len(self.e)
        # With M = I + BρB' bordered by e and by c, the last pivot is c − e'M⁻¹e.
        border = 2 * float(self.e @ self.e) + self.within
        bordered = np.empty((len(ratios), s + 1, s + 1))
        bordered[:, :s, :s] = np.eye(s) + (self.B * of_columns[:, None, :]) @ self.B.T
        bordered[:, :s, s] = bordered[:, s, :s] = self.e
        bordered[:, s, s] = border
        roots = np.linalg.cholesky(bordered).diagonal(axis1=1, axis2=2)
        det: FloatArray = 2 * np.log(roots[:, :s]).sum(axis=1)
        return det, np.asarray(self.within + border - roots[:, s] ** 2)

    def _half_inverse(self, ratios: FloatArray) -> tuple[FloatArray, float]:
        """Give the inverse of the lower factor of C⁻¹ = I + BρB', and ln |C⁻¹|."""
        # Eigenvalues of C⁻¹ are 1 or more, so that its inverse is as good as its entries.
        inside = (self.B * (self.member @ ratios)) @ self.B.T
        inside.flat[:: len(inside) + 1] += 1.0
        factor = root_of(inside)
        log_det = 2 * float(np.log(factor.diagonal()).sum())
        return inverse_of_triangle(factor, lower=True), log_det

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
    # Axes that the strata have in common are those of any weighted sum, and of a sum whose weights
    # are no simple fractions only those.
    weights = (1.0 + of_stratum) ** (-1 / 6)
    A, size, across = np.linalg.svd(MZ * weights, full_matrices=False)
    rank = int((size > _NO_DIRECTION * np.sqrt(n)).sum())
    A, size, B = A[:, :rank], size[:rank], size[:rank, None] * across[:rank] / weights
    alone = len(members) == 1
    if alone:
        # Z'MZ turned to its own axes: any other turn of the units tells the same.
        B, of_stratum = np.diag(size), np.zeros(rank, dtype=np.int64)
    member = (of_stratum[:, None] == np.arange(len(members))).astype(np.float64)
    squares = B * B
    of_columns = squares.sum(axis=0)
    counts = (of_columns > _NO_DIRECTION**2) @ member
    e, within = _split(A, solved.residuals)
    return VarianceModel(
        A=A,
        B=B,
        e=e,
        within=within,
        inner=np.diag(Z.sum(axis=0)) if alone else Z.T @ Z,
        member=member,
        scales=(of_columns @ member) / np.maximum(counts, 1.0),
        n=n,
        p=p,
        r=len(members),
        along=squares @ member if alone or _are_axes(B, member) else None,
    )


def _are_axes(B: FloatArray, member: FloatArray) -> bool:
    """Tell whether all B_k B_k' are diagonal."""
    parts = (B * member.T[:, None, :]) @ B.T
    largest = parts.max(initial=0.0)
    parts.reshape(len(parts), len(B) ** 2)[:, :: len(B) + 1] = 0.0
    return bool(np.abs(parts).max(initial=0.0) <= _NOT_ACROSS * largest)


def _split(A: FloatArray, residuals: FloatArray) -> tuple[FloatArray, float]:
    """Give the part of residuals along A, shape (s,), and the sum of squares beside it."""
    e = A.T @ residuals
    beside = residuals - A @ e
    return e, float(beside @ beside)


def told_model(
    solved: LeastSquares, units: Sequence[IntArray]
) -> tuple[VarianceModel, tuple[int, ...]]:
    """Gather what the rows tell of those ratios that they can tell.

    Args:
        solved: Plain least squares of the rows.
        units: Unit of each row, shape (n,), one entry a random stratum.

    Returns:
        The model of the strata told, and the numbers of the others as `VarianceModel.untold` gives
        them.
    """
    model = variance_model(solved, units)
    untold = model.untold()
    told = [unit for k, unit in enumerate(units) if k not in untold]
    return (model if len(told) == len(units) else variance_model(solved, told)), untold


def members_of(unit: IntArray) -> FloatArray:
    """Give Z of a stratum: one 0/1 column a unit, shape (n, units)."""
    return np.asarray(unit[:, None] == np.unique(unit)[None, :], dtype=np.float64)

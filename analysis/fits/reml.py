"""Generalised least squares with variance components by restricted maximum likelihood.

The components are found first, on what is left beside the columns; the coefficients are then least
squares of rows and readings both multiplied by the root of V⁻¹.

Source:
    Patterson and Thompson (1971), Biometrika 58, 545-554; Kenward and Roger (1997), Biometrics 53,
    983-997; DESIGN.md, section 5, "Kenward-Roger".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.fits.kenward_roger import KenwardRoger
from analysis.fits.least_squares import (
    LeastSquares,
    inverse_of_triangle,
    root_of,
    solve_least_squares,
)
from analysis.fits.variance_model import VarianceModel, members_of, told_model
from analysis.fits.variance_search import Optimum, highest
from doe.model.strata import RESIDUAL, Strata, Stratum
from doe.study.settings import BoolArray, FloatArray, IntArray, frozen_array

# Part of its variance that an unknown component must add to a coefficient to spoil its error.
_TOUCHED = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixedSolution:
    """Coefficients, components and errors of rows in strata.

    Attributes:
        strata: The rows' strata; r of them random.
        names: Names of the r random strata and `residual`, coarsest first.
        ratios: Variance of each random stratum over the residual's, shape (r,).
        components: Variances, shape (r + 1,), in the order of `names`; NaN where the rows cannot
            tell them.
        untold: Names of those.
        plain: Least squares of the same rows as if each were on its own.
        solved: Least squares of the rows multiplied by `root`.
        root: V^(-1/2) at unit residual variance: the inverse of its lower factor, shape (n, n).
        covariance: Adjusted covariance of the coefficients, shape (p, p); NaN where it hangs on an
            untold component.
        adjustment: What tests of contrasts need.
        model: What the rows say of the ratios, of the told strata.
        optimum: Where the likelihood is highest.
    """

    strata: Strata
    names: tuple[str, ...]
    ratios: FloatArray
    components: FloatArray
    untold: tuple[str, ...]
    plain: LeastSquares
    solved: LeastSquares
    root: FloatArray
    covariance: FloatArray
    adjustment: KenwardRoger
    model: VarianceModel
    optimum: Optimum

    def __post_init__(self) -> None:
        for name in ("ratios", "components", "root", "covariance"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def component_df(self) -> FloatArray:
        """Satterthwaite's df of each component, shape (r + 1,): 2 σ⁴ over its variance."""
        df = np.full(len(self.names), np.nan)
        for k, name in enumerate(self.adjustment.strata):
            place = self.names.index(name)
            spread = self.adjustment.component_covariance[k, k]
            df[place] = 2 * self.components[place] ** 2 / spread
        return df

    @property
    def log_likelihood(self) -> float:
        """Restricted log-likelihood, all constants included but ln |X'X|/2."""
        m = self.model.n - self.model.p
        return float(self.optimum.height.value - 0.5 * m * (np.log(2 * np.pi) + 1))


def solve_mixed(X: FloatArray, y: FloatArray, strata: Strata) -> MixedSolution:
    """Fit y by the columns of X with the random strata's variances.

    Args:
        X: Shape (n, p), n above p.
        y: Shape (n,).
        strata: Of the rows; their fixed blocks are not looked at, X holds them.

    Raises:
        DependentColumnsError: The columns are not independent.
    """
    plain = solve_least_squares(X, y)
    random = strata.random
    names = (*(one.name for one in random), RESIDUAL)
    model, untold = told_model(plain, [one.unit for one in random])
    told = [k for k in range(len(random)) if k not in untold]
    optimum = highest(model)
    ratios = np.zeros(len(random))
    ratios[told] = optimum.ratios
    root = whitening(random, ratios, len(y))
    weighed = root @ X
    solved = solve_least_squares(weighed, root @ y, refined=False) if ratios.any() else plain
    variance = optimum.height.quad / (model.n - model.p)
    components = np.append(ratios, 1.0) * variance
    components[list(untold)] = np.nan
    part = Weighed(X=weighed, basis=solved.basis, root=root)
    adjustment, covariance = part.adjusted(
        tuple(names[k] for k in told), [random[k].unit for k in told],
        variance, optimum.known,
    )  # fmt: skip
    spoilt = np.full(X.shape[1], len(random) in untold)
    if untold:
        spoilt |= part.touched([random[k].unit for k in untold if k < len(random)])
    return MixedSolution(
        strata=strata,
        names=names,
        ratios=ratios,
        components=components,
        untold=tuple(names[k] for k in untold),
        plain=plain,
        solved=solved,
        root=root,
        covariance=np.where(spoilt[:, None] | spoilt[None, :], np.nan, covariance),
        adjustment=adjustment,
        model=model,
        optimum=optimum,
    )


def whitening(random: Sequence[Stratum], ratios: FloatArray, n: int) -> FloatArray:
    """Give V^(-1/2) at unit residual variance, the inverse of its lower factor, shape (n, n)."""
    V = np.eye(n)
    if not ratios.any():
        return V
    for one, ratio in zip(random, ratios, strict=True):
        V += ratio * (one.unit[:, None] == one.unit[None, :])
    return inverse_of_triangle(root_of(V), lower=True)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighed:
    """Columns multiplied by the root of V⁻¹, on which their covariance is the identity.

    Attributes:
        X: The columns so multiplied, shape (n, p).
        basis: Their orthonormal basis Q, shape (n, p).
        root: V^(-1/2) at unit residual variance, shape (n, n).
    """

    X: FloatArray
    basis: FloatArray
    root: FloatArray

    @property
    def back(self) -> FloatArray:
        """R⁻¹ of X = QR: from coefficients of the basis to those of the columns, shape (p, p)."""
        R = np.triu(self.basis.T @ self.X)
        return inverse_of_triangle(R)

    def pulls(self, units: Sequence[IntArray]) -> FloatArray:
        """Give V^(-1/2) G_k V⁻¹ X on the basis for each stratum and G = I, shape (r + 1, n, p)."""
        inverse = self.root.T @ self.basis
        parts = np.empty((len(units) + 1, *inverse.shape))
        for k, unit in enumerate(units):
            Z = members_of(unit)
            parts[k] = Z @ (Z.T @ inverse)
        parts[-1] = inverse
        return np.asarray(self.root @ parts)

    def adjusted(
        self, strata: tuple[str, ...], units: Sequence[IntArray], variance: float, known: FloatArray
    ) -> tuple[KenwardRoger, FloatArray]:
        """Adjust the covariance of the coefficients for the uncertainty of the components.

        Args:
            strata: Names of the random strata that are told.
            units: Their units.
            variance: Residual variance.
            known: tr PG_kPG_l at unit residual variance, residual last.

        Returns:
            What tests need, and Φ_A of the source, shape (p, p).
        """
        pulls, back = self.pulls(units), self.back
        W = 2 * _scaled_inverse(known)
        # On the basis Φ = σ²I, and Q_kl − P_kΦP_l = E_k'(I − QQ')E_l / σ⁶ with the pulls E.
        on = self.basis.T @ pulls
        beside = pulls - self.basis @ on
        weighted = (W @ beside.reshape(len(W), -1)).reshape(-1, len(back))
        adding = beside.reshape(-1, len(back)).T @ weighted
        inner = np.eye(len(back)) + adding + adding.T
        slopes = back @ on @ back.T
        known_of_tests = KenwardRoger(
            strata=(*strata, RESIDUAL),
            unadjusted=variance * (back @ back.T),
            slopes=(slopes + slopes.transpose(0, 2, 1)) / 2,
            component_covariance=W * variance**2,
        )
        covariance = variance * (back @ inner @ back.T)
        return known_of_tests, (covariance + covariance.T) / 2

    def touched(self, units: Sequence[IntArray]) -> BoolArray:
        """Tell the coefficients whose variance hangs on strata, shape (p,)."""
        back = self.back
        own = np.einsum("ij,ij->i", back, back)
        touched = np.zeros(len(back), dtype=np.bool_)
        for E in self.pulls(units)[:-1]:
            added = np.einsum("ij,jk,ik->i", back, self.basis.T @ E, back)
            touched |= added > _TOUCHED * own
        return touched


def _scaled_inverse(known: FloatArray) -> FloatArray:
    size = np.sqrt(known.diagonal())
    sizes = size[:, None] * size
    scaled: FloatArray = np.linalg.inv(known / sizes) / sizes
    return (scaled + scaled.T) / 2

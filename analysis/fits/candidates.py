"""Smaller models of one response as selection compares them: AICc, and p of what was dropped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy import linalg, stats

from analysis.fits.assessing import information
from analysis.fits.estimable import surface_columns
from analysis.fits.fit import Scale
from analysis.fits.fit_table import FitTable
from analysis.fits.kenward_roger import contrast_test
from analysis.fits.least_squares import LeastSquares, solve_least_squares
from analysis.fits.likelihood_of_mixed import PlainLikelihood, maximum_likelihood
from analysis.fits.mixed_response import rows_in_strata
from analysis.fits.readings_on_scale import (
    averaged,
    every_reading,
    log_jacobian,
    log_jacobian_of_readings,
)
from analysis.fits.reml import solve_mixed, whitening
from analysis.fits.strata_of_data import DataStrata, strata_of_data
from analysis.fits.subsets import WeighedRows
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.model.terms import Model, Term
from doe.study.settings import FloatArray

_NEW_DIRECTION = 1e-9


class Candidates(Protocol):
    """Models of one response, each asked for by its terms."""

    def aicc(self, model: Model) -> float | None:
        """Give AICc of the readings before any transformation; None where it has no value."""
        ...

    def p(self, full: Model, small: Model) -> float | None:
        """Test what the full model has and the small one has not; None without degrees of freedom.

        A response without any scatter has p of 0: nothing may go.
        """
        ...

    def rows(self, of: Model) -> WeighedRows:
        """Give rows that models are least squares on, with the variance ratios of one of them."""
        ...


def candidates_of(data: ResponseData, coding: Coding, scale: Scale, table: FitTable) -> Candidates:
    """Choose least squares, or REML and its likelihood where runs share random strata.

    Args:
        data: The response.
        coding: The settings.
        scale: The scale to fit on.
        table: The runs with the full model.
    """
    columns = _Columns(data=data, coding=coding, beside=table.beside)
    strata = strata_of_data(data)
    plain = _Plain(columns, averaged(data, scale), log_jacobian(data, scale))
    full = plain.solve_columns(table.matrix)
    if rows_in_strata(table, full, strata) is None or full.rss <= 0:
        return plain
    if strata.by_reading:
        y, jacobian = every_reading(data, scale), log_jacobian_of_readings(data, scale)
    else:
        y, jacobian = averaged(data, scale), log_jacobian(data, scale)
    return _Mixed(columns, y, jacobian, strata)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Columns:
    data: ResponseData
    coding: Coding
    beside: FloatArray

    def of(self, model: Model) -> FloatArray:
        return np.hstack([self.of_terms(model.terms), self.beside])

    def of_terms(self, terms: tuple[Term, ...]) -> FloatArray:
        values, model = self.data.actual.values, Model(name="", terms=terms)
        return surface_columns(values, self.data.control, self.coding, model)


class _Plain:
    """Least squares of runs that share nothing."""

    def __init__(self, columns: _Columns, y: FloatArray, jacobian: float) -> None:
        self._columns, self._y, self._jacobian = columns, y, jacobian
        self._solved: dict[Model, LeastSquares] = {}

    def solve_columns(self, X: FloatArray) -> LeastSquares:
        return solve_least_squares(X, self._y)

    def aicc(self, model: Model) -> float | None:
        return information(self._solve(model), self._jacobian)[1]

    def p(self, full: Model, small: Model) -> float | None:
        whole, part = self._solve(full), self._solve(small)
        if whole.df <= 0:
            return None
        if whole.rss <= 0:
            return 0.0
        df = part.df - whole.df
        f = max(part.rss - whole.rss, 0.0) / df / whole.residual_variance
        return float(stats.f.sf(f, df, whole.df))

    def rows(self, of: Model) -> WeighedRows:
        n = len(self._y)
        return WeighedRows(
            columns=self._columns.of_terms,
            beside=self._columns.beside,
            y=self._y,
            variances=1,
            constant=n * (np.log(2 * np.pi) + 1) - 2 * self._jacobian,
            is_exact=True,
        )

    def _solve(self, model: Model) -> LeastSquares:
        if model not in self._solved:
            self._solved[model] = self.solve_columns(self._columns.of(model))
        return self._solved[model]


class _Mixed:
    """Plain likelihood to compare by, restricted likelihood to test by."""

    def __init__(
        self, columns: _Columns, y: FloatArray, jacobian: float, strata: DataStrata
    ) -> None:
        self._columns, self._y, self._jacobian, self._strata = columns, y, jacobian, strata
        self._found: dict[Model, PlainLikelihood] = {}

    def aicc(self, model: Model) -> float | None:
        if model not in self._found:
            X = self._strata.repeated(self._columns.of(model))
            self._found[model] = maximum_likelihood(X, self._y, self._strata.strata)
        return self._found[model].aicc(self._jacobian)

    def rows(self, of: Model) -> WeighedRows:
        self.aicc(of)
        random, n = self._strata.strata.random, len(self._y)
        root = whitening(random, self._found[of].ratios, n)
        log_determinant = -2 * float(np.log(np.diag(root)).sum())
        return WeighedRows(
            columns=lambda terms: root @ self._strata.repeated(self._columns.of_terms(terms)),
            beside=root @ self._strata.repeated(self._columns.beside),
            y=root @ self._y,
            variances=len(random) + 1,
            constant=n * (np.log(2 * np.pi) + 1) + log_determinant - 2 * self._jacobian,
            is_exact=False,
        )

    def p(self, full: Model, small: Model) -> float | None:
        X = self._strata.repeated(self._columns.of(full))
        part = self._strata.repeated(self._columns.of(small))
        if len(X) <= X.shape[1]:
            return None
        solution = solve_mixed(X, self._y, self._strata.strata)
        # What the full model holds beyond the small one, square on it in V⁻¹, as contrasts.
        new = _beyond(solution.root @ X, solution.root @ part)
        L = new.T @ (solution.root @ X)
        if not np.isfinite(solution.covariance).all():
            used = np.abs(L).max(axis=0) > _NEW_DIRECTION
            if not np.isfinite(solution.covariance[np.ix_(used, used)]).all():
                return None
        covariance = np.nan_to_num(solution.covariance)
        b = solution.solved.coefficients
        return contrast_test(solution.adjustment, covariance, b, L).p


def _beyond(X: FloatArray, part: FloatArray) -> FloatArray:
    Q, _ = linalg.qr(part / np.linalg.norm(part, axis=0), mode="economic")
    left = X / np.linalg.norm(X, axis=0)
    for _ in range(2):
        left = left - Q @ (Q.T @ left)
    basis, R, _ = linalg.qr(left, mode="economic", pivoting=True)
    rank = int((np.abs(np.diag(R)) > _NEW_DIRECTION).sum())
    return np.asarray(basis[:, :rank], dtype=np.float64)

"""The same model of a response fitted without some runs, fast enough to leave out each in turn.

Scale and terms stay as they are. By least squares the deletion has a closed form; where runs share
units the variances are found anew from those of all runs, and the coefficients by generalised least
squares; a likelihood of its own is maximised anew.

Source:
    Cook and Weisberg (1982), Residuals and Influence in Regression, appendix A.2:
    b(S) = b − (X'X)⁻¹ X_S' (I − H_SS)⁻¹ e_S.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from scipy import linalg

from analysis.fits.diagnostics import ALONE
from analysis.fits.fit import Fit
from analysis.fits.fit_table import FitTable
from analysis.fits.fitted_response import FittedResponse, table_of
from analysis.fits.least_squares import (
    DependentColumnsError,
    LeastSquares,
    scale_columns,
    solve_least_squares,
)
from analysis.fits.likelihood.any_response import fit_any_response
from analysis.fits.mixed_response import rows_in_strata
from analysis.fits.readings_on_scale import averaged, every_reading
from analysis.fits.reml import whitening
from analysis.fits.strata_of_data import DataStrata, strata_of_data
from analysis.fits.variance_model import told_model
from analysis.fits.variance_search import highest
from analysis.lab.response_data import ResponseData
from analysis.lab.without_runs import without_runs
from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.strata import Stratum, make_strata
from doe.study.settings import BoolArray, FloatArray

# Part of the largest pivot; below it half of the digits are gone.
_NEARLY_TIED = 1e-8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refitting:
    """All that is needed to fit one response again without some of its runs.

    Attributes:
        data: The response over its runs.
        coding: Coding of the settings.
        fitted: Its fit with all runs.
        table: The rows of that fit; None for a likelihood of its own.
        strata: What the rows share; None where they are fitted by least squares.
        solved: Least squares of the rows; None for a likelihood of its own.
    """

    data: ResponseData
    coding: Coding
    fitted: FittedResponse
    table: FitTable | None = None
    strata: DataStrata | None = None
    solved: LeastSquares | None = None

    @property
    def is_quick(self) -> bool:
        """Whether a fit takes thousandths of a second; a likelihood of its own takes longer."""
        return self.table is not None

    def has(self, runs: Collection[int]) -> bool:
        """Tell whether the fit rests on any of these runs."""
        return any(run in runs for run in self.fitted.fit.runs)

    def without(self, runs: Collection[int]) -> Fit | None:
        """Fit again without some runs.

        Returns:
            The fit with other coefficients; its errors are still those of all runs, but for a
            likelihood of its own. None where the runs that stay cannot carry the model.
        """
        if not self.has(runs):
            return self.fitted.fit
        if self.table is None or self.solved is None:
            return self._by_likelihood(runs)
        stay = np.array([run not in runs for run in self.table.run])
        if not any(np.array(self.table.is_planned) & stay):
            return None
        found = self._closed(stay) if self.strata is None else self._in_strata(stay)
        if found is None:
            return None
        return replace(self.fitted.fit, coefficients=found)

    def _by_likelihood(self, runs: Collection[int]) -> Fit | None:
        fit = self.fitted.fit
        try:
            again = fit_any_response(
                without_runs(self.data, runs), self.coding, model=fit.model, scale=fit.scale
            )
        except FitError:
            return None
        # Once the last reading off the scale is out, least squares gives the same surface.
        return again.fit if again.fit.scale == fit.scale else None

    def _closed(self, stay: BoolArray) -> FloatArray | None:
        assert self.table is not None
        assert self.solved is not None
        gone, solved = ~stay, self.solved
        Q = solved.basis[gone]
        free = np.eye(len(Q)) - Q @ Q.T
        if np.linalg.eigvalsh(free)[0] <= ALONE:
            # They alone tell a block, a control or a term: solved anew without its column.
            return self._anew(stay)
        missed = linalg.solve(free, solved.residuals[gone], assume_a="pos")
        moved = solved.unscaled_covariance @ self.table.matrix[gone].T @ missed
        coefficients: FloatArray = solved.coefficients - moved
        return coefficients[: len(self.table.columns)]

    def _anew(self, stay: BoolArray) -> FloatArray | None:
        assert self.table is not None
        part = self.table.of_rows(np.flatnonzero(stay))
        try:
            solved = solve_least_squares(part.matrix, part.y)
        except DependentColumnsError:
            return None
        return solved.coefficients[: len(part.columns)]

    def _in_strata(self, stay: BoolArray) -> FloatArray | None:
        assert self.table is not None
        assert self.strata is not None
        part = self.table.of_rows(np.flatnonzero(stay))
        kept = make_strata(
            int(stay.sum()),
            [Stratum(name=one.name, unit=one.unit[stay]) for one in self.strata.strata.random],
        )
        near = {
            name: variance / max(self.fitted.fit.components["residual"], np.finfo(float).tiny)
            for name, variance in self.fitted.fit.components.items()
        }
        try:
            return _generalised(part, kept.random, near)[: len(part.columns)]
        except DependentColumnsError:
            return None


def refitting(data: ResponseData, coding: Coding, fitted: FittedResponse) -> Refitting:
    """Make a response ready to be fitted without some of its runs."""
    fit = fitted.fit
    if fit.method == "ml":
        return Refitting(data=data, coding=coding, fitted=fitted)
    table, _, _ = table_of(data, coding, fit.model)
    strata = strata_of_data(data) if fit.method == "reml" else None
    rows = None
    if strata is not None:
        rows = rows_in_strata(table, solve_least_squares(table.matrix, table.y), strata)
    if rows is None or strata is None:
        strata, table = None, replace(table, y=averaged(data, fit.scale))
    else:
        y = every_reading(data, fit.scale) if strata.by_reading else averaged(data, fit.scale)
        table = replace(rows, y=y)
    return Refitting(
        data=data, coding=coding, fitted=fitted, table=table, strata=strata,
        solved=solve_least_squares(table.matrix, table.y),
    )  # fmt: skip


def _generalised(
    table: FitTable, random: tuple[Stratum, ...], near: dict[str, float]
) -> FloatArray:
    """Give the coefficients of rows in strata, variances by REML from those nearby."""
    X, y = table.matrix, table.y
    plain = _quick(X, y)
    if plain.rss <= 0 or plain.df < 1 or not random:
        return plain.coefficients
    model, untold = told_model(plain, [one.unit for one in random])
    told = [one for k, one in enumerate(random) if k not in untold]
    start = np.array([max(near.get(one.name, 0.0), 0.0) for one in told])
    optimum = highest(model, near=np.nan_to_num(start) if len(told) > 1 else None)
    if not optimum.ratios.any():
        return plain.coefficients
    root = whitening(tuple(told), optimum.ratios, len(y))
    return _quick(root @ X, root @ y).coefficients


def _quick(X: FloatArray, y: FloatArray) -> LeastSquares:
    """Fit by one factorisation, without the passes that win the last digits."""
    n, p = X.shape
    if n < p:
        raise DependentColumnsError((), n)
    scaled, scale = scale_columns(X)
    Q, R = np.linalg.qr(scaled)
    size = np.abs(np.diag(R))
    # A column that others hold to this part is better left to the careful way.
    if p and size.min() <= _NEARLY_TIED * size.max():
        return solve_least_squares(X, y)
    b = linalg.solve_triangular(R, Q.T @ y, check_finite=False)
    r = y - scaled @ b
    return LeastSquares(
        coefficients=b / scale, unscaled_covariance=np.empty((0, 0)), residuals=r,
        leverage=np.empty(0), basis=Q, rss=float(r @ r), df=n - p, condition=float("nan"),
    )  # fmt: skip

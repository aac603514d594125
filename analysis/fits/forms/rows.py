"""The rows of a response, ready to be fitted with any shape of a form."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.fits.fit import Fit
from analysis.fits.fitted_response import table_of
from analysis.fits.least_squares import solve_least_squares
from analysis.fits.likelihood_of_mixed import PlainLikelihood, maximum_likelihood
from analysis.fits.readings_on_scale import (
    averaged,
    every_reading,
    log_jacobian,
    log_jacobian_of_readings,
)
from analysis.fits.reml import whitening
from analysis.fits.strata_of_data import strata_of_data
from analysis.lab.response_data import ResponseData
from doe.model.bend import Bend
from doe.model.coding import Coding, code
from doe.model.column import bent_columns
from doe.model.matrix import compile_model, model_columns
from doe.model.strata import RESIDUAL, Strata, Stratum, make_strata
from doe.model.term import Model
from doe.study.settings import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FormRows:
    """Rows of one response with the model that a form is put into.

    Attributes:
        coding: The settings.
        model: The terms, without a form.
        settings: Settings as made, shape (n, k), lab units.
        y: Shape (n,), fitted scale.
        beside: Columns of controls and blocks, shape (n, c).
        planned: Which rows are of the plan, shape (n,).
        run: Number of each row's run, shape (n,).
        strata: Random strata; none for least squares.
        log_jacobian: Σ ln |dz/dy| of the scale.
    """

    coding: Coding
    model: Model
    settings: FloatArray
    y: FloatArray
    beside: FloatArray
    planned: BoolArray
    run: IntArray
    strata: Strata
    log_jacobian: float

    @property
    def n_surface(self) -> int:
        """Columns of the model, shape parameters left out."""
        return len(model_columns(replace(self.model, bend=None), self.coding))

    def bent_columns(self, factor: str) -> list[int]:
        """Number the columns that hold a factor."""
        return list(bent_columns(model_columns(self.model, self.coding), factor))

    def surface(self, bend: Bend | None = None) -> FloatArray:
        """Give the columns of the terms with a form, shape (n, p); those of its shape not."""
        coded = code(self.settings, self.coding)
        if bend is not None:
            j = self.coding.index(bend.factor)
            coded[:, j] = bend.at(self.settings[:, j]).value
        X = compile_model(self.coding, self.model).matrix(coded)
        return np.where(self.planned[:, None], X, 0.0)

    def beside_factor(self, factor: str) -> tuple[FloatArray, FloatArray]:
        """Take the columns apart by a factor.

        Returns:
            Those without it, controls and blocks among them, shape (n, f), and what the factor,
            bent or not, is multiplied with in each of the others, shape (n, h).
        """
        held = self.bent_columns(factor)
        coded = code(self.settings, self.coding)
        expansion, j = compile_model(self.coding, self.model), self.coding.index(factor)
        X = np.where(self.planned[:, None], expansion.matrix(coded), 0.0)
        times = np.where(self.planned[:, None], expansion.gradient(coded)[:, j][:, held], 0.0)
        return np.hstack([np.delete(X, held, axis=1), self.beside]), times

    def matrix(self, bend: Bend | None = None) -> FloatArray:
        """Give all columns: surface, the form's shape where its weights are known, the rest."""
        return np.hstack([self.surface(bend), self._shapes(bend), self.beside])

    def likelihood(self, bend: Bend | None = None) -> PlainLikelihood:
        """Find the highest likelihood; a form's shape counts as so many parameters.

        Raises:
            DependentColumnsError: The columns are not independent.
        """
        found = self._highest(np.hstack([self.surface(bend), self.beside]))
        n_shapes = 0 if bend is None else len(bend.shape)
        return replace(found, parameters=found.parameters + n_shapes)

    def weighing(self, ratios: FloatArray) -> Callable[[FloatArray], FloatArray]:
        """Give what multiplies rows by V^(-1/2) at unit residual variance, of any shape (n, ·).

        Without a ratio above 0 rows stay as they are, and no table of n by n is made.
        """
        if not ratios.any():
            return lambda rows: rows
        root = whitening(self.strata.random, ratios, len(self.y))
        return lambda rows: np.asarray(root @ rows)

    def ratios_of(self, fit: Fit) -> FloatArray:
        """Give the variance ratios of a fit over these strata; 0 for one that cannot be told."""
        residual = fit.components.get(RESIDUAL, 0.0)
        ratios = [fit.components.get(one.name, 0.0) for one in self.strata.random]
        if not ratios or not residual > 0.0:
            return np.zeros(len(ratios))
        return np.nan_to_num(np.array(ratios) / residual)

    def part(self, kept: IntArray) -> FormRows:
        """Keep some rows; columns beside the surface that they leave empty go."""
        beside = self.beside[kept]
        units = [Stratum(name=one.name, unit=one.unit[kept]) for one in self.strata.random]
        return replace(
            self,
            settings=self.settings[kept],
            y=self.y[kept],
            beside=beside[:, np.abs(beside).max(axis=0, initial=0.0) > 0.0],
            planned=self.planned[kept],
            run=self.run[kept],
            strata=Strata(n=len(kept), above=tuple(units)),
        )

    def _shapes(self, bend: Bend | None) -> FloatArray:
        if bend is None or not bend.weights:
            return np.zeros((len(self.y), 0))
        X = compile_model(self.coding, replace(self.model, bend=bend)).matrix(
            code(self.settings, self.coding)
        )
        return np.where(self.planned[:, None], X[:, self.n_surface :], 0.0)

    def _highest(self, X: FloatArray) -> PlainLikelihood:
        if self.strata.random:
            return maximum_likelihood(X, self.y, self.strata)
        solved = solve_least_squares(X, self.y)
        n = len(self.y)
        with np.errstate(divide="ignore"):
            value = -n / 2 * (np.log(2 * np.pi) + np.log(solved.rss / n) + 1)
        return PlainLikelihood(
            log_likelihood=float(value), n=n, parameters=X.shape[1] + 1, ratios=np.zeros(0)
        )


def rows_of(data: ResponseData, coding: Coding, model: Model, fit: Fit) -> FormRows:
    """Lay out the rows that a fit rests on for another model.

    Args:
        data: The response over its runs.
        coding: The settings.
        model: The terms.
        fit: By least squares or REML; gives the scale, and whether rows lie in strata.
    """
    table, _, _ = table_of(data, coding, model)
    in_strata = fit.method == "reml"
    strata = strata_of_data(data)
    rows = strata.rows if in_strata else np.arange(len(data))
    by_reading = in_strata and strata.by_reading
    y = every_reading(data, fit.scale) if by_reading else averaged(data, fit.scale)
    jacobian = log_jacobian_of_readings if by_reading else log_jacobian
    return FormRows(
        coding=coding,
        model=model,
        settings=data.actual.values[rows],
        y=y,
        beside=table.beside[rows],
        planned=np.array(table.is_planned)[rows],
        run=np.array(table.run)[rows],
        strata=strata.strata if in_strata else make_strata(len(y), []),
        log_jacobian=jacobian(data, fit.scale),
    )

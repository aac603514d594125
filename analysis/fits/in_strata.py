"""A solved table of rows in strata: the rows, what they share, their solution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.fits.fit_table import FitTable
from analysis.fits.reml import MixedSolution, Weighed
from analysis.fits.strata_of_data import DataStrata
from doe.model.strata import RESIDUAL
from doe.study.settings import FloatArray, IntArray

# Columns are settings and their products: what differs less than this within units is rounding.
_CONSTANT = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InStrata:
    """Rows, strata and solution together.

    Attributes:
        table: The rows: runs, or single readings.
        strata: What they share.
        solution: Their fit.
    """

    table: FitTable
    strata: DataStrata
    solution: MixedSolution

    @property
    def residuals(self) -> FloatArray:
        """Observed less what the surface (controls, blocks) gives: marginal, shape (n,)."""
        return np.asarray(self.table.y - self.table.matrix @ self.solution.solved.coefficients)

    @property
    def conditional(self) -> FloatArray:
        """Observed less that and less what the row's units are predicted to add, shape (n,).

        y − Xb − Zu with u = ρ Z'Py is Py at unit residual variance.
        """
        return np.asarray(self.solution.root.T @ self.solution.solved.residuals)

    @property
    def inverse(self) -> FloatArray:
        """V⁻¹ at unit residual variance, shape (n, n)."""
        return np.asarray(self.solution.root.T @ self.solution.root)

    @property
    def weighed(self) -> Weighed:
        """The columns multiplied by the root of V⁻¹."""
        return Weighed(
            X=self.solution.root @ self.table.matrix,
            basis=self.solution.solved.basis,
            root=self.solution.root,
        )

    def units(self, name: str) -> IntArray:
        """Give the unit of each row in a stratum."""
        found = self.strata.strata.find(name)
        if found is None:
            raise ValueError(f"no stratum {name}")
        return found.unit

    def groups_of_runs(self) -> list[IntArray]:
        """Give the rows of each run."""
        runs = self.strata.rows
        return [np.flatnonzero(runs == run) for run in dict.fromkeys(runs.tolist())]

    def told_in(self, columns: FloatArray) -> tuple[str, ...]:
        """Name the stratum each column is told in: the coarsest whose units hold it constant.

        Args:
            columns: Shape (n, c), as they stand for the runs of the plan; controls do not count.
        """
        planned = np.array(self.table.is_planned)
        own = columns[planned]
        size = np.abs(own).max(axis=0, initial=0.0)
        names = [RESIDUAL] * columns.shape[1]
        for stratum in reversed(self.strata.strata.random):
            spread = np.zeros(columns.shape[1])
            unit = stratum.unit[planned]
            for number in np.unique(unit):
                spread = np.maximum(spread, np.ptp(own[unit == number], axis=0))
            for j in np.flatnonzero(spread <= _CONSTANT * size):
                names[j] = stratum.name
        return tuple(names)

    def finest(self, names: Sequence[str]) -> str:
        """Give the finest of some strata."""
        order = (*self.strata.names, RESIDUAL)
        return max(names, key=order.index, default=RESIDUAL)

"""Degrees of freedom of the error by stratum, and which of them come from replicates.

Source:
    DESIGN.md, section 5, "Strata" and "Repeats": lack of fit by stratum, pure error from
    replicates only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from doe.appraisal.runs import PlanRuns
from doe.model.coding import Coding, code
from doe.model.strata import RESIDUAL, residual_df
from doe.study.settings import FloatArray, IntArray

# Settings nearer than this, coded, are equal: the bench writes them with fewer digits.
_EQUAL_PLACES = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class Freedom:
    """Degrees of freedom of the error.

    Attributes:
        residual: By stratum, coarsest first, `residual` last.
        pure_error: Those of them that replicates and repeated controls give.
    """

    residual: Mapping[str, int]
    pure_error: Mapping[str, int]

    @property
    def lack_of_fit(self) -> dict[str, int]:
        """The rest, by stratum."""
        return {name: df - self.pure_error[name] for name, df in self.residual.items()}

    @property
    def total(self) -> int:
        """All residual degrees of freedom."""
        return sum(self.residual.values())


def freedom_of(X: FloatArray, runs: PlanRuns, coding: Coding) -> Freedom:
    """Count degrees of freedom.

    Args:
        X: Model matrix of the runs of the plan, shape (n_design, p).
        runs: All runs, controls among them.
        coding: The settings.
    """
    residual = residual_df(runs.strata, with_controls(X, runs))
    alike = replicate_groups(runs.design_values, coding)
    members = (alike[:, None] == np.unique(alike)[None, :]).astype(np.float64)
    # Runs with equal settings have equal rows of X: a mean for each group takes all of X up, but
    # only where the model does not hold more than the settings differ in.
    pure = residual_df(runs.strata, with_controls(members, runs))
    return Freedom(
        residual=residual,
        pure_error={name: min(pure.get(name, 0), df) for name, df in residual.items()},
    )


def with_controls(columns: FloatArray, runs: PlanRuns) -> FloatArray:
    """Set columns of the runs of the plan beside a mean for each control, shape (n, ·)."""
    whole = np.zeros((len(runs), columns.shape[1]))
    whole[runs.is_design] = columns
    return np.hstack([whole, runs.control_columns])


def replicate_groups(values: FloatArray, coding: Coding) -> IntArray:
    """Number the different settings, shape (n,); one that a level lacks equals itself."""
    coded = np.round(np.nan_to_num(code(values, coding), nan=-9.0), _EQUAL_PLACES) + 0.0
    _, group = np.unique(coded, axis=0, return_inverse=True)
    return np.asarray(group, dtype=np.int64).ravel()


def column_strata(X: FloatArray, runs: PlanRuns) -> tuple[str, ...]:
    """Name the stratum in which each column varies: the coarsest whose units hold it constant.

    Returns:
        Names of random strata, or `residual`, p entries.
    """
    keep = runs.is_design
    size = np.abs(X).max(axis=0, initial=0.0)
    names = [RESIDUAL] * X.shape[1]
    for stratum in reversed(runs.strata.random):
        unit = stratum.unit[keep]
        low, high = np.full(X.shape, np.inf), np.full(X.shape, -np.inf)
        for number in np.unique(unit):
            own = unit == number
            low[own], high[own] = X[own].min(axis=0), X[own].max(axis=0)
        constant = (high - low).max(axis=0, initial=0.0) <= 1e-9 * size
        names = [stratum.name if held else name for held, name in zip(constant, names, strict=True)]
    return tuple(names)


def finest(names: tuple[str, ...], strata: tuple[str, ...]) -> str:
    """Give the finest of some strata, in the order coarsest first."""
    order = (*strata, RESIDUAL)
    return max(names, key=order.index)

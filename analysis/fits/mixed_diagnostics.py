"""Checks run by run where rows share units: residuals, leverage, influence, runs left out.

With P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹ at the estimated ratios and S the rows left out, the readings of
S miss by P_SS⁻¹ (Py)_S what all other rows lead one to expect, the units they share among it. All
comes down to the familiar forms where no rows share a unit (P is then the residual projection).

Source:
    Christensen, Pearson and Johnson (1992), Technometrics 34, 38-45 (case deletion in mixed
    models); Haslett and Dillane (2004), J. R. Stat. Soc. B 66, 131-143 (leaving out units).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import linalg, stats

from analysis.fits.assessment import RunRow
from analysis.fits.check_values import Normality, OrderDrift, Outlier
from analysis.fits.diagnostics import ALONE, OUTLIER_RISK
from analysis.fits.envelope import envelope_in_strata
from analysis.fits.in_strata import InStrata
from analysis.fits.kenward_roger import single_df
from analysis.fits.least_squares import DependentColumnsError
from analysis.fits.neighbours import neighbour_ratio
from analysis.fits.reml import solve_mixed
from doe.study.settings import FloatArray, IntArray

_LEAST_DF = 2
_LEAST_RUNS_FOR_ORDER = 8
_LEAST_FOR_NORMALITY = 8
_MOST_FOR_NORMALITY = 5000


@dataclass(frozen=True, slots=True, kw_only=True)
class AddedColumn:
    """The coefficient of a column set beside all others, components estimated anew."""

    estimate: float
    std_error: float
    df: float

    @property
    def t(self) -> float:
        """Estimate over standard error."""
        return self.estimate / self.std_error

    @property
    def p(self) -> float:
        """Two-sided."""
        return 2 * float(stats.t.sf(abs(self.t), self.df))


class LeftOut:
    """What rows miss when they are left out, at the estimated ratios."""

    def __init__(self, fitted: InStrata) -> None:
        solution = fitted.solution
        self._fitted = fitted
        self._inverse = fitted.inverse
        pulled = solution.root.T @ solution.solved.basis
        self._held = pulled @ pulled.T
        self._free = self._inverse - self._held
        self._hat = fitted.table.matrix @ fitted.weighed.back @ pulled.T
        self._marginal = fitted.residuals
        self._conditional = fitted.conditional

    def missed(self, rows: IntArray) -> FloatArray | None:
        """Give P_SS⁻¹ (Py)_S, shape of rows; None where they alone fix a coefficient."""
        own, whole = self._free[np.ix_(rows, rows)], self._inverse[np.ix_(rows, rows)]
        values = linalg.eigh(own, whole, eigvals_only=True)
        if values[0] <= ALONE:
            return None
        return np.asarray(linalg.solve(own, self._conditional[rows], assume_a="pos"))

    def predicted_by_surface(self, rows: IntArray) -> FloatArray | None:
        """Give observed less the surface fitted without these rows; nothing of shared units."""
        missed = self.missed(rows)
        if missed is None:
            return None
        return np.asarray(self._marginal[rows] + self._hat[np.ix_(rows, rows)] @ missed)

    def of_mean(self, rows: IntArray) -> tuple[float, float, float, float] | None:
        """Give for the mean of rows: what it misses, its variance, leverage, Cook's distance × p.

        The variance and the distance are in residual variances.
        """
        missed = self.missed(rows)
        if missed is None:
            return None
        own, whole = self._free[np.ix_(rows, rows)], self._inverse[np.ix_(rows, rows)]
        ones = np.ones(len(rows)) / len(rows)
        variance = float(ones @ linalg.solve(own, ones, assume_a="pos"))
        alone = float(ones @ linalg.solve(whole, ones, assume_a="pos"))
        moved = float(missed @ self._held[np.ix_(rows, rows)] @ missed)
        return float(missed.mean()), variance, 1.0 - alone / variance, moved

    def weights(self, rows: IntArray) -> FloatArray | None:
        """Give what of Py makes the mean miss of rows, shape of rows; None where it is unknown."""
        own, whole = self._free[np.ix_(rows, rows)], self._inverse[np.ix_(rows, rows)]
        if linalg.eigh(own, whole, eigvals_only=True)[0] <= ALONE:
            return None
        ones = np.ones(len(rows)) / len(rows)
        return np.asarray(linalg.solve(own, ones, assume_a="pos"))


def normal_envelope(fitted: InStrata) -> tuple[tuple[float, float], ...]:
    """Give the ends for the studentised residuals of `run_rows` in order, if errors were normal."""
    left_out, rows = LeftOut(fitted), []
    for own in fitted.groups_of_runs():
        weights = left_out.weights(own)
        if weights is not None:
            row = np.zeros(len(fitted.table.run))
            row[own] = weights
            rows.append(row)
    if not rows:
        return ()
    solved = fitted.solution.solved
    return envelope_in_strata(
        np.array(rows) @ factor_of_conditional(fitted), solved.basis, solved.df
    )


def run_rows(fitted: InStrata, repeats: Sequence[int]) -> tuple[RunRow, ...]:
    """Give one row a run.

    Studentised: what the run misses when it is left out whole, all else that its batch tells kept,
    over its standard error. Leverage: 1 less how much surer that would be if the coefficients were
    known. Both are the usual ones where no rows share a unit.
    """
    left_out, table = LeftOut(fitted), fitted.table
    variance, df = fitted.solution.solved.residual_variance, fitted.solution.solved.df
    p = fitted.table.matrix.shape[1]
    residuals, conditional = fitted.residuals, fitted.conditional
    rows: list[RunRow] = []
    for run, own in enumerate(fitted.groups_of_runs()):
        found = left_out.of_mean(own)
        internal = external = cook = None
        leverage = 1.0
        if found is not None:
            missed, spread, leverage, moved = found
            internal = missed / (variance * spread) ** 0.5
            # t = r sqrt((df − 1) / (df − r²)), Cook and Weisberg (2.2.8); ratios as they are.
            room = df - internal**2
            external = internal * ((df - 1) / room) ** 0.5 if df > 1 and room > ALONE else None
            cook = moved / (variance * p)
        observed, residual = float(table.y[own].mean()), float(residuals[own].mean())
        rows.append(
            RunRow(
                run=table.run[own[0]],
                observed=observed,
                fitted=observed - residual,
                residual=residual,
                studentised=external,
                studentised_internal=internal,
                leverage=leverage,
                cook=cook,
                control=table.control[own[0]],
                repeats=repeats[run],
                conditional=float(conditional[own].mean()),
            )
        )
    return tuple(rows)


def outliers_of(rows: Sequence[RunRow], df: int) -> tuple[tuple[Outlier, ...], float | None]:
    """Find runs beyond the limit that all runs together pass with 5 % risk, and that limit."""
    if df <= _LEAST_DF:
        return (), None
    n = len(rows)
    limit = float(stats.t.isf(OUTLIER_RISK / (2 * n), df - 1))
    return tuple(
        Outlier(
            run=row.run,
            studentised=row.studentised,
            limit=limit,
            p=min(1.0, n * 2 * float(stats.t.sf(abs(row.studentised), df - 1))),
        )
        for row in rows
        if row.studentised is not None and abs(row.studentised) > limit
    ), limit


def press_of(fitted: InStrata, groups: Sequence[IntArray]) -> float | None:
    """Sum the squared errors of the surface over the plan's rows, each group left out in turn.

    Coefficients are fitted anew without the group, at the estimated ratios.
    """
    left_out, planned = LeftOut(fitted), np.array(fitted.table.is_planned)
    total = 0.0
    for rows in groups:
        if not planned[rows].any():
            continue
        missed = left_out.predicted_by_surface(rows)
        if missed is None:
            return None
        total += float((missed[planned[rows]] ** 2).sum())
    return total


def added_column(fitted: InStrata, column: FloatArray) -> AddedColumn | None:
    """Set a column beside all others and fit again; None where the rows cannot tell it.

    Args:
        fitted: The fit without it.
        column: Shape (n,).
    """
    X = np.column_stack([fitted.table.matrix, column])
    if X.shape[0] <= X.shape[1]:
        return None
    try:
        solution = solve_mixed(X, fitted.table.y, fitted.strata.strata)
    except DependentColumnsError:
        return None
    variance = float(solution.covariance[-1, -1])
    df = float(single_df(solution.adjustment, np.eye(X.shape[1])[-1:])[0])
    if not np.isfinite(variance) or variance <= 0 or not df > 0:
        return None
    return AddedColumn(
        estimate=float(solution.solved.coefficients[-1]), std_error=variance**0.5, df=df
    )


def order_drift(fitted: InStrata, order: FloatArray) -> OrderDrift | None:
    """Test a slope along the order of work beside the model, its batches' scatter allowed for.

    Args:
        fitted: The fit.
        order: Place of each row in the order as done, shape (n,).
    """
    if len(np.unique(order)) < _LEAST_RUNS_FOR_ORDER:
        return None
    found = added_column(fitted, order - order.mean())
    neighbours, neighbours_p = _neighbours(fitted, order)
    if found is None and neighbours is None:
        return None
    return OrderDrift(
        slope=found.estimate if found else None,
        t=found.t if found else None,
        df=found.df if found else float("nan"),
        p=found.p if found else None,
        neighbours=neighbours,
        neighbours_p=neighbours_p,
    )


def factor_of_conditional(fitted: InStrata) -> FloatArray:
    """Give F of the conditional residuals Py = F z, z independent and normal, shape (n, n).

    At the estimated ratios y − Xb is L z with LL' = V, so that Py = (V^(-1/2))'(I − QQ') z.
    """
    root, Q = fitted.solution.root, fitted.solution.solved.basis
    return np.asarray(root.T @ (np.eye(len(Q)) - Q @ Q.T))


def mean_of_runs(fitted: InStrata) -> FloatArray:
    """Give what turns rows into means of runs, shape (runs, n)."""
    groups = fitted.groups_of_runs()
    means = np.zeros((len(groups), len(fitted.table.run)))
    for run, own in enumerate(groups):
        means[run, own] = 1.0 / len(own)
    return means


def _neighbours(fitted: InStrata, order: FloatArray) -> tuple[float | None, float | None]:
    """Compare neighbours run by run, the scatter of their units taken off and its loss allowed."""
    if fitted.solution.solved.df < _LEAST_DF + 1:
        return None, None
    means = mean_of_runs(fitted)
    return neighbour_ratio(
        means @ fitted.conditional, means @ factor_of_conditional(fitted), means @ order
    )


def normality_of(rows: Sequence[RunRow], df: int) -> Normality | None:
    """Compare the studentised residuals with a normal curve; None with few of them."""
    judged = [row.studentised_internal for row in rows if row.studentised_internal is not None]
    if min(df, len(judged)) < _LEAST_FOR_NORMALITY or len(judged) > _MOST_FOR_NORMALITY:
        return None
    w, p = stats.shapiro(judged)
    return Normality(w=float(w), p=float(p))

"""Lack of fit by stratum: what the model misses between batches, and what it misses within them.

Rows with equal planned settings share a mean of their own. What those means add to the model is
split: first what equal settings of a batch add (the settings that never vary within one), then the
rest. Each part is tested beside the other, components estimated with both: batches made twice judge
the first, samples that repeat within batches the second.

Source:
    Goos and Gilmour (2017), Journal of Quality Technology 49, 320-336 (pure error and lack of fit
    in split plots); DESIGN.md, section 5, "Repeats".
"""

from __future__ import annotations

import numpy as np
from scipy import linalg

from analysis.fits.assessment import LackOfFit
from analysis.fits.in_strata import InStrata
from analysis.fits.kenward_roger import contrast_test
from analysis.fits.lack_of_fit import replicate_groups
from analysis.fits.least_squares import DependentColumnsError
from analysis.fits.reml import solve_mixed
from doe.model.coding import Coding
from doe.model.strata import RESIDUAL
from doe.study.settings import BoolArray, FloatArray

# Rounding, for columns of 0 and 1 less what the model holds of them.
_NEW_DIRECTION = 1e-7


def lack_of_fit(fitted: InStrata, planned: FloatArray, coding: Coding) -> tuple[LackOfFit, ...]:
    """Test what the model misses, stratum by stratum, coarsest first.

    Args:
        fitted: The fit.
        planned: Planned settings of each row, shape (n, k), lab units.
        coding: The settings.

    Returns:
        One entry a stratum that has replicates to judge by and something left to judge.
    """
    X, y = _as_planned(fitted, planned, coding)
    parts: list[tuple[str, FloatArray]] = []
    Q: FloatArray = np.asarray(linalg.qr(X, mode="economic")[0], dtype=np.float64)
    for name in (*fitted.strata.names, RESIDUAL):
        held = _held(fitted, planned, name)
        kept = np.where(held[None, :], planned, np.nan)
        groups = replicate_groups(kept, coding, fitted.table.control)
        members = (np.array(groups)[:, None] == np.unique(groups)[None, :]).astype(np.float64)
        # Within a stratum that holds no setting, all rows would be one group: nothing to add.
        new = _new_directions(members, Q)
        if new.shape[1]:
            parts.append((name, new))
            Q = np.hstack([Q, new])
    # Finer parts first leave where the rows cannot carry all of them.
    while parts:
        tests = _tested(fitted, X, y, parts)
        if tests is not None:
            return tests
        parts.pop()
    return ()


def _as_planned(
    fitted: InStrata, planned: FloatArray, coding: Coding
) -> tuple[FloatArray, FloatArray]:
    """Give columns that are alike in runs planned alike, and readings brought to them.

    Runs planned alike are made a little apart. What that does to a reading the model tells: it is
    taken off, or the little differences would use up the degrees of freedom that replicates give.

    Returns:
        Columns, shape (n, p), and readings, shape (n,).
    """
    X = np.array(fitted.table.matrix)
    surface = X[:, : len(fitted.table.columns)]
    groups = np.array(replicate_groups(planned, coding, fitted.table.control))
    members = (groups[:, None] == np.unique(groups)[None, :]).astype(np.float64)
    means = members @ ((members / members.sum(axis=0)).T @ surface)
    b = fitted.solution.solved.coefficients[: surface.shape[1]]
    y = fitted.table.y - (surface - means) @ b
    X[:, : surface.shape[1]] = means
    return X, np.asarray(y, dtype=np.float64)


def _held(fitted: InStrata, planned: FloatArray, name: str) -> BoolArray:
    """Tell the settings that a stratum's units hold constant, shape (k,)."""
    if name == RESIDUAL:
        return np.ones(planned.shape[1], dtype=np.bool_)
    unit, own = fitted.units(name), np.array(fitted.table.is_planned)
    cells = np.nan_to_num(planned, nan=-9e15)
    held = np.ones(planned.shape[1], dtype=np.bool_)
    for number in np.unique(unit[own]):
        rows = cells[own & (unit == number)]
        held &= np.ptp(rows, axis=0) <= 1e-9 * np.maximum(1.0, np.abs(rows).max(axis=0))
    return held


def _tested(
    fitted: InStrata, X: FloatArray, y: FloatArray, parts: list[tuple[str, FloatArray]]
) -> tuple[LackOfFit, ...] | None:
    whole = np.hstack([X, *(part for _, part in parts)])
    n, p = whole.shape
    if n <= p:
        return None
    try:
        solution = solve_mixed(whole, y, fitted.strata.strata)
    except DependentColumnsError:
        return None
    if RESIDUAL in solution.untold or solution.solved.rss <= 0:
        return None
    tests: list[LackOfFit] = []
    start = X.shape[1]
    for name, part in parts:
        L = np.eye(p)[start : start + part.shape[1]]
        start += part.shape[1]
        own = np.flatnonzero(L.any(axis=0))
        if not np.isfinite(solution.covariance[np.ix_(own, own)]).all():
            continue
        covariance = np.nan_to_num(solution.covariance)
        test = contrast_test(solution.adjustment, covariance, solution.solved.coefficients, L)
        tests.append(LackOfFit(stratum=name, f=test.f, df=test.df, den_df=test.den_df, p=test.p))
    return tuple(tests)


def _new_directions(columns: FloatArray, Q: FloatArray) -> FloatArray:
    left = columns / np.linalg.norm(columns, axis=0)
    for _ in range(2):
        left = left - Q @ (Q.T @ left)
    basis, R, _ = linalg.qr(left, mode="economic", pivoting=True)
    rank = int((np.abs(np.diag(R)) > _NEW_DIRECTION).sum())
    return np.asarray(basis[:, :rank], dtype=np.float64)

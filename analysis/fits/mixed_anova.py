"""Analysis of variance by strata: each source against the units that it varies between.

Sums of squares are those of rows and readings multiplied by V^(-1/2) at unit residual variance; F
and the error's degrees of freedom are Kenward and Roger's, so that a source set by the batch is
tested against batches whatever the numbers of rows.

Source:
    Kenward and Roger (1997), Biometrics 53, 983-997; sequential contrasts as in the plain case,
    Draper and Smith (1998), Applied Regression Analysis, 3rd ed., chapter 6.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import linalg

from analysis.fits.anova import passing_sources
from analysis.fits.assessment import AnovaRow, SourceKind
from analysis.fits.in_strata import InStrata
from analysis.fits.kenward_roger import ContrastTest, KenwardRoger, contrast_test
from analysis.fits.sources import Source, orders_of
from doe.model.strata import RESIDUAL
from doe.study.settings import FloatArray

_NEW_DIRECTION = 1e-9


def anova_rows(
    fitted: InStrata,
    sources: Sequence[Source],
    tested: Sequence[Source],
    lack: Sequence[AnovaRow] = (),
) -> tuple[AnovaRow, ...]:
    """Build the table: sequential rows, residual, lack of fit, total, then partial rows."""
    solved = fitted.solution.solved
    residual = _row("residual", "sequential", RESIDUAL, solved.rss, solved.df)
    total, total_df = _total(fitted)
    whole = _row("total", "sequential", RESIDUAL, total, total_df, mean_square=False)
    return (
        *_sequential(fitted, sources),
        residual,
        *lack,
        whole,
        *_partial(fitted, tested),
    )


def rows_by_order(fitted: InStrata, sources: Sequence[Source]) -> tuple[AnovaRow, ...]:
    """Build the short table: one sequential row for each kind of term."""
    return _sequential(fitted, orders_of(sources))


def tested(fitted: InStrata, L: FloatArray) -> ContrastTest | None:
    """Test L b = 0, L of shape (q, p); None where it hangs on an untold component."""
    solution = fitted.solution
    used = np.abs(L).max(axis=0) > 0
    covariance = solution.covariance[np.ix_(used, used)]
    if not np.isfinite(covariance).all():
        return None
    known = solution.adjustment
    part = KenwardRoger(
        strata=known.strata,
        unadjusted=known.unadjusted[np.ix_(used, used)],
        slopes=known.slopes[:, used][:, :, used],
        component_covariance=known.component_covariance,
    )
    return contrast_test(part, covariance, solution.solved.coefficients[used], L[:, used])


def _sequential(fitted: InStrata, sources: Sequence[Source]) -> tuple[AnovaRow, ...]:
    # Each source brings the part of its columns that stands square, in V⁻¹, on all before it; its
    # contrast of the coefficients is that part times the columns.
    table, root = fitted.table, fitted.solution.root
    X, y = root @ table.matrix, root @ table.y
    Q = _new_directions(root @ table.own_means, np.zeros((len(y), 0)))
    parts = [(one.name, table.surface[:, list(one.columns)], list(one.columns)) for one in sources]
    rows: list[AnovaRow] = []
    parts = [*((name, columns, []) for name, columns, _ in table.passing_parts), *parts]
    for name, columns, numbers in parts:
        new = _new_directions(root @ columns, Q)
        Q = np.hstack([Q, new])
        share = new.T @ y
        stratum = _stratum(fitted, numbers)
        rows.append(
            _tested_row(fitted, name, "sequential", stratum, float(share @ share), new.T @ X)
        )
    return tuple(rows)


def _partial(fitted: InStrata, sources: Sequence[Source]) -> tuple[AnovaRow, ...]:
    p = fitted.table.matrix.shape[1]
    every = [*passing_sources(fitted.table), *sources]
    back, b = fitted.weighed.back, fitted.solution.solved.coefficients
    rows: list[AnovaRow] = []
    for source in every:
        L = source.hypothesis(p)
        half = L @ back
        ss = float((L @ b) @ linalg.solve(half @ half.T, L @ b, assume_a="pos"))
        numbers = [j for j in source.columns if j < len(fitted.table.columns)]
        stratum = _stratum(fitted, numbers)
        rows.append(_tested_row(fitted, source.name, "partial", stratum, ss, L))
    return tuple(rows)


def _stratum(fitted: InStrata, numbers: Sequence[int]) -> str:
    if not numbers:
        return RESIDUAL
    return fitted.finest(fitted.told_in(fitted.table.surface[:, list(numbers)]))


def _tested_row(
    fitted: InStrata, name: str, kind: SourceKind, stratum: str, ss: float, L: FloatArray
) -> AnovaRow:
    test = tested(fitted, L) if len(L) else None
    row = _row(name, kind, stratum, ss, len(L))
    if test is None:
        return row
    return AnovaRow(
        source=name, kind=kind, stratum=stratum, df=len(L), den_df=test.den_df, ss=ss,
        ms=row.ms, f=test.f, p=test.p,
    )  # fmt: skip


def _row(
    name: str, kind: SourceKind, stratum: str, ss: float, df: int, *, mean_square: bool = True
) -> AnovaRow:
    return AnovaRow(
        source=name, kind=kind, stratum=stratum, df=df, den_df=None, ss=ss,
        ms=ss / df if mean_square and df > 0 else None, f=None, p=None,
    )  # fmt: skip


def _total(fitted: InStrata) -> tuple[float, int]:
    root = fitted.solution.root
    Q = _new_directions(root @ fitted.table.own_means, np.zeros((len(root), 0)))
    y = root @ fitted.table.y
    left = y - Q @ (Q.T @ y)
    return float(left @ left), len(y) - Q.shape[1]


def _new_directions(columns: FloatArray, Q: FloatArray) -> FloatArray:
    length = np.linalg.norm(columns, axis=0)
    left = columns / np.where(length > 0, length, 1.0)
    for _ in range(2):
        left = left - Q @ (Q.T @ left)
    basis, R, _ = linalg.qr(left, mode="economic", pivoting=True)
    rank = int((np.abs(np.diag(R)) > _NEW_DIRECTION).sum())
    new = basis[:, :rank]
    return np.asarray(new - Q @ (Q.T @ new), dtype=np.float64)

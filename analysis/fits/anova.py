"""Analysis of variance: sequential, partial, and the tests they rest on.

Source:
    Draper and Smith (1998), Applied Regression Analysis, 3rd ed., chapter 6 (extra sum of squares).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import linalg, stats

from analysis.fits.assessment import AnovaRow, LackOfFit, SourceKind
from analysis.fits.fit_table import EXACT, FitTable
from analysis.fits.least_squares import LeastSquares
from analysis.fits.sources import Source, orders_of
from doe.study.settings import FloatArray

# A direction that earlier sources hold already is left over as rounding only.
_NEW_DIRECTION = 1e-9


def sum_about_means(table: FitTable) -> tuple[float, int]:
    """Give the total: about the mean of the plan's runs and about each control's own mean."""
    y = _about_means(table)
    return float(y @ y), len(table.run) - table.own_means.shape[1]


def anova_rows(
    table: FitTable,
    solved: LeastSquares,
    sources: Sequence[Source],
    lack: Sequence[AnovaRow] = (),
    tested: Sequence[Source] | None = None,
) -> tuple[AnovaRow, ...]:
    """Build the table: sequential rows, residual, lack of fit, total, then partial rows.

    Args:
        table: The runs.
        solved: Their fit.
        sources: What the sequential rows divide.
        lack: Rows of lack of fit.
        tested: What the partial rows test; None for the same.
    """
    total, total_df = sum_about_means(table)
    residual = _row("residual", "sequential", solved.rss, solved.df, None, None)
    whole = _row("total", "sequential", total, total_df, None, None, mean_square=False)
    return (
        *_sequential(table, solved, sources),
        residual,
        *lack,
        whole,
        *_partial(table, solved, sources if tested is None else tested),
    )


def rows_by_order(
    table: FitTable, solved: LeastSquares, sources: Sequence[Source]
) -> tuple[AnovaRow, ...]:
    """Build the short table: one sequential row for each kind of term."""
    return _sequential(table, solved, orders_of(sources))


def lack_of_fit_rows(
    solved: LeastSquares, pure_ss: float, pure_df: int
) -> tuple[tuple[AnovaRow, ...], tuple[LackOfFit, ...]]:
    """Split the residual into what the model misses and what replicates scatter."""
    if pure_df <= 0:
        return (), ()
    pure = _row("pure error", "sequential", pure_ss, pure_df, None, None)
    lack_df = solved.df - pure_df
    if lack_df <= 0:
        return (pure,), ()
    lack_ss = max(solved.rss - pure_ss, 0.0)
    lack = _row("lack of fit", "sequential", lack_ss, lack_df, pure_ss / pure_df, pure_df)
    test = LackOfFit(stratum="residual", f=lack.f, df=lack_df, den_df=pure_df, p=lack.p)
    return (lack, pure), (test,)


def partial_test(solved: LeastSquares, source: Source) -> tuple[float, int]:
    """Give sum of squares and degrees of freedom of a source after all others."""
    p = len(solved.coefficients)
    L = source.hypothesis(p)
    # (Lb)' [L (X'X)^-1 L']^-1 (Lb)
    estimate = L @ solved.coefficients
    spread = L @ solved.unscaled_covariance @ L.T
    ss = float(estimate @ linalg.solve(spread, estimate, assume_a="pos"))
    return ss, L.shape[0]


def _sequential(
    table: FitTable, solved: LeastSquares, sources: Sequence[Source]
) -> tuple[AnovaRow, ...]:
    # Each source brings the part of its columns that stands square on all before it.
    y = _about_means(table)
    start = table.own_means
    Q = start / np.linalg.norm(start, axis=0)
    rows: list[AnovaRow] = []
    parts = [(source.name, table.surface[:, list(source.columns)]) for source in sources]
    parts = [*((name, columns) for name, columns, _ in table.passing_parts), *parts]
    for name, columns in parts:
        new = _new_directions(columns, Q)
        share = new.T @ y
        Q = np.hstack([Q, new])
        rows.append(_tested(name, "sequential", float(share @ share), new.shape[1], solved))
    return tuple(rows)


def _partial(
    table: FitTable, solved: LeastSquares, sources: Sequence[Source]
) -> tuple[AnovaRow, ...]:
    every = [*passing_sources(table), *sources]
    return tuple(
        _tested(source.name, "partial", *partial_test(solved, source), solved) for source in every
    )


def passing_sources(table: FitTable) -> tuple[Source, ...]:
    """Give drift and blocks as sources, where they are fitted."""
    return tuple(
        Source(name=name, order=name, columns=places) for name, _, places in table.passing_parts
    )


def _about_means(table: FitTable) -> FloatArray:
    # Twice, so that a large common value leaves no rounding behind.
    y = np.array(table.y)
    for _ in range(2):
        for group in table.own_means.T.astype(bool):
            y[group] -= y[group].mean() if group.any() else 0.0
    never_varies = np.abs(y).max(initial=0.0) <= EXACT * np.abs(table.y).max(initial=0.0)
    return np.zeros_like(y) if never_varies else y


def _new_directions(columns: FloatArray, Q: FloatArray) -> FloatArray:
    length = np.linalg.norm(columns, axis=0)
    left = columns / np.where(length > 0, length, 1.0)
    for _ in range(2):
        left = left - Q @ (Q.T @ left)
    basis, R, _ = linalg.qr(left, mode="economic", pivoting=True)
    rank = int((np.abs(np.diag(R)) > _NEW_DIRECTION).sum())
    new = basis[:, :rank].astype(np.float64)
    new = new - Q @ (Q.T @ new)
    return np.asarray(new, dtype=np.float64)


def _tested(name: str, kind: SourceKind, ss: float, df: int, solved: LeastSquares) -> AnovaRow:
    if solved.df <= 0:
        return _row(name, kind, ss, df, None, None)
    return _row(name, kind, ss, df, solved.residual_variance, solved.df)


def _row(
    name: str,
    kind: SourceKind,
    ss: float,
    df: int,
    error: float | None,
    den_df: int | None,
    *,
    mean_square: bool = True,
) -> AnovaRow:
    ms = ss / df if mean_square and df > 0 else None
    f = ms / error if ms is not None and error else None
    p = float(stats.f.sf(f, df, den_df)) if f is not None and den_df else None
    return AnovaRow(
        source=name, kind=kind, stratum="residual", df=df, den_df=den_df, ss=ss, ms=ms, f=f, p=p
    )

"""The runs of a response laid out for a likelihood: columns, batches, freedom of each column."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.fits.estimable import refuse_too_large
from analysis.fits.fit_table import FitTable, indicators
from analysis.fits.fitted_response import table_of
from analysis.fits.least_squares import DependentColumnsError, LeastSquares, solve_least_squares
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.model.terms import Model, drop_terms, make_model
from doe.study.finding import Finding
from doe.study.settings import BoolArray, FloatArray

# A column that varies within batches by less than this part of its length is set by the batch.
_WITHIN = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """n runs for one model.

    Attributes:
        data: The response.
        coding: The settings.
        model: The terms.
        table: Columns of surface, controls and blocks; y is of no meaning yet.
        blocks: What the fixed blocks are; empty without.
        batch: Batch of each run; None where no two runs share one.
        solved: Least squares of stand-in values, for the digits of the columns.
        findings: On terms left out and on blocks.
    """

    data: ResponseData
    coding: Coding
    model: Model
    table: FitTable
    blocks: str
    batch: tuple[str, ...] | None
    solved: LeastSquares
    findings: tuple[Finding, ...]

    @property
    def n_surface(self) -> int:
        """Columns of the surface, which come first."""
        return len(self.table.columns)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Freedom:
    """Degrees of freedom of each column, and what maximum likelihood takes variances too small by.

    Attributes:
        df: Shape (p,): batches less the columns set by the batch, or runs less batches less the
            others; without batches runs less columns.
        inflation: Shape (p,): units of the column's stratum over its degrees of freedom. With it
            the errors are those of least squares wherever nothing is off the scale and batches are
            balanced.
        of_batches: df and inflation of the variance between batches; None without.
        within: The same of the variance within.
        set_by_batch: Shape (p,).
    """

    df: FloatArray
    inflation: FloatArray
    of_batches: tuple[float, float] | None
    within: tuple[float, float]
    set_by_batch: BoolArray


def lay_out(data: ResponseData, coding: Coding, model: str | Model, drop: Sequence[str]) -> Layout:
    """Lay out the runs.

    Raises:
        FitError: The runs cannot carry the model.
    """
    wanted = make_model(model, coding) if isinstance(model, str) else model
    wanted, said = drop_terms(wanted, drop, coding)
    if data.blocking is not None and data.blocking.effect == "random":
        # One random stratum is all that this likelihood has: days enter as they are.
        data = replace(data, blocking=replace(data.blocking, effect="fixed"))
    table, blocks, more = table_of(data, coding, wanted)
    try:
        solved = solve_least_squares(table.matrix, table.y)
    except DependentColumnsError as error:
        raise refuse_too_large(
            error, table, data.actual.values, coding, wanted, data.response.name
        ) from error
    return Layout(
        data=data,
        coding=coding,
        model=wanted,
        table=table,
        blocks=blocks,
        batch=shared_batches(data),
        solved=solved,
        findings=(*said, *more),
    )


def shared_batches(data: ResponseData) -> tuple[str, ...] | None:
    """Name the batch of each run; None where every run is a batch of its own."""
    counts = Counter(number for number in data.batch if number is not None)
    if not any(count > 1 for count in counts.values()):
        return None
    return tuple(
        f"batch {number}" if number is not None else f"run {run}"
        for number, run in zip(data.batch, data.run, strict=True)
    )


def freedom_of(X: FloatArray, batch: tuple[str, ...] | None) -> Freedom:
    """Count what is left to judge each column by, between batches and within.

    Source:
        The split of between and within: Schluchter and Elashoff (1990), J. Stat. Comput. Simul.
        37, 69-87. An approximation: rows off the scale count as if they had been read.
    """
    n, p = X.shape
    if batch is None:
        df, inflation = _left(n, p)
        within = (df, inflation)
        none = np.zeros(p, dtype=np.bool_)
        return Freedom(
            df=np.full(p, df), inflation=np.full(p, inflation), of_batches=None, within=within,
            set_by_batch=none,
        )  # fmt: skip
    Z = indicators(batch, tuple(dict.fromkeys(batch)))
    means = Z @ ((Z.T @ X) / Z.sum(axis=0)[:, None])
    set_by_batch = ((X - means) ** 2).sum(axis=0) <= _WITHIN**2 * (X**2).sum(axis=0)
    b, p_between = Z.shape[1], int(set_by_batch.sum())
    between, within = _left(b, p_between), _left(n - b, p - p_between)
    return Freedom(
        df=np.where(set_by_batch, between[0], within[0]),
        inflation=np.where(set_by_batch, between[1], within[1]),
        of_batches=between,
        within=within,
        set_by_batch=set_by_batch,
    )


def as_told(freedom: Freedom, within: float, n_batches: int, *, whole: bool) -> Freedom:
    """Lower degrees of freedom to what readings off the scale leave of them.

    A reading off the scale tells less of the scatter than one that was read. The variance within
    is worth as many readings as its own information says, ν0 = 2σ⁴/var(σ²); the coefficients judged
    by it take their degrees of freedom from these, ν = ν0 − p, and maximum likelihood takes it too
    small by ν0/ν. With all read ν0 = n, and both are those of least squares. A batch with no
    reading on the scale tells no level and does not count. The first is Satterthwaite's rule; the
    others are our own, by analogy with least squares.

    Args:
        freedom: As if all readings had been on the scale.
        within: 2σ⁴/var(σ²) of the variance within, as maximum likelihood gives it.
        n_batches: Batches with a reading on the scale.
        whole: Whether every reading was on the scale: then nothing is lowered.

    Source:
        Satterthwaite (1946), Biometrics Bulletin 2, 110-114.
    """
    if whole:
        return freedom
    p_between = int(freedom.set_by_batch.sum())
    df_full, by_full = freedom.within
    # Never more than had all been read; without information one degree of freedom stands.
    worth = min(within, df_full * by_full) if np.isfinite(within) else 0.0
    told = _left(worth, len(freedom.df) - p_between)
    of_batches = freedom.of_batches
    df, inflation = (np.full(len(freedom.df), one) for one in told)
    if of_batches is not None:
        of_batches = _left(n_batches, p_between)
        df = np.where(freedom.set_by_batch, of_batches[0], df)
        inflation = np.where(freedom.set_by_batch, of_batches[1], inflation)
    return Freedom(
        df=df,
        inflation=inflation,
        of_batches=of_batches,
        within=told,
        set_by_batch=freedom.set_by_batch,
    )


def _left(units: float, columns: int) -> tuple[float, float]:
    # With nothing left there is no honest error: one degree of freedom stands, and it is said.
    df = units - columns
    return (float(df), units / df) if df >= 1.0 else (1.0, float(max(units, 1.0)))

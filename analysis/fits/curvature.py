"""Curvature seen by centre runs in a model that has no squares.

Source:
    Box, Hunter and Hunter (2005), Statistics for Experimenters, 2nd ed., section 11.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from analysis.fits.check_values import Curvature
from analysis.fits.fit_table import FitTable
from analysis.fits.least_squares import LeastSquares
from doe.model.coding import Coding, NumericAxis, code
from doe.study.settings import BoolArray, FloatArray

# Coded distance below which a run counts as a centre run: bench accuracy of a middle setting.
_NEAR_CENTRE = 0.02
# Less of the indicator than this left beside the model: the model holds the gap already.
_HELD = 1e-9


def curvature_of(
    table: FitTable, solved: LeastSquares, planned: FloatArray, coding: Coding
) -> Curvature | None:
    """Compare centre runs with a model without squares; None where there is nothing to compare.

    Args:
        table: The fitted table.
        solved: Its solution.
        planned: Planned settings, shape (n, k), lab units.
        coding: The settings.
    """
    if solved.df < 2 or solved.rss <= 0:
        return None
    at_centre = centre_runs(table, planned, coding)
    if at_centre is None:
        return None
    # Added variable: the indicator of the centre, less what the model's columns hold of it.
    indicator = at_centre.astype(np.float64)
    free = indicator - solved.basis @ (solved.basis.T @ indicator)
    weight = float(free @ free)
    if weight < _HELD:
        return None
    gap = float(free @ solved.residuals) / weight
    df = solved.df - 1
    variance = max(solved.rss - gap**2 * weight, 0.0) / df
    std_error = (variance / weight) ** 0.5
    if std_error <= 0:
        return None
    return Curvature(
        gap=gap,
        std_error=std_error,
        df=df,
        p=2 * float(stats.t.sf(abs(gap / std_error), df)),
        runs=tuple(run for run, here in zip(table.run, at_centre, strict=True) if here),
    )


def centre_runs(table: FitTable, planned: FloatArray, coding: Coding) -> BoolArray | None:
    """Tell the centre runs, shape (n,); None for a model with squares or nothing to compare."""
    numeric = [i for i, axis in enumerate(coding.axes) if isinstance(axis, NumericAxis)]
    squares = any(power > 1 for column in table.columns for _, power in column.term.powers)
    if not numeric or squares:
        return None
    own = np.array(table.is_planned)
    here = np.zeros(len(table.run), dtype=np.bool_)
    coded = code(planned[own], coding)[:, numeric]
    here[own] = (np.abs(coded) <= _NEAR_CENTRE).all(axis=1)
    return here if 0 < here.sum() < own.sum() else None

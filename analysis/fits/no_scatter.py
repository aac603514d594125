"""Readings that follow a model to the last digit: what is known of its errors, and what is not.

All equal, or computed from the settings: nothing scatters about the model, so that nothing tells an
error. It is not given as 0, which would claim that a new reading is certain; what the instrument
rounds away cannot be seen here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.fits.fit_table import EXACT
from analysis.fits.least_squares import LeastSquares
from doe.study.settings import FloatArray


def has_no_scatter(solved: LeastSquares) -> bool:
    """Tell whether runs are left to show a scatter, and show none."""
    return solved.df > 0 and solved.rss == 0.0


def without_rounding(solved: LeastSquares, X: FloatArray, y: FloatArray) -> LeastSquares:
    """Put coefficients to 0 that add less to every run than the readings are rounded.

    Args:
        solved: A fit without scatter.
        X: Shape (n, p), its columns.
        y: Shape (n,), its readings.
    """
    part = np.abs(X * solved.coefficients).max(axis=0)
    none = part <= EXACT * float(np.abs(y).max(initial=0.0))
    return replace(solved, coefficients=np.where(none, 0.0, solved.coefficients))

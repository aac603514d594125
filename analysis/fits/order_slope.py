"""A straight drift along the order as done, fitted beside the surface like a block.

Controls and runs of the plan tell one slope together: the controls, as their recipe never changes,
and the runs, as far as their terms do not move with the order. The column is the place in the
order less its middle, so that the surface and the means of controls stand at the middle.

Source:
    A covariate beside the treatments: Cochran and Cox (1957), Experimental Designs, 2nd ed.,
    chapter 3 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from analysis.fits.fit_table import FitTable
from analysis.lab.response_data import ResponseData
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderSlope:
    """The slope along the order as done, fitted scale a run.

    Attributes:
        slope: Estimate, from controls and runs together.
        std_error: Its standard error; NaN where there is none.
        df: Its degrees of freedom, by Kenward and Roger where runs share strata.
        middle: Place in the order at which the surface stands.
    """

    slope: float
    std_error: float
    df: float
    middle: float

    @property
    def p(self) -> float:
        """Two-sided, of a slope of 0; NaN without a standard error."""
        if not self.std_error > 0 or not self.df > 0:
            return float("nan")
        return float(2 * stats.t.sf(abs(self.slope) / self.std_error, self.df))

    def interval(self, level: float) -> tuple[float, float]:
        """Give the interval of the slope; NaN without degrees of freedom."""
        if not self.df > 0:
            return float("nan"), float("nan")
        reach = float(stats.t.isf((1 - level) / 2, self.df)) * self.std_error
        return self.slope - reach, self.slope + reach


def slope_in(
    table: FitTable,
    coefficients: FloatArray,
    covariance: FloatArray,
    df: FloatArray,
    middle: float | None,
) -> OrderSlope | None:
    """Take the slope out of all coefficients of a fit; None where no drift is corrected for.

    Args:
        table: The rows fitted.
        coefficients: Shape (p,), fitted scale.
        covariance: Shape (p, p).
        df: Degrees of freedom of each, shape (p,).
        middle: Place in the order at which the surface stands.
    """
    place = table.drift_place
    if place is None or middle is None:
        return None
    return OrderSlope(
        slope=float(coefficients[place]),
        std_error=float(covariance[place, place] ** 0.5),
        df=float(df[place]),
        middle=middle,
    )


def to_correct(data: ResponseData) -> ResponseData:
    """Ask for a drift to be fitted beside the model, the surface at the middle of the order."""
    if not data.order:
        return data
    return replace(data, drift_middle=(min(data.order) + max(data.order)) / 2)


def less_middle(order: Sequence[float], middle: float | None) -> FloatArray | None:
    """Give the column of the drift, shape (n,); None where it is not asked for.

    Example:
        >>> less_middle((1.0, 2.0, 3.0), 2.0)
        array([-1.,  0.,  1.])
    """
    return None if middle is None else np.array(order, dtype=np.float64) - middle

"""Whether the scatter is alike everywhere: along fitted values, and between replicated settings.

Source:
    Breusch and Pagan (1979), Econometrica 47, 1287-1294, in the form of Koenker (1981), Journal of
    Econometrics 17, 107-112, which does not rest on normal errors; Bartlett (1937), Proc. R. Soc.
    A 160, 268-282; Brown and Forsythe (1974), J. Am. Stat. Assoc. 69, 364-367.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from analysis.fits.assessment import UnequalScatter
from analysis.fits.least_squares import LeastSquares
from doe.study.settings import FloatArray

# With fewer degrees of freedom squared residuals tell next to nothing of where scatter is larger.
_LEAST_DF = 5
# Spreads about the median of two readings are the same by construction.
_LEAST_IN_GROUP = 3
_NOTHING = 1e-12


def unequal_scatter(
    fitted: FloatArray, solved: LeastSquares, groups: Sequence[int]
) -> UnequalScatter | None:
    """Test a fit by least squares for unequal scatter.

    Args:
        fitted: Fitted values, shape (n,).
        solved: The fit.
        groups: Group of equal planned settings of each run.

    Returns:
        None where nothing can be tested.
    """
    if solved.df < _LEAST_DF or solved.rss <= 0:
        return None
    change, koenker, koenker_p = _along(fitted, solved)
    sets = _replicates(solved.residuals, groups)
    bartlett, bartlett_p = _bartlett(sets)
    large = [one for one in sets if len(one) >= _LEAST_IN_GROUP]
    levene, levene_p = _levene(large)
    if koenker is None and bartlett is None and levene is None:
        return None
    return UnequalScatter(
        koenker=koenker, koenker_p=koenker_p, grows=None if change is None else change > 0,
        bartlett=bartlett, bartlett_p=bartlett_p, levene=levene, levene_p=levene_p,
        groups=len(sets),
    )  # fmt: skip


def _along(
    fitted: FloatArray, solved: LeastSquares
) -> tuple[float | None, float | None, float | None]:
    # n R² of e² on the fitted values is χ² with one degree of freedom (Koenker 1981).
    e2 = solved.residuals**2
    x, u = fitted - fitted.mean(), e2 - e2.mean()
    size = float(x @ x) * float(u @ u)
    if size <= _NOTHING * float(fitted @ fitted) * float(e2 @ e2):
        return None, None, None
    covariance = float(x @ u)
    statistic = len(x) * covariance**2 / size
    return covariance, statistic, float(stats.chi2.sf(statistic, 1))


def _replicates(residuals: FloatArray, groups: Sequence[int]) -> list[FloatArray]:
    number = np.asarray(groups)
    sets = [residuals[number == one] for one in dict.fromkeys(groups)]
    return [one for one in sets if len(one) > 1]


def _bartlett(sets: Sequence[FloatArray]) -> tuple[float | None, float | None]:
    if len(sets) < 2 or any(float(np.var(one)) <= 0 for one in sets):
        return None, None
    statistic, p = stats.bartlett(*sets)
    return float(statistic), float(p)


def _levene(sets: Sequence[FloatArray]) -> tuple[float | None, float | None]:
    if len(sets) < 2 or all(float(np.var(one)) <= 0 for one in sets):
        return None, None
    statistic, p = stats.levene(*sets, center="median")
    return (float(statistic), float(p)) if np.isfinite(statistic) else (None, None)

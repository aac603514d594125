"""Whether the scatter is alike: along fitted values, between replicated settings, between levels.

Source:
    Breusch and Pagan (1979), Econometrica 47, 1287-1294, in the form of Koenker (1981), Journal of
    Econometrics 17, 107-112, which does not rest on normal errors; Bartlett (1937), Proc. R. Soc.
    A 160, 268-282; Brown and Forsythe (1974), J. Am. Stat. Assoc. 69, 364-367.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from analysis.fits.check_values import LevelScatter, UnequalScatter
from analysis.fits.in_strata import InStrata
from analysis.fits.least_squares import LeastSquares
from analysis.fits.mixed_diagnostics import factor_of_conditional, mean_of_runs
from doe.model.coding import ChoiceAxis, Coding
from doe.study.settings import FloatArray

# With fewer degrees of freedom squared residuals tell next to nothing of where scatter is larger.
_LEAST_DF = 5
# Spreads about the median of two readings are the same by construction.
_LEAST_IN_GROUP = 3
# Residuals at a level share the coefficients of its runs; with fewer runs that decides.
_LEAST_AT_LEVEL = 5
_NOTHING = 1e-12

# The level of each run by named choice.
Levels = Sequence[tuple[str, Sequence[str | None]]]


def unequal_scatter(
    fitted: FloatArray, solved: LeastSquares, groups: Sequence[int], levels: Levels = ()
) -> UnequalScatter | None:
    """Test a fit by least squares for unequal scatter.

    Args:
        fitted: Fitted values, shape (n,).
        solved: The fit.
        groups: Group of equal planned settings of each run.
        levels: Level of each run, None for controls, by named choice.

    Returns:
        None where nothing can be tested.
    """
    if solved.df < _LEAST_DF or solved.rss <= 0:
        return None
    return _tested(fitted, solved.residuals, groups, levels)


def unequal_scatter_in_strata(
    fitted: InStrata, groups: Sequence[int], levels: Levels = ()
) -> UnequalScatter | None:
    """Test what is left beside shared units for unequal scatter, run by run.

    Each conditional residual is brought to the same standard deviation first: units take more of
    some than of others. They stay tied to each other, so that the chances are approximate.

    Args:
        fitted: The fit.
        groups: Group of equal planned settings of each run.
        levels: See `unequal_scatter`.
    """
    solved = fitted.solution.solved
    if solved.df < _LEAST_DF or solved.rss <= 0:
        return None
    means = mean_of_runs(fitted)
    spread = np.sqrt(((means @ factor_of_conditional(fitted)) ** 2).sum(axis=1))
    known = spread > _NOTHING
    if known.sum() < _LEAST_DF:
        return None
    conditional = means @ fitted.conditional
    expected = means @ fitted.table.y - conditional
    typical = float(np.median(spread[known]))
    residuals = conditional[known] / spread[known] * typical
    kept = np.flatnonzero(known).tolist()
    return _tested(
        expected[known], residuals, [groups[i] for i in kept],
        [(name, tuple(own[i] for i in kept)) for name, own in levels],
    )  # fmt: skip


def levels_of(values: FloatArray, control: Sequence[str | None], coding: Coding) -> Levels:
    """Read the level of each named choice off settings, shape (n, k), lab units."""
    return [
        (
            axis.name,
            tuple(
                None if name is not None or np.isnan(value) else axis.levels[int(value)]
                for value, name in zip(values[:, j], control, strict=True)
            ),
        )
        for j, axis in enumerate(coding.axes)
        if isinstance(axis, ChoiceAxis)
    ]


def _tested(
    fitted: FloatArray, residuals: FloatArray, groups: Sequence[int], levels: Levels
) -> UnequalScatter | None:
    change, koenker, koenker_p = _along(fitted, residuals)
    sets = _replicates(residuals, groups)
    bartlett, bartlett_p = _bartlett(sets)
    large = [one for one in sets if len(one) >= _LEAST_IN_GROUP]
    levene, levene_p = _levene(large)
    by_level = tuple(
        found for name, own in levels if (found := _between(name, own, residuals)) is not None
    )
    if koenker is None and bartlett is None and levene is None and not by_level:
        return None
    return UnequalScatter(
        koenker=koenker, koenker_p=koenker_p, grows=None if change is None else change > 0,
        bartlett=bartlett, bartlett_p=bartlett_p, levene=levene, levene_p=levene_p,
        groups=len(sets), by_level=by_level,
    )  # fmt: skip


def _between(name: str, levels: Sequence[str | None], residuals: FloatArray) -> LevelScatter | None:
    known = [level for level in dict.fromkeys(levels) if level is not None]
    own = {
        level: residuals[np.array([one == level for one in levels])]
        for level in known
        if list(levels).count(level) >= _LEAST_AT_LEVEL
    }
    levene, p = _levene(list(own.values()))
    if levene is None or p is None:
        return None
    sd = {level: float(np.std(part, ddof=1)) for level, part in own.items()}
    return LevelScatter(
        choice=name, levene=levene, p=p, widest=max(sd, key=lambda level: sd[level]), sd=sd
    )


def _along(
    fitted: FloatArray, residuals: FloatArray
) -> tuple[float | None, float | None, float | None]:
    # n R² of e² on the fitted values is χ² with one degree of freedom (Koenker 1981).
    e2 = residuals**2
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

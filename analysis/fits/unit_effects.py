"""What each batch, day or other shared unit is predicted to add to its runs.

Source:
    Best linear unbiased prediction u = ρ Z'Py with variance σ² ρ² Z'PZ about 0: Searle, Casella and
    McCulloch (1992), Variance Components, section 7.4; normal plots of it after Lange and Ryan
    (1989), Annals of Statistics 17, 624-642.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from analysis.fits.assessment import UnitEffects
from analysis.fits.diagnostics import OUTLIER_RISK
from analysis.fits.envelope import envelope_in_strata, external_of
from analysis.fits.in_strata import InStrata
from analysis.fits.mixed_diagnostics import factor_of_conditional
from analysis.fits.variance_model import members_of
from analysis.lab.response_data import ResponseData
from doe.model.strata import Stratum

_NOTHING = 1e-9
_LEAST_DF = 2


def unit_effects(fitted: InStrata, data: ResponseData) -> tuple[UnitEffects, ...]:
    """Predict what units add, stratum by stratum; none of a stratum without variance.

    Args:
        fitted: The fit.
        data: The runs, for the numbers of the units.
    """
    solution = fitted.solution
    found = []
    for stratum, ratio in zip(fitted.strata.strata.random, solution.ratios, strict=True):
        if ratio > 0 and stratum.name not in solution.untold:
            found.append(_of_stratum(fitted, data, stratum, float(ratio)))
    return tuple(found)


def _of_stratum(
    fitted: InStrata, data: ResponseData, stratum: Stratum, ratio: float
) -> UnitEffects:
    solved = fitted.solution.solved
    Z = members_of(stratum.unit)
    effect = ratio * (Z.T @ fitted.conditional)
    factor = ratio * (Z.T @ factor_of_conditional(fitted))
    spread = np.linalg.norm(factor, axis=1)
    known = (spread > _NOTHING) & (solved.df > _LEAST_DF)
    sd = np.where(known, spread * solved.residual_variance**0.5, np.nan)
    standardised = (
        external_of(effect / sd, solved.df) if solved.df > 1 else np.full(len(sd), np.nan)
    )
    limit = None
    if solved.df > _LEAST_DF and known.any():
        limit = float(stats.t.isf(OUTLIER_RISK / (2 * int(known.sum())), solved.df - 1))
    return UnitEffects(
        stratum=stratum.name,
        labels=_labels(fitted, data, stratum),
        effect=tuple(map(float, effect)),
        standardised=tuple(float(t) if np.isfinite(t) else None for t in standardised),
        limit=limit,
        envelope=envelope_in_strata(factor, solved.basis, solved.df),
    )


def _labels(fitted: InStrata, data: ResponseData, stratum: Stratum) -> tuple[str, ...]:
    """Name units as the bench does; a unit without a number of its own by its run."""
    columns = {"batch": data.batch, "day": data.day, "sample": data.sample, "panel": data.panel}
    numbers = columns.get(stratum.name, data.block)
    labels = []
    for unit in np.unique(stratum.unit):
        run = int(fitted.strata.rows[np.flatnonzero(stratum.unit == unit)[0]])
        own = numbers[run]
        if own is None:
            labels.append(f"run {data.run[run]}")
        elif stratum.name in ("sample", "panel"):
            labels.append(f"{data.batch[run]}/{own}" if data.batch[run] is not None else str(own))
        else:
            labels.append(str(own))
    return tuple(labels)

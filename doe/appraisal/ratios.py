"""How much an appraisal hangs on the variance ratio, which nobody knows before the first batches.

Source:
    Goos (2002), The Optimal Design of Blocked and Split-Plot Experiments, section 6.5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.appraisal.information import Ratio, information_of
from doe.appraisal.profile import Terrain, average_variance
from doe.appraisal.runs import PlanRuns
from doe.study.settings import FloatArray

# A tenth to ten times covers what is met between a batch and its samples.
RATIOS = (0.1, 1.0, 10.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class AtRatio:
    """A plan at another variance ratio.

    Attributes:
        ratio: Variance of every random stratum over the residual variance.
        average: Average prediction variance, in residual variances.
        average_of_run: The same in variances of one run on its own, residual and strata together.
        std_errors: Of the coefficients, in residual standard deviations, p entries.
        d_efficiency: |X'PX|^(1/p) / n.
    """

    ratio: float
    average: float
    average_of_run: float
    std_errors: tuple[float, ...]
    d_efficiency: float


def at_ratios(
    X: FloatArray, runs: PlanRuns, terrain: Terrain, stated: Ratio
) -> tuple[AtRatio, ...]:
    """Appraise a plan at several variance ratios; none where no stratum is random.

    Args:
        X: Model matrix of the runs of the plan, shape (n, p).
        runs: All runs.
        terrain: The region.
        stated: The ratio in force, looked at as well if it is one number.
    """
    n_random = len(runs.strata.random) + len(runs.alone)
    if not n_random:
        return ()
    wanted = {*RATIOS, *([float(stated)] if isinstance(stated, int | float) else [])}
    found = []
    for ratio in sorted(wanted):
        information = information_of(X, runs, ratio)
        average = average_variance(information, terrain)
        found.append(
            AtRatio(
                ratio=ratio,
                average=average,
                average_of_run=average / (1.0 + ratio * n_random),
                std_errors=tuple(np.sqrt((information.root**2).sum(axis=1)).tolist()),
                d_efficiency=information.d_efficiency,
            )
        )
    return tuple(found)

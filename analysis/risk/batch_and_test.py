"""How much of what single runs scatter by is the test, where no stratum parts it from the batch.

Where every run is a mill batch of its own, its residual holds batch and test together. Repeats of
the same unit tell the test alone; without them the brief's `repeatability_sd` does; without either
nobody knows, and the whole counts as the batch's own.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.scales import forward
from analysis.lab.response_data import ResponseData
from analysis.risk.response_part import stands_for_batch
from doe.model.strata import RESIDUAL

# Repeats must leave so many degrees of freedom before they are believed; our own choice.
FEWEST_REPEAT_DF = 5


def shares_of_test(
    data: Mapping[str, ResponseData], fitted: Mapping[str, FittedResponse]
) -> dict[str, float]:
    """Find which part of the residual is test, by response.

    Returns:
        0..1; a response whose strata tell batch and test apart, or of which nothing is known, is
        left out.
    """
    found: dict[str, float] = {}
    for name, one in fitted.items():
        fit = one.fit
        # Ratings and counts scatter by what they are; so does what has a stratum for the batch.
        if name not in data or stands_for_batch(fit) != RESIDUAL or fit.components[RESIDUAL] <= 0:
            continue
        variance = _of_repeats(data[name], fit)
        if variance is None and (stated := data[name].response.repeatability_sd):
            variance = stated**2 / max(fit.repeats, 1)
        if variance is not None:
            found[name] = min(variance / fit.components[RESIDUAL], 1.0)
    return found


def _of_repeats(data: ResponseData, fit: Fit) -> float | None:
    """Give the variance of the mean of the repeats of one run, fitted scale."""
    squares, df = 0.0, 0
    for run in data.repeats:
        if len(run) > 1:
            z = forward(fit.scale, np.array(run))
            squares += float(((z - z.mean()) ** 2).sum())
            df += len(run) - 1
    if df < FEWEST_REPEAT_DF:
        return None
    return squares / df / max(fit.repeats, 1)

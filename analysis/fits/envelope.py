"""Where the normal plot of residuals would lie if the errors were normal: a simulated envelope.

Source:
    Atkinson (1985), Plots, Transformations and Regression, section 4.2: residuals of the same model
    fitted to simulated errors, in order, and the ends that hold the middle of them at each place.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.fits.diagnostics import studentised_residuals
from analysis.fits.least_squares import LeastSquares
from doe.study.settings import FloatArray

# The ends of 95 % at each place are then the fifth from each side.
SIMULATED = 199
COVERAGE = 0.95
_SEED = 1985
# Beyond this the envelope is a matter of the eye no longer.
_MOST_RUNS = 500


def normal_envelope(solved: LeastSquares) -> tuple[tuple[float, float], ...]:
    """Give low and high end for each ordered deleted residual; empty where there is none.

    Each place holds 95 % by itself: of many places some lie outside by chance.
    """
    n, df = len(solved.residuals), solved.df
    own = studentised_residuals(solved)[1]
    judged = np.isfinite(own)
    if df <= 1 or n > _MOST_RUNS or judged.sum() < 3:
        return ()
    rng = np.random.default_rng(_SEED)
    ordered = np.array([_one(solved, rng)[judged] for _ in range(SIMULATED)])
    ordered.sort(axis=1)
    ordered.sort(axis=0)
    place = round((1 - COVERAGE) / 2 * (SIMULATED + 1)) - 1
    return tuple(
        (float(low), float(high))
        for low, high in zip(ordered[place], ordered[-1 - place], strict=True)
    )


def _one(solved: LeastSquares, rng: np.random.Generator) -> FloatArray:
    errors = rng.standard_normal(len(solved.residuals))
    left = errors - solved.basis @ (solved.basis.T @ errors)
    simulated = replace(solved, residuals=left, rss=float(left @ left))
    return studentised_residuals(simulated)[1]

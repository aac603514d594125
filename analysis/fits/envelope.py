"""Where the normal plot of residuals would lie if the errors were normal: a simulated envelope.

Source:
    Atkinson (1985), Plots, Transformations and Regression, section 4.2: residuals of the same model
    fitted to simulated errors, in order, and the ends that hold the middle of them at each place.
"""

from __future__ import annotations

import numpy as np

from analysis.fits.least_squares import LeastSquares
from doe.study.settings import FloatArray

# The ends of 95 % at each place are then the fifth from each side.
SIMULATED = 199
COVERAGE = 0.95
_SEED = 1985
# Beyond this the envelope is a matter of the eye no longer.
_MOST_RUNS = 500
# Two points are a line.
_LEAST = 3
_NOTHING = 1e-9


def normal_envelope(solved: LeastSquares) -> tuple[tuple[float, float], ...]:
    """Give low and high end for each ordered deleted residual; empty where there is none.

    Each place holds 95 % by itself: of many places some lie outside by chance.
    """
    n = len(solved.residuals)
    if n > _MOST_RUNS or solved.rss <= 0:
        return ()
    projection = np.eye(n) - solved.basis @ solved.basis.T
    return envelope_in_strata(projection, solved.basis, solved.df)


def envelope_of(simulated: FloatArray) -> tuple[tuple[float, float], ...]:
    """Give the ends of the middle 95 % at each place.

    Args:
        simulated: One set of errors a row, shape (SIMULATED, places), in any order.
    """
    ordered = np.sort(np.sort(simulated, axis=1), axis=0)
    place = round((1 - COVERAGE) / 2 * (len(ordered) + 1)) - 1
    return tuple(
        (float(low), float(high))
        for low, high in zip(ordered[place], ordered[-1 - place], strict=True)
    )


def envelope_in_strata(
    factor: FloatArray, basis: FloatArray, df: int
) -> tuple[tuple[float, float], ...]:
    """Give the ends for quantities that are linear in the rows, each over its standard deviation.

    Rows are simulated at the estimated ratios; the residual variance is estimated from each set,
    as it is from the readings.

    Args:
        factor: Shape (places, n), the quantities as sums of independent normal errors.
        basis: Orthonormal columns of the weighed model matrix, shape (n, p).
        df: Of the residual variance.
    """
    spread = np.linalg.norm(factor, axis=1)
    judged = spread**2 > _NOTHING
    if df <= 1 or judged.sum() < _LEAST or factor.shape[1] > _MOST_RUNS:
        return ()
    rng = np.random.default_rng(_SEED)
    z = rng.standard_normal((SIMULATED, factor.shape[1]))
    left = z - (z @ basis) @ basis.T
    variance = (left**2).sum(axis=1) / df
    internal = (z @ factor[judged].T) / spread[judged] / np.sqrt(variance)[:, None]
    return envelope_of(external_of(internal, df))


def external_of(internal: FloatArray, df: int) -> FloatArray:
    """Turn residuals over an error from all into those over an error from the others.

    Source:
        Cook and Weisberg (1982), equation (2.2.8): t = r √((df − 1)/(df − r²)).
    """
    room = np.maximum(df - internal**2, _NOTHING)
    external: FloatArray = internal * np.sqrt((df - 1) / room)
    return external

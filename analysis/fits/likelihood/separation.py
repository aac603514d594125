"""Whether a likelihood has a highest place at all, or rises for ever along some direction.

Where one level gelled in every run, or a straight cut through the settings parts the ratings, the
likelihood has no top: a coefficient runs off without end.

Source:
    Albert and Anderson (1984), Biometrika 71, 1-10; by a linear programme after Konis (2007), PhD
    thesis, University of Oxford, chapter 4.
"""

from __future__ import annotations

import numpy as np
from scipy import optimize

from doe.study.settings import FloatArray

# The programme is solved to about 1e-9 on columns of length one.
_RISES = 1e-6


def endless_direction(steady: FloatArray, rising: FloatArray) -> FloatArray | None:
    """Find a direction along which the likelihood never falls and somewhere rises.

    Args:
        steady: Shape (a, q): slopes that must stay as they are, as those of exact readings.
        rising: Shape (b, q): slopes that may only rise, as those of readings above the scale.

    Returns:
        Shape (q,), largest entry 1 in size; None where the likelihood has a top.
    """
    q = rising.shape[1]
    if not len(rising):
        return None
    size = np.maximum(np.abs(np.vstack([steady, rising])).max(axis=0), 1e-300)
    E, G = steady / size, rising / size
    # Each row gains at most 1, so that rows far out do not decide alone.
    found = optimize.linprog(
        -G.sum(axis=0),
        A_ub=np.vstack([-G, G]),
        b_ub=np.concatenate([np.zeros(len(G)), np.ones(len(G))]),
        A_eq=E if len(E) else None,
        b_eq=np.zeros(len(E)) if len(E) else None,
        bounds=[(-1.0, 1.0)] * q,
        method="highs",
    )
    if not found.success or float((G @ found.x).sum()) < _RISES:
        return None
    direction = np.asarray(found.x, dtype=np.float64) / size
    scaled: FloatArray = direction / np.abs(direction).max()
    return scaled

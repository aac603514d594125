"""A local trend through scattered points: what the eye should follow in a residual plot.

Source:
    Cleveland (1979), Journal of the American Statistical Association 74, 829-836 (robust locally
    weighted regression), as statsmodels computes it.
"""

from __future__ import annotations

import numpy as np
from statsmodels.nonparametric.smoothers_lowess import lowess

from doe.study.settings import FloatArray

# Part of the runs that each local line follows; Cleveland's own middle choice is 0.5 to 0.7.
SPAN = 2.0 / 3.0
# With fewer different places the trend would run through single points.
LEAST_PLACES = 8


def local_trend(x: FloatArray, y: FloatArray) -> FloatArray | None:
    """Smooth y along x.

    Args:
        x: Shape (n,); any order.
        y: Shape (n,); runs without a finite pair are left out.

    Returns:
        Shape (m, 2), different x in ascending order and the trend there; None where there are too
        few places for one.

    Example:
        >>> trend = local_trend(np.arange(10.0), 2.0 * np.arange(10.0))
        >>> bool(np.allclose(trend[:, 1], 2.0 * trend[:, 0]))
        True
    """
    kept = np.isfinite(x) & np.isfinite(y)
    if len(np.unique(x[kept])) < LEAST_PLACES:
        return None
    # Places closer than a hundredth of the whole width count as one: no trend lives between them.
    near = 0.01 * float(np.ptp(x[kept]))
    smooth = np.asarray(lowess(y[kept], x[kept], frac=SPAN, it=3, delta=near), dtype=np.float64)
    _, first = np.unique(smooth[:, 0], return_index=True)
    trend: FloatArray = smooth[first]
    return trend if np.isfinite(trend).all() else None

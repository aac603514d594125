"""Power: the chance that a plan shows an effect of a given size.

Source:
    Cohen (1988), Statistical Power Analysis for the Behavioral Sciences, 2nd ed.; noncentral t
    and F from scipy.special, which loads in a fraction of the time of scipy.stats. The meaning of
    an effect: DESIGN.md, section 5, "Power".
"""

from __future__ import annotations

import numpy as np
from scipy import special

# A noncentrality so large that the power is 1 to all digits; beyond it the series fails.
_CERTAIN = 1e4


def t_power(shift: float, df: float, alpha: float = 0.05, *, two_sided: bool = True) -> float:
    """Give the power of a t test.

    Args:
        shift: Effect over its standard error (the noncentrality), positive.
        df: Degrees of freedom of the error.
        alpha: Chance of a false alarm.
        two_sided: Whether effects of either sign count.

    Example:
        >>> round(t_power(2 / 2.8 * 15**0.5, 58), 3)
        0.776
    """
    if two_sided:
        return f_power(shift**2, 1, df, alpha)
    critical = float(special.stdtrit(df, 1.0 - alpha))
    return _chance(1.0 - float(special.nctdtr(df, shift, critical)))


def f_power(noncentrality: float, df: int, error_df: float, alpha: float = 0.05) -> float:
    """Give the power of an F test.

    Args:
        noncentrality: Squared effect over its variance, summed over the degrees of freedom.
        df: Degrees of freedom of the effect.
        error_df: Degrees of freedom of the error.
        alpha: Chance of a false alarm.
    """
    if noncentrality > _CERTAIN:
        return 1.0
    critical = float(special.fdtri(df, error_df, 1.0 - alpha))
    return _chance(1.0 - float(special.ncfdtr(df, error_df, noncentrality, critical)))


def _chance(value: float) -> float:
    return float(np.clip(value, 0.0, 1.0))

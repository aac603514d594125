"""Classic tables in coded units as pyDOE3 makes them, each held against its published form.

pyDOE3 loads scipy's statistics, which takes longer than a whole search; it is imported where a
table is asked for.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from doe.study.settings import FloatArray, IntArray


def full_factorial_table(counts: Sequence[int]) -> IntArray:
    """Give the level index of every factor in every combination, shape (n, k)."""
    from pyDOE3 import fullfact

    return np.asarray(fullfact(list(counts)), dtype=np.int64)


def box_behnken_table(n_factors: int) -> FloatArray:
    """Give the Box-Behnken runs without centre, −1, 0, +1."""
    from pyDOE3 import bbdesign

    return np.asarray(bbdesign(n_factors, center=0), dtype=np.float64)


def plackett_burman_table(n_factors: int) -> FloatArray:
    """Give the Plackett-Burman runs for so many columns, −1 and +1."""
    from pyDOE3 import pbdesign

    return np.asarray(pbdesign(n_factors), dtype=np.float64)

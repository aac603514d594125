"""Quasi-random draws: evenly spread, scrambled by chance, several times over.

Each scrambling is an unbiased estimate of its own, so that their scatter tells the error.

Source:
    Owen (1995) and (1997), SIAM Journal on Numerical Analysis 34, 1884-1910, from memory; Sobol
    numbers of Joe and Kuo (2008) as scipy holds them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import special
from scipy.stats import qmc

from doe.study.settings import FloatArray

# Sobol's numbers have so many binary places: half of the last one keeps clear of 0 and 1.
_BITS = 30
_HALF = 0.5**_BITS / 2.0
# Sixteen estimates tell their error to about a fifth of itself; our own choice.
SCRAMBLINGS = 16
DRAWS = 65_536
# Each scrambling needs points enough to be even; a power of two keeps it so.
FEWEST_A_SCRAMBLING = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawPlan:
    """How many draws, and by which seed.

    Attributes:
        draws: As many as asked for, of all scramblings together; see `n`.
        scramblings: Independent ones, two at least.
        seed: Of the scrambling.
    """

    draws: int = DRAWS
    scramblings: int = SCRAMBLINGS
    seed: int = 1

    @property
    def each(self) -> int:
        """Draws of one scrambling: the power of two that is next above what was asked."""
        wanted = max(self.draws / self.scramblings, FEWEST_A_SCRAMBLING)
        return int(2 ** np.ceil(np.log2(wanted)))

    @property
    def n(self) -> int:
        """Draws of all scramblings together."""
        return self.each * self.scramblings

    def fewer(self, draws: int) -> DrawPlan:
        """Take no more than so many draws."""
        return DrawPlan(draws=min(self.draws, draws), scramblings=self.scramblings, seed=self.seed)


def normal_blocks(plan: DrawPlan, columns: int) -> Iterator[FloatArray]:
    """Give standard normal draws, one block of shape (each, columns) a scrambling.

    The same plan and columns give the same numbers, so that two answers can be compared draw by
    draw.
    """
    rng = np.random.default_rng(plan.seed)
    for _ in range(plan.scramblings):
        if columns == 0:
            yield np.zeros((plan.each, 0))
            continue
        points = qmc.Sobol(columns, scramble=True, bits=_BITS, rng=rng).random(plan.each)
        block: FloatArray = special.ndtri(points + _HALF)
        yield block


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A number found by draws, with its own standard error."""

    value: float
    error: float


def estimate_of(by_scrambling: FloatArray, n: int) -> Estimate:
    """Average over scramblings, shape (s,).

    Args:
        by_scrambling: The estimate of each.
        n: Draws of all together: where all scramblings agree, no error below 1/n is claimed.
    """
    s = len(by_scrambling)
    error = float(np.std(by_scrambling, ddof=1)) / s**0.5 if s > 1 else float("nan")
    return Estimate(value=float(np.mean(by_scrambling)), error=max(error, 1.0 / n))

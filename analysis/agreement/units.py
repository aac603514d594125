"""Which batches, days and units the mean of a round is taken over, and how much scatter it keeps.

The mean of n values keeps Σ (n_g/n)² of the variance of a stratum whose unit g holds n_g of them:
1/B of the batches' where each of B batches counts alike, all of the day's where all were made on
one.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.risk.response_part import BELOW_DAY
from doe.model.strata import RESIDUAL

DAY = "day"


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundUnits:
    """The n values that are averaged; every tuple has one entry a value.

    Attributes:
        day: Day of each; one and the same for all where none is known.
        batch: Mill batch.
        unit: Sample, panel or run that was read.
    """

    day: tuple[Hashable, ...]
    batch: tuple[Hashable, ...]
    unit: tuple[Hashable, ...]

    def __len__(self) -> int:
        return len(self.unit)

    def read_per(self, stage: str) -> RoundUnits:
        """Give the values of a response of this stage: one a batch where it belongs to that."""
        if stage != "batch":
            return self
        return self.rows([self.batch.index(batch) for batch in dict.fromkeys(self.batch)])

    def rows(self, places: Sequence[int]) -> RoundUnits:
        """Keep the values at these places alone."""
        return RoundUnits(
            day=tuple(self.day[i] for i in places),
            batch=tuple(self.batch[i] for i in places),
            unit=tuple(self.unit[i] for i in places),
        )

    @property
    def batches(self) -> int:
        """How many mill batches they come from."""
        return len(set(self.batch))

    @property
    def days(self) -> int:
        """On how many days those were made."""
        return len(set(self.day))


def even_units(batches: int, days: int, per_batch: int = 1) -> RoundUnits:
    """Spread batches over days, one after another, each read in so many units.

    Example:
        >>> even_units(3, 2).day
        (1, 2, 1)
    """
    rows = [(b, u) for b in range(batches) for u in range(per_batch)]
    return RoundUnits(
        day=tuple(b % days + 1 for b, _ in rows),
        batch=tuple(b + 1 for b, _ in rows),
        unit=tuple(range(len(rows))),
    )


def kept_part(labels: Sequence[Hashable]) -> float:
    """Give Σ (n_g/n)², the part of a stratum's variance that the mean keeps.

    Example:
        >>> kept_part(["a", "a", "b", "b"]), kept_part(["a", "a"])
        (0.5, 1.0)
    """
    counts = np.array([list(labels).count(label) for label in dict.fromkeys(labels)])
    return float(((counts / len(labels)) ** 2).sum())


def kept_parts(
    strata: Sequence[str], units: RoundUnits, test_share: float | None
) -> Mapping[str, float]:
    """Give the part that the mean keeps of each stratum's variance.

    Args:
        strata: Their names in a fit.
        units: What is averaged.
        test_share: Part of the lowest stratum that is test, where it holds batches too; None where
            nobody knows: then it counts as the batch's own.

    Returns:
        By stratum. A block that is neither day nor below counts as one that is new to all.
    """
    standing = next(name for name in BELOW_DAY if name in strata)
    parts = {name: _of_stratum(name, standing, units) for name in strata}
    if standing == RESIDUAL and test_share is not None:
        own = kept_part(units.unit)
        parts[RESIDUAL] = (1.0 - test_share) * parts[RESIDUAL] + test_share * own
    return parts


def _of_stratum(name: str, standing: str, units: RoundUnits) -> float:
    if name == DAY:
        return kept_part(units.day)
    if name == standing:
        return kept_part(units.batch)
    return kept_part(units.unit) if name in BELOW_DAY else 1.0

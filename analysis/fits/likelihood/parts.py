"""What a fit of ratings or counts knows besides a surface, as frozen parts of a `Fit`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from doe.study.settings import BoolArray, FloatArray, frozen_array

# Enough for a smooth average over batches: more change nothing at 1e-10 up to a batch sd of 3.
_NODES = 61


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OrdinalPart:
    """The classes of a rating; everything on the logistic scale of proportional odds.

    Attributes:
        classes: The K classes that were seen, ascending, as they are read.
        surfaces: Shape (K − 1, s): rows of the model matrix times one of them give the logit of
            the probability of that class or a lower one, in a middling batch.
        covariances: Shape (K − 1, s, s), of each of them.
        accepted: Shape (K,), which classes are as wanted.
        batch_sd: Standard deviation between batches, logistic scale; 0 without.
    """

    classes: tuple[float, ...]
    surfaces: FloatArray
    covariances: FloatArray
    accepted: BoolArray
    batch_sd: float = 0.0

    def __post_init__(self) -> None:
        if len(self.surfaces) != len(self.classes) - 1 or len(self.accepted) != len(self.classes):
            raise ValueError(f"{len(self.classes)} classes, {len(self.surfaces)} thresholds")
        for name in ("surfaces", "covariances"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def probabilities(self, rows: FloatArray, *, over_batches: bool = False) -> FloatArray:
        """Give the probability of each class: rows (n, s) of the model matrix to (n, K).

        Args:
            rows: Shape (n, s).
            over_batches: Whether to average over new batches, in place of a middling one.
        """
        logits = rows @ self.surfaces.T
        below = special.expit(logits)
        if over_batches and self.batch_sd > 0.0:
            x, w = np.polynomial.hermite_e.hermegauss(_NODES)
            below = special.expit(logits[..., None] + self.batch_sd * x) @ (w / w.sum())
        ends = np.pad(below, ((0, 0), (1, 1)), constant_values=((0, 0), (0.0, 1.0)))
        return np.maximum(np.diff(ends, axis=1), 0.0)

    def meets(self, rows: FloatArray, *, over_batches: bool = False) -> FloatArray:
        """Give the probability of the accepted classes, shape (n,)."""
        chance: FloatArray = self.probabilities(rows, over_batches=over_batches) @ self.accepted
        return chance

    def expected(self, rows: FloatArray) -> FloatArray:
        """Give the mean of the classes taken as numbers, shape (n,), in a middling batch."""
        mean: FloatArray = self.probabilities(rows) @ np.array(self.classes)
        return mean


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CountPart:
    """How counts scatter about their mean.

    Attributes:
        overdispersion: α of the variance μ + α μ²; 0 for Poisson counts.
    """

    overdispersion: float = 0.0

    def log_variance(self, log_mean: FloatArray) -> FloatArray:
        """Give the variance of ln count to first order, 1/μ + α."""
        variance: FloatArray = np.exp(-log_mean) + self.overdispersion
        return variance

    def interval(self, log_mean: FloatArray, variance: FloatArray, level: float) -> FloatArray:
        """Give the counts between which one new run lies, shape (n, 2).

        Args:
            log_mean: Shape (n,), ln mean.
            variance: Shape (n,), of ln mean for the new run: its uncertainty and new batches.
            level: 0..1.

        Returns:
            Whole counts with at least the chance `level`, by a negative binomial of equal mean and
            variance; the mean of a log-normal rate is taken with it.
        """
        # ln rate ~ N(m, v): mean e^{m + v/2}, squared variation e^v − 1, to which α adds.
        mean = np.exp(log_mean + variance / 2.0)
        extra = np.exp(variance) * (1.0 + self.overdispersion) - 1.0
        r = 1.0 / np.maximum(extra, 1e-10)
        ends = [stats.nbinom.ppf(q, r, r / (r + mean)) for q in (0.5 - level / 2, 0.5 + level / 2)]
        return np.stack(ends, axis=1)

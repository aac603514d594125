"""Draws of whole confirmation rounds: what each batch and their mean give, responses together.

The models are drawn once a round, days, batches and tests once for each of them; so the mean of a
round scatters about what was foretold as `MeanPrediction` says, and several responses go together
as their strata do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special, stats
from scipy.stats import qmc

from analysis.agreement.mean_prediction import t_times
from analysis.agreement.units import DAY, RoundUnits
from analysis.risk.posterior import NewUnit, Posterior
from analysis.risk.response_part import BATCH, TEST
from doe.study.settings import BoolArray, FloatArray

# Rounds drawn: a chance near 0.95 is then told to about a third of a per cent.
ROUNDS = 4096
_HALF = 0.5**31
# Quasi-random points beyond so many columns are no longer any better than chance.
_MOST_EVEN = 512


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoundDraws:
    """Rounds drawn at one recipe, as differences from what is foretold; fitted scales.

    Attributes:
        models: Shape (n, m), how far the models are off.
        units: Shape (n, u, m), what day, batch and test add to each of the u values.
        of: The units.
    """

    models: FloatArray
    units: FloatArray
    of: RoundUnits

    def first(self, batches: int) -> RoundDraws:
        """Keep the first batches alone."""
        known = list(dict.fromkeys(self.of.batch))[:batches]
        rows = [i for i, batch in enumerate(self.of.batch) if batch in known]
        return RoundDraws(models=self.models, units=self.units[:, rows], of=self.of.rows(rows))

    @property
    def batch_values(self) -> FloatArray:
        """Tested value of each batch, the models' error left out, shape (n, b, m)."""
        known = dict.fromkeys(self.of.batch)
        rows = [[i for i, b in enumerate(self.of.batch) if b == batch] for batch in known]
        return np.stack([self.units[:, own].mean(axis=1) for own in rows], axis=1)

    @property
    def means(self) -> FloatArray:
        """Mean over the values, the models' error left out, shape (n, m)."""
        means: FloatArray = self.units.mean(axis=1)
        return means


def draw_rounds(
    posterior: Posterior, row: FloatArray, units: RoundUnits, seed: int, n: int = ROUNDS
) -> RoundDraws:
    """Draw rounds of batches.

    Args:
        posterior: The responses, in its order.
        row: Settings, shape (k,), lab units.
        units: What each round holds.
        seed: Of the draws.
        n: How many; a power of two.
    """
    placed = posterior.place(row[None, :])
    m = len(posterior.parts)
    labels = [_labels(one, units) for one in posterior.units]
    counts = [len(dict.fromkeys(own)) for own in labels]
    first_scale = m * (1 + len(posterior.units))
    wide = m * (1 + sum(counts)) + (posterior.columns - first_scale)
    z = _normal(n, wide, seed)
    scales = z[:, wide - (posterior.columns - first_scale) :]
    starts = [m * (1 + sum(counts[:k])) for k in range(len(counts))]
    values = []
    for i in range(len(units)):
        columns = [z[:, :m]]
        for own, start in zip(labels, starts, strict=True):
            at = start + m * list(dict.fromkeys(own)).index(own[i])
            columns.append(z[:, at : at + m])
        noise = posterior.noise(placed, np.hstack([*columns, scales]))
        values.append(sum(noise.units.values(), np.zeros((n, m))))
    drawn = np.stack(values, axis=1)
    once = [i for i, part in enumerate(posterior.parts) if part.fit.per == "batch"]
    if once:
        # Read once a batch: every row of the batch stands for that one value.
        first = [units.batch.index(batch) for batch in units.batch]
        drawn[:, :, once] = drawn[:, first][:, :, once]
    return RoundDraws(models=noise.models, units=drawn, of=units)


def level_of_each(statistics: FloatArray, df: Sequence[float], level: float) -> float:
    """Give the level of each response's interval at which all hold together at `level`.

    Args:
        statistics: Draws of (mean − foretold)/sd, shape (n, m).
        df: Degrees of freedom of each.
        level: Joint, 0..1.

    Returns:
        The quantile of the largest two-sided level reached: between `level` and the level after
        Bonferroni. With equal df this is the quantile of the largest |t|.
    """
    reached = [
        1.0 - 2.0 * stats.t.sf(np.abs(own), nu) for own, nu in zip(statistics.T, df, strict=True)
    ]
    worst = np.max(np.stack(reached), axis=0)
    m = statistics.shape[1]
    found = float(np.quantile(worst, level))
    return min(max(found, level), bonferroni(level, m))


def bonferroni(level: float, m: int) -> float:
    """Share what may go wrong over m responses alike.

    Example:
        >>> round(bonferroni(0.95, 5), 4)
        0.99
    """
    return 1.0 - (1.0 - level) / max(m, 1)


def all_inside(statistics: FloatArray, df: Sequence[float], each_level: float) -> BoolArray:
    """Tell which rounds have every response inside its interval, (n, m) to (n,)."""
    times = np.array([t_times(each_level, nu) for nu in df])
    inside: BoolArray = np.all(np.abs(statistics) <= times, axis=1)
    return inside


def _labels(unit: NewUnit, units: RoundUnits) -> Sequence[object]:
    if unit.source == BATCH:
        return units.batch
    if unit.source == TEST:
        return units.unit
    return units.day if unit.source == DAY else (0,) * len(units)


def _normal(n: int, columns: int, seed: int) -> FloatArray:
    rng = np.random.default_rng([seed, 11])
    if columns > _MOST_EVEN:
        return rng.standard_normal((n, columns))
    points = qmc.Sobol(columns, scramble=True, rng=rng).random(n)
    drawn: FloatArray = special.ndtri(np.clip(points, _HALF, 1.0 - _HALF))
    return drawn

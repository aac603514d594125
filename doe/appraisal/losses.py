"""What is lost if a run, a batch or a day fails.

Leaving runs S out is the same as giving each a parameter of its own, so that
M_S = X'PX − X'P_S (P_SS)^-1 P_S'X; on the root T of (X'PX)^-1 that is the identity less a matrix of
the rank of S, and no plan is worked out anew.

Source:
    Cook and Weisberg (1982), Residuals and Influence in Regression, section 3.2 (deletion of
    cases), with P in place of the identity.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from doe.appraisal.information import Information
from doe.appraisal.profile import Terrain
from doe.appraisal.runs import PlanRuns
from doe.model.column import Column, column_label
from doe.study.settings import FloatArray, IntArray

# What is left of a direction, as a part of what the whole plan tells of it, below which it is gone.
_GONE = 1e-8
_PART = 1e-4
# Points of the sample that stand for the region when the largest variance is looked for again.
_POINTS = 1500
# Average variance, as a part of the plan's own on top of it, from which on the model is in effect
# not estimable: standard errors are then ten times as large, and what a bench of two standard
# deviations could see takes twenty. (Our choice; where a rank is nearly lost the rise runs into
# millions, so that little hangs on it.)
GONE_IN_EFFECT = 99.0
# Units of a stage that a plan can lose.
STAGES_LOST = ("run", "batch", "day")


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """What a plan is without one of its units.

    Attributes:
        unit: `run`, `batch` or `day`.
        number: Its number.
        runs: Run numbers that go with it, controls left out.
        average_rise: Average prediction variance over the region, as a part of the plan's own on
            top of it; infinite where the model can't be estimated any more.
        largest_rise: The same for the largest variance.
        untold: Labels of the coefficients that can't be told any more.
    """

    unit: str
    number: int
    runs: tuple[int, ...]
    average_rise: float
    largest_rise: float
    untold: tuple[str, ...]

    @property
    def is_gone_in_effect(self) -> bool:
        """Whether the model can be estimated in arithmetic only, with nothing left to read off."""
        return not self.untold and self.average_rise > GONE_IN_EFFECT


def losses_of(
    information: Information, runs: PlanRuns, terrain: Terrain
) -> dict[str, tuple[Loss, ...]]:
    """Leave out each run, each batch that holds several, and each day.

    Args:
        information: Of a plan that can estimate the model.
        runs: Its runs.
        terrain: The region.

    Returns:
        By unit, in bench order; `run` always, the others where the plan has them.
    """
    keep = runs.is_design
    numbers = np.array(runs.run)[keep]
    found: dict[str, tuple[Loss, ...]] = {}
    leaving = _Leaving.of(information, terrain)
    for stage in STAGES_LOST:
        unit = np.array(runs.run) if stage == "run" else runs.unit(stage)
        if unit is None:
            continue
        own = unit[keep]
        labels = list(dict.fromkeys(own.tolist()))
        if stage == "run" or 1 < len(labels) < len(own):
            found[stage] = tuple(
                leaving.loss(stage, int(label), own == label, numbers) for label in labels
            )
    return found


def most_painful(losses: Iterable[Loss], n: int = 3) -> tuple[Loss, ...]:
    """Give the worst losses, the worst first: terms lost, then the rise of the average."""
    return tuple(
        sorted(losses, key=lambda loss: (-len(loss.untold), -loss.average_rise, loss.number))[:n]
    )


def average_without(
    information: Information, terrain: Terrain, sets: Iterable[IntArray]
) -> FloatArray:
    """Give the average prediction variance without each set of runs; infinite if not estimable.

    Args:
        information: Of a plan that can estimate the model.
        terrain: The region.
        sets: Rows of X, one array for each set.
    """
    every = list(sets)
    leaving = _Leaving.of(information, terrain)
    if all(len(rows) == 1 for rows in every):
        return leaving.averages_without_one()[[int(rows[0]) for rows in every]]
    return np.array([leaving.average(rows) for rows in every])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Leaving:
    """A plan on the root of its covariance, where what it tells is the identity."""

    information: Information
    columns: tuple[Column, ...]
    pull: FloatArray  # T'X'P, shape (p, n)
    spread: FloatArray  # T'MT, whose trace is the average variance
    rows: FloatArray  # rows of the region on T, shape (g, p)

    @classmethod
    def of(cls, information: Information, terrain: Terrain) -> _Leaving:
        T = information.root
        return cls(
            information=information,
            columns=terrain.expansion.columns,
            pull=T.T @ information.X.T @ information.P,
            spread=T.T @ terrain.moments @ T,
            rows=np.vstack([terrain.corner_rows, terrain.sample_rows[:_POINTS]]) @ T,
        )

    def average(self, rows: IntArray) -> float:
        left, vectors = self._left(rows)
        if left[0] < _GONE:
            return float("inf")
        return float((np.einsum("ij,ij->j", vectors, self.spread @ vectors) / left).sum())

    def averages_without_one(self) -> FloatArray:
        """Give the average without each single run, shape (n,), all at once.

        With one column g of T'X'P and w = P_ii, (I − gg'/w)^-1 = I + gg'/(w − g'g).
        """
        G, w = self.pull, np.diag(self.information.P)
        left = w - (G**2).sum(axis=0)
        rise = (G * (self.spread @ G)).sum(axis=0)
        # A run that blocks or controls take up whole (w = 0) costs nothing.
        with np.errstate(divide="ignore", invalid="ignore"):
            rise = np.where(w > _GONE, np.where(left > _GONE * w, rise / left, np.inf), 0.0)
        return np.asarray(np.trace(self.spread) + rise)

    def loss(self, stage: str, number: int, gone: FloatArray, numbers: IntArray) -> Loss:
        rows = np.flatnonzero(gone)
        left, vectors = self._left(rows)
        kept = left >= _GONE
        average = largest = float("inf")
        if kept.all():
            half = vectors / np.sqrt(left)
            average = float(np.einsum("ij,ij->", half, self.spread @ half))
            average = average / float(np.trace(self.spread)) - 1.0
            before, after = (self.rows**2).sum(axis=1).max(), ((self.rows @ half) ** 2).sum(axis=1)
            largest = float(after.max() / before) - 1.0
        return Loss(
            unit=stage,
            number=number,
            runs=tuple(int(run) for run in numbers[rows]),
            average_rise=max(average, 0.0),
            largest_rise=max(largest, 0.0),
            untold=self._untold(vectors[:, ~kept]),
        )

    def _left(self, rows: IntArray) -> tuple[FloatArray, FloatArray]:
        """Give what is left of each direction, 0 to 1, ascending, and the directions."""
        G = self.pull[:, rows]
        inner = np.linalg.pinv(self.information.P[np.ix_(rows, rows)], rcond=1e-10, hermitian=True)
        M = np.eye(len(G)) - G @ inner @ G.T
        left, vectors = np.linalg.eigh((M + M.T) / 2)
        return left, vectors

    def _untold(self, directions: FloatArray) -> tuple[str, ...]:
        """Name the coefficients that have a part in directions that nothing tells of."""
        if not directions.shape[1]:
            return ()
        T = self.information.root
        size = np.sqrt((T**2).sum(axis=1))
        part = np.abs(T @ directions).max(axis=1) / size
        return tuple(
            column_label(column)
            for column, own in zip(self.columns, part, strict=True)
            if own > _PART
        )

"""Noise factors: what drifts in production is averaged over, never chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doe.model.coding import ChoiceAxis, Coding, NumericAxis
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.settings import FloatArray, frozen_array

# A range without `production` is read as ± 2 standard deviations, as tolerances are.
RANGE_IN_SD = 4.0
# Gauss-Hermite points a factor: five are exact to the ninth power; three, to the fifth, keep the
# product small where many factors drift.
FINE, COARSE = 5, 3
FINE_UP_TO = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Production:
    """Where the noise factors lie in production: points with weights.

    Attributes:
        columns: Columns of the c noise factors in a table of settings.
        points: Shape (g, c), lab units; a choice as its level index.
        weights: Shape (g,), sum to 1.
        means: Shape (c,), lab units; NaN for a choice, which has no mean.
        findings: What was assumed.
    """

    columns: tuple[int, ...]
    points: FloatArray
    weights: FloatArray
    means: FloatArray
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        for name in ("points", "weights", "means"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def without(self, columns: Sequence[int]) -> Production:
        """Leave some factors out of the average: they are set, as on the bench."""
        if not set(columns) & set(self.columns):
            return self
        kept = [i for i, column in enumerate(self.columns) if column not in columns]
        points, places = np.unique(self.points[:, kept], axis=0, return_inverse=True)
        weights = np.zeros(len(points))
        np.add.at(weights, places.ravel(), self.weights)
        return Production(
            columns=tuple(self.columns[i] for i in kept),
            points=points,
            weights=weights,
            means=self.means[kept],
        )

    def spread(self, values: FloatArray) -> FloatArray:
        """Put every row of settings, shape (n, k), at every point: shape (n g, k), row by row."""
        g = len(self.weights)
        rows = np.repeat(values, g, axis=0)
        if self.columns:
            tiled = np.tile(self.points, (len(values), 1))
            # A level that lacks the factor keeps lacking it.
            lacks = np.isnan(rows[:, self.columns])
            rows[:, self.columns] = np.where(lacks, np.nan, tiled)
        return rows

    def averaged(self, spread_values: FloatArray) -> FloatArray:
        """Average what was computed at `spread` rows, shape (n g, ...), to shape (n, ...)."""
        g = len(self.weights)
        grouped = spread_values.reshape((-1, g, *spread_values.shape[1:]))
        mean: FloatArray = np.einsum("g,ng...->n...", self.weights, grouped)
        return mean


NO_NOISE = Production(
    columns=(), points=np.zeros((1, 0)), weights=np.ones(1), means=np.zeros(0), findings=()
)


def production_of(study: Study, coding: Coding) -> Production:
    """Lay points over the production scatter of the noise factors of a study.

    Args:
        study: The brief; `production` of each noise factor gives mean and sd.
        coding: Its axes.

    Returns:
        One empty point of weight 1 where no factor is noise. Levels of a named choice weigh
        equally; a range without `production` is read as its middle ± 2 standard deviations.

    Source:
        Gauss-Hermite product rule: Abramowitz and Stegun (1964), 25.4.46.
    """
    noisy = [j for j, axis in enumerate(coding.axes) if getattr(axis, "noise", False)]
    n_numeric = sum(isinstance(coding.axes[j], NumericAxis) for j in noisy)
    n_points = FINE if n_numeric <= FINE_UP_TO else COARSE
    factors = {factor.name: factor.production for factor in study.factors}
    findings: list[Finding] = []
    points, weights, means = np.zeros((1, 0)), np.ones(1), []
    for j in noisy:
        axis = coding.axes[j]
        if isinstance(axis, ChoiceAxis):
            mean, own = np.nan, np.arange(len(axis.levels), dtype=np.float64)
            own_weights = np.full(len(own), 1.0 / len(own))
        else:
            assert isinstance(axis, NumericAxis)
            given = factors[axis.name]
            if given is None:
                findings.append(_assumed(axis))
            mean = given.mean if given else (axis.low + axis.high) / 2.0
            sd = given.sd if given else (axis.high - axis.low) / RANGE_IN_SD
            own, own_weights = _normal_points(axis, mean, sd, n_points)
        means.append(mean)
        points = np.hstack([np.repeat(points, len(own), 0), np.tile(own, len(points))[:, None]])
        weights = np.repeat(weights, len(own)) * np.tile(own_weights, len(weights))
    return Production(
        columns=tuple(noisy),
        points=points,
        weights=weights,
        means=np.array(means, dtype=np.float64),
        findings=tuple(findings),
    )


def _normal_points(
    axis: NumericAxis, mean: float, sd: float, n_points: int
) -> tuple[FloatArray, FloatArray]:
    if sd == 0.0:
        return np.array([mean]), np.ones(1)
    nodes, weights = np.polynomial.hermite_e.hermegauss(n_points)
    points = mean + sd * nodes
    if axis.spacing == "log":
        # A log-spaced factor stays positive: the scatter is taken as lognormal, equal relative sd.
        points = mean * np.exp(sd / mean * nodes)
    return points, weights / weights.sum()


def _assumed(axis: NumericAxis) -> Finding:
    return Finding(
        level="caution",
        what=f"The brief does not say how '{axis.name}' drifts in production, so its range of "
        f"{axis.low:g} to {axis.high:g} {axis.unit} is read as the middle ± 2 standard deviations.",
        evidence={"mean": (axis.low + axis.high) / 2, "sd": (axis.high - axis.low) / RANGE_IN_SD},
        advice="State production = { mean = …, sd = … } with the factor.",
    )


def full_row(
    settings: Mapping[str, float | str | None], coding: Coding, production: Production
) -> FloatArray:
    """Turn named settings into one row, shape (k,), lab units, noise at its production mean.

    A setting that is not named is NaN, as for a level that lacks it; a named choice becomes the
    index of its level.
    """
    row = np.full(len(coding.axes), np.nan)
    means = dict(zip(production.columns, production.means, strict=True))
    for j, axis in enumerate(coding.axes):
        value = settings.get(axis.name)
        if value is None:
            row[j] = means.get(j, np.nan)
        elif isinstance(axis, ChoiceAxis):
            row[j] = axis.levels.index(str(value))
        else:
            row[j] = float(value)
    return row

"""Prediction variance over the region: the share predicted at least so well, average and largest.

Source:
    Zahran, Anderson-Cook and Myers (2003), Journal of Quality Technology 35, 377-386: the share of
    the region whose prediction variance does not exceed a given value.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.appraisal.information import Information
from doe.model.coding import ChoiceAxis, code
from doe.model.expansion import Expansion
from doe.model.moments import region_moments
from doe.model.region import Region
from doe.model.sampling import sample_region
from doe.model.vertices import some_vertices
from doe.study.settings import FloatArray, frozen_array

# Points of the seeded sample: a share of the region is then known to within 1.6 per cent (95 %).
SAMPLE = 4000
# Shares at which the curve is kept.
CURVE = 101
# Vertices that are looked at; a box of many ranges has more than anybody could.
_CORNERS = 20_000
# Local search for the worst point: places it starts from, and rounds without a gain before it ends.
_STARTS = 6
_ROUNDS = 60
_PATIENCE = 8
_STEPS = np.array([0.5, 0.2, 0.05, 0.01, -0.01, -0.05, -0.2])
_DIRECTIONS = 40
# A smaller gain comes from the slack of the limits, not from a worse place.
_GAIN = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Terrain:
    """The region as a model sees it, worked out once for all plans that are held against it.

    Attributes:
        region: All settings of the brief.
        expansion: The model.
        moments: Average of f f' over the region, shape (p, p).
        sample: Evenly drawn settings, shape (g, k), lab units.
        sample_rows: Their rows of the model matrix, shape (g, p).
        corners: Vertices of the region, shape (v, k), lab units.
        corner_rows: Their rows, shape (v, p).
        seed: Of the sample.
    """

    region: Region
    expansion: Expansion
    moments: FloatArray
    sample: FloatArray
    sample_rows: FloatArray
    corners: FloatArray
    corner_rows: FloatArray
    seed: int

    def rows(self, values: FloatArray) -> FloatArray:
        """Expand settings, shape (g, k) in lab units, into rows of the model matrix, (g, p)."""
        return self.expansion.matrix(code(values, self.region.coding))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """Prediction variance over the region, in residual variances.

    Attributes:
        average: Over the region, trace of (X'PX)^-1 and the region's moments.
        largest: At vertices and sample, and by local search.
        worst: Settings where it is largest, shape (k,), lab units.
        shares: Shares of the region, 0 to 1.
        variances: Variance that so large a share does not exceed.
        at_sample: Variance at every point of the terrain's sample, shape (g,).
    """

    average: float
    largest: float
    worst: FloatArray
    shares: FloatArray
    variances: FloatArray
    at_sample: FloatArray

    def __post_init__(self) -> None:
        for name in ("worst", "shares", "variances", "at_sample"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def at_share(self, share: float) -> float:
        """Give the variance that a share of the region does not exceed."""
        return float(np.interp(share, self.shares, self.variances))


def make_terrain(region: Region, expansion: Expansion, seed: int = 0) -> Terrain:
    """Work out what every plan of a region is held against."""
    sample = sample_region(region, SAMPLE, np.random.default_rng([seed, 3]))
    corners = some_vertices(region, _CORNERS, np.random.default_rng([seed, 6]))

    def rows(values: FloatArray) -> FloatArray:
        return expansion.matrix(code(values, region.coding))

    return Terrain(
        region=region,
        expansion=expansion,
        moments=region_moments(region, expansion, seed),
        sample=sample,
        sample_rows=rows(sample),
        corners=corners,
        corner_rows=rows(corners),
        seed=seed,
    )


def average_variance(information: Information, terrain: Terrain) -> float:
    """Average the prediction variance over the region: trace(B M), the I-criterion."""
    T = information.root
    return float(np.sum(T * (terrain.moments @ T)))


def variance_profile(information: Information, terrain: Terrain) -> Profile:
    """Tell how the prediction variance is spread over the region.

    Args:
        information: Of a plan that can estimate the model.
        terrain: The region.
    """
    variances = information.variance_at(terrain.sample_rows)
    worst, largest = _worst(information, terrain, variances)
    shares = np.linspace(0.0, 1.0, CURVE)
    curve = np.quantile(variances, shares)
    # The whole region is predicted no worse than at its worst point, wherever the sample fell.
    curve[-1] = largest
    return Profile(
        average=average_variance(information, terrain),
        largest=largest,
        worst=worst,
        shares=shares,
        variances=curve,
        at_sample=variances,
    )


def _worst(
    information: Information, terrain: Terrain, variances: FloatArray
) -> tuple[FloatArray, float]:
    """Find the worst point: the worst of sample and vertices, and from there along lines."""
    at_corners = information.variance_at(terrain.corner_rows)
    points = np.vstack([terrain.corners, terrain.sample])
    every = np.concatenate([at_corners, variances])
    # A corner wins a tie against a point of the sample that is as bad: it is named more easily.
    order = np.argsort(-every, kind="stable")
    rng = np.random.default_rng([terrain.seed, 4])
    best, largest = points[order[0]], float(every[order[0]])
    for start in order[:_STARTS]:
        found, value = _climbed(information, terrain, points, int(start), float(every[start]), rng)
        if value > largest * (1 + _GAIN):
            best, largest = found, value
    return best, largest


def _climbed(
    information: Information,
    terrain: Terrain,
    points: FloatArray,
    start: int,
    value: float,
    rng: np.random.Generator,
) -> tuple[FloatArray, float]:
    """Walk uphill from a point, towards and away from other points of the region."""
    here, idle, scale = points[start], 0, 1.0
    n_corners = len(terrain.corners)
    axes = terrain.region.coding.axes
    choices = [j for j, axis in enumerate(axes) if isinstance(axis, ChoiceAxis)]
    for _ in range(_ROUNDS):
        ends = np.concatenate(
            [
                rng.integers(n_corners, size=_DIRECTIONS // 2),
                rng.integers(len(points), size=_DIRECTIONS // 2),
            ]
        )
        moves = here + scale * _STEPS[:, None, None] * (points[ends] - here)[None, :, :]
        moves = moves.reshape(-1, len(here))
        # Between two levels there is nothing: a step of a hair towards another one would take its
        # ranges and still count as inside.
        moves[:, choices] = here[choices]
        moves = moves[np.asarray(terrain.region.contains(moves, 1e-9))]
        found = information.variance_at(terrain.rows(moves)) if len(moves) else np.zeros(0)
        if len(found) and found.max() > value * (1 + _GAIN):
            here, value, idle = moves[int(np.argmax(found))], float(found.max()), 0
            continue
        idle, scale = idle + 1, scale / 3
        if idle >= _PATIENCE:
            break
    return here, value

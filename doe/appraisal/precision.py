"""How well a plan tells a model: efficiencies, prediction variance, degrees of freedom.

Source:
    Atkinson, Donev and Tobias (2007), Optimum Experimental Designs, with SAS, chapter 10;
    DESIGN.md, section 5, "Criteria".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.model.information import RANK_TOLERANCE
from doe.model.matrix import model_matrix
from doe.model.region import Region
from doe.model.sampling import sample_region
from doe.model.terms import Model
from doe.model.vertices import region_vertices
from doe.study.settings import FloatArray, IntArray

# Points of the seeded sample: the average is then known to about one per cent.
SAMPLE = 4000
# Local search for the worst point: moves along lines to other points, kept while they gain.
_ROUNDS = 30
_STEPS = np.array([0.5, 0.2, 0.05, -0.05, -0.2])
_DIRECTIONS = 60
_GAIN = 1e-9
# Part of a coefficient in an untold direction below which it is rounding noise.
_PART = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Information:
    """What a plan tells about a model, blocks allowed for.

    Attributes:
        covariance: (X'X)^-1 for the terms of the model, shape (p, p), in error variances.
        d_efficiency: |X'X|^(1/p) / n, for shares no percentage.
        residual_df: Runs less everything that is estimated.
        estimable: Whether each column can be told from the rest, p entries.
    """

    covariance: FloatArray
    d_efficiency: float
    residual_df: int
    estimable: tuple[bool, ...]


def information_of(X: FloatArray, blocks: IntArray | None = None) -> Information:
    """Summarise what runs tell about a model.

    Args:
        X: Model matrix, shape (n, p).
        blocks: Fixed block of each run, shape (n,); None without blocks.
    """
    n, p = X.shape
    Z = _block_columns(blocks, n)
    both = np.hstack([X, Z])
    # Columns of unit length: rank must not depend on their units.
    lengths = np.linalg.norm(both, axis=0)
    lengths = np.where(lengths > 0, lengths, 1.0)
    _, s, Vt = np.linalg.svd(both / lengths, full_matrices=True)
    rank = int((s > RANK_TOLERANCE * s[0]).sum())
    full = rank == both.shape[1]
    # (X'X)^-1 = V S^-2 V', from the singular values: X'X would square the condition number.
    inverse = (Vt[:rank].T / s[:rank] ** 2) @ Vt[:rank] / np.outer(lengths, lengths)
    # A coefficient is estimable if no direction that the runs don't tell has a part in it.
    unknown = np.abs(Vt[rank:, :p]).max(axis=0, initial=0.0)
    estimable = tuple(bool(part < _PART) for part in unknown)
    return Information(
        covariance=inverse[:p, :p],
        d_efficiency=_d_efficiency(X, Z) if full else 0.0,
        residual_df=n - rank,
        estimable=estimable,
    )


def _d_efficiency(X: FloatArray, Z: FloatArray) -> float:
    """Give |X'(I − P)X|^(1/p) / n, P the projection on the block columns."""
    n, p = X.shape
    if Z.shape[1]:
        Q, _ = np.linalg.qr(Z)
        X = X - Q @ (Q.T @ X)
    _, R = np.linalg.qr(X)
    return float(np.exp(2.0 * np.log(np.abs(np.diag(R))).sum() / p) / n)


def _block_columns(blocks: IntArray | None, n: int) -> FloatArray:
    """Code blocks so that they sum to zero over the blocks, shape (n, blocks − 1)."""
    if blocks is None:
        return np.zeros((n, 0))
    labels = np.unique(blocks)
    columns = np.zeros((n, len(labels) - 1))
    for j, label in enumerate(labels[:-1]):
        columns[:, j] = (blocks == label).astype(float) - (blocks == labels[-1])
    return columns


def a_criterion(X: FloatArray) -> float:
    """Give trace((X'X/n)^-1) / p."""
    n, p = X.shape
    return float(np.trace(information_of(X).covariance) * n / p)


def g_efficiency(X: FloatArray, candidates: FloatArray) -> float:
    """Give p over n times the largest prediction variance among candidates; 1 is ideal."""
    n, p = X.shape
    variance = prediction_variance(candidates, information_of(X).covariance)
    return float(p / (n * variance.max()))


def prediction_variance(rows: FloatArray, covariance: FloatArray) -> FloatArray:
    """Give x'(X'X)^-1 x for each row of a model matrix, shape (g,), in error variances."""
    variance: FloatArray = np.einsum("ij,jk,ik->i", rows, covariance, rows)
    return variance


def region_variance(
    covariance: FloatArray, region: Region, model: Model, rng: np.random.Generator
) -> tuple[float, float]:
    """Average and maximise the prediction variance over the region.

    Args:
        covariance: (X'X)^-1, shape (p, p).
        region: All settings of the brief.
        model: The model.
        rng: Source of the sample.

    Returns:
        The average over a uniform sample, and the largest value of sample, vertices and a local
        search from the worst point; in error variances.
    """
    sample = sample_region(region, SAMPLE, rng)

    def variance_at(values: FloatArray) -> FloatArray:
        return prediction_variance(model_matrix(values, region.coding, model), covariance)

    variances = variance_at(sample)
    corners = region_vertices(region)
    points = np.vstack([sample, corners])
    every = np.concatenate([variances, variance_at(corners)])
    worst, largest = points[int(np.argmax(every))], float(every.max())
    for _ in range(_ROUNDS):
        towards = points[rng.integers(len(points), size=_DIRECTIONS)]
        moves = worst + _STEPS[:, None, None] * (towards - worst)[None, :, :]
        moves = moves.reshape(-1, len(worst))
        moves = moves[np.asarray(region.contains(moves, 1e-9))]
        if not len(moves):
            continue
        found = variance_at(moves)
        if found.max() > largest + _GAIN:
            worst, largest = moves[int(np.argmax(found))], float(found.max())
    return float(variances.mean()), largest


def pure_error_df(values: FloatArray) -> int:
    """Count the degrees of freedom from runs with equal settings, shape (n, k)."""
    # A setting that a level lacks (NaN) equals itself here.
    keys = {tuple(np.round(np.nan_to_num(row, nan=-1e9), 9).tolist()) for row in values}
    return len(values) - len(keys)

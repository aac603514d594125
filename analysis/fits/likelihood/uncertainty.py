"""Covariances of parameters: by observed information, and by clusters beside it.

Source:
    Observed information: Efron and Hinkley (1978), Biometrika 65, 457-487. By clusters: Liang and
    Zeger (1986), Biometrika 73, 13-22, with the factor b/(b − 1).
"""

from __future__ import annotations

import numpy as np

from analysis.fits.likelihood.maximise import Maximum
from doe.study.settings import FloatArray


def inverse_information(maximum: Maximum) -> FloatArray:
    """Invert the observed information; a direction without any gets NaN."""
    information = maximum.information
    scale = 1.0 / np.sqrt(np.maximum(np.abs(np.diag(information)), 1e-300))
    values, vectors = np.linalg.eigh(information * np.outer(scale, scale))
    if values.min() <= _NO_INFORMATION * values.max():
        return np.full_like(information, np.nan)
    half = scale[:, None] * vectors / np.sqrt(values)
    covariance: FloatArray = half @ half.T
    return covariance


# Below this part of the largest curvature the likelihood is flat to the digits it has.
_NO_INFORMATION = 1e-13


def robust_covariance(maximum: Maximum, inverse: FloatArray) -> FloatArray | None:
    """Estimate the covariance from the scatter of the clusters' scores.

    Returns:
        None where there are no more clusters than parameters: the scores then add to nothing in
        some direction, and the estimate would call it certain.
    """
    k = len(inverse)
    scores = maximum.evaluation.scores[:, :k]
    b = len(scores)
    if b <= k:
        return None
    covariance: FloatArray = inverse @ (scores.T @ scores) @ inverse * (b / (b - 1.0))
    return covariance

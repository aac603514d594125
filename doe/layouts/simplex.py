"""What layouts on a simplex of shares have in common: its corners, its centre, its check blends."""

from __future__ import annotations

import numpy as np

from doe.model.coding import Coding
from doe.model.pseudo import from_pseudo, lowest_shares
from doe.study.settings import FloatArray

# Slack when the limits are compared with a whole simplex; shares are proportions near 1.
_TOLERANCE = 1e-9


def is_simplex(coding: Coding) -> bool:
    """Tell whether the share limits leave a whole simplex: no upper limit cuts a corner off."""
    low = lowest_shares(coding)
    slack = 1.0 - float(low.sum())
    return all(
        axis.high >= least + slack - _TOLERANCE
        for axis, least in zip(coding.shares, low, strict=True)
    )


def real_shares(pseudo: FloatArray, coding: Coding) -> FloatArray:
    """Turn points of the simplex of pseudo-components into shares, shape (n, q)."""
    return np.asarray(from_pseudo(pseudo, lowest_shares(coding)), dtype=np.float64)


def centroid(q: int) -> FloatArray:
    """Give the point of equal shares, shape (1, q)."""
    return np.full((1, q), 1.0 / q)


def check_blends(q: int) -> FloatArray:
    """Give the interior blends half-way from the centroid to each corner, shape (q, q).

    Source:
        Cornell (2002), Experiments with Mixtures, 3rd ed., section 2.11 (check points).
    """
    return (np.eye(q) + centroid(q)) / 2.0


def without_points(rows: FloatArray, others: FloatArray) -> FloatArray:
    """Leave out the rows that stand among others as well, shape (m, q)."""
    if not len(others):
        return rows
    gaps = np.abs(rows[:, None, :] - others[None, :, :]).max(axis=2).min(axis=1)
    kept: FloatArray = rows[gaps > _TOLERANCE]
    return kept

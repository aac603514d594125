"""Runs that lie near a slice, to be marked on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.lab.response_data import ResponseData
from doe.model.coding import ChoiceAxis
from doe.model.region import Region
from doe.study.settings import FloatArray

# The other settings of a run may lie this far off, as a mean part of their ranges.
NEAR = 0.25


def near_slice(
    data: ResponseData | None, region: Region, at: FloatArray, drawn: Sequence[int]
) -> FloatArray:
    """Give the drawn settings of the runs near a slice, shape (m, len(drawn)), lab units.

    Args:
        data: The runs that were fitted; None gives no runs.
        region: The region, for the ranges.
        at: The recipe that the slice goes through, shape (k,), lab units.
        drawn: Columns of the settings that the slice varies.
    """
    if data is None:
        return np.zeros((0, len(drawn)))
    planned = [name is None for name in data.control]
    values = data.actual.values[np.array(planned, dtype=np.bool_)]
    axes = region.coding.axes
    others = [j for j in range(len(axes)) if j not in drawn and np.isfinite(at[j])]
    near = np.all(np.isfinite(values[:, drawn]), axis=1)
    distances = []
    for j in others:
        gap = np.abs(values[:, j] - at[j])
        if isinstance(axes[j], ChoiceAxis):
            near &= gap < 0.5
        else:
            distances.append(gap / (region.spans[j] or 1.0))
    if distances:
        # A run that lacks a setting lies off the slice.
        near &= np.nan_to_num(np.mean(distances, axis=0), nan=np.inf) <= NEAR
    kept: FloatArray = values[near][:, list(drawn)]
    return kept

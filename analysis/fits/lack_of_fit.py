"""Pure error: what runs with equal planned settings scatter among themselves.

Blocks shift all their runs alike, as in the fit, so replicates in different blocks count after
allowing for that shift: the control of each day would tell nothing otherwise.

Source:
    Draper and Smith (1998), Applied Regression Analysis, 3rd ed., section 2.1; groups on planned
    settings, DESIGN.md, section 5, "Repeats".
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import linalg

from doe.model.coding import Coding, NumericAxis
from doe.study.settings import FloatArray

# Settings count as equal when they agree to this part of their range: typing, not bench, accuracy.
_SAME = 1e-6
# Block columns hold 0 and ±1: less than this within groups is rounding.
_NOTHING = 1e-9


def replicate_groups(
    planned: FloatArray, coding: Coding, control: Sequence[str | None]
) -> tuple[int, ...]:
    """Number the groups of runs with equal planned settings.

    Args:
        planned: Planned settings, shape (n, k), lab units.
        coding: Gives the span that differences are measured by.
        control: Control of each run; the runs of a control are a group whatever their settings.

    Returns:
        One group number a run, from 0 in order of first appearance.
    """
    spans = np.array([_span(axis) for axis in coding.axes])
    cells = np.nan_to_num(np.round(planned / (spans * _SAME)), nan=-9e15).tolist()
    numbers: dict[tuple[object, ...], int] = {}
    return tuple(
        numbers.setdefault((name,) if name is not None else tuple(row), len(numbers))
        for name, row in zip(control, cells, strict=True)
    )


def pure_error(
    residuals: FloatArray, groups: Sequence[int], blocks: FloatArray
) -> tuple[float, int]:
    """Give sum of squares and degrees of freedom within groups, allowing for blocks.

    Residuals stand for readings, so that replicates whose actual settings differ a little are
    compared after allowing for it by the model; with equal settings both give the same. The rest
    of the residual sum of squares is that of the group means, hence never negative.

    Args:
        residuals: Shape (n,), fitted scale.
        groups: Group number of each run.
        blocks: Columns of the blocks, shape (n, b − 1); no columns without blocks.

    Example:
        >>> pure_error(np.array([1.0, 3.0, 5.0]), (0, 0, 1), np.zeros((3, 0)))
        (2.0, 1)
    """
    apart, n_groups = _within(residuals[:, None], groups)
    own, _ = _within(blocks, groups)
    Q, R, _ = linalg.qr(own, mode="economic", pivoting=True)
    rank = int((np.abs(np.diag(R)) > _NOTHING).sum())
    basis = Q[:, :rank]
    left = apart[:, 0] - basis @ (basis.T @ apart[:, 0])
    return float(left @ left), len(residuals) - n_groups - rank


def _within(columns: FloatArray, groups: Sequence[int]) -> tuple[FloatArray, int]:
    """Take the mean of its group off every entry, and count the groups."""
    _, number, counts = np.unique(np.asarray(groups), return_inverse=True, return_counts=True)
    within = np.empty_like(columns)
    for j in range(columns.shape[1]):
        means = np.bincount(number, weights=columns[:, j]) / counts
        within[:, j] = columns[:, j] - means[number]
    return within, len(counts)


def _span(axis: object) -> float:
    if isinstance(axis, NumericAxis):
        return (axis.high - axis.low) or 1.0
    return 1.0

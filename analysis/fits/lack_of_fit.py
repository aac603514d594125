"""Pure error: what runs with equal planned settings scatter among themselves.

Source:
    Draper and Smith (1998), Applied Regression Analysis, 3rd ed., section 2.1; groups on planned
    settings, DESIGN.md, section 5, "Repeats".
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from doe.model.coding import Coding, NumericAxis
from doe.study.settings import FloatArray

# Settings count as equal when they agree to this part of their range: typing, not bench, accuracy.
_SAME = 1e-6


def replicate_groups(
    planned: FloatArray,
    coding: Coding,
    control: Sequence[str | None],
    block: Sequence[str | None],
) -> tuple[int, ...]:
    """Number the groups of runs with equal planned settings in one block.

    Args:
        planned: Planned settings, shape (n, k), lab units.
        coding: Gives the span that differences are measured by.
        control: Control of each run; the runs of a control are a group whatever their settings.
        block: Block of each run; runs of different blocks are no replicates of each other.

    Returns:
        One group number a run, from 0 in order of first appearance.
    """
    spans = np.array([_span(axis) for axis in coding.axes])
    numbers: dict[tuple[object, ...], int] = {}
    groups = []
    for i, (name, where) in enumerate(zip(control, block, strict=True)):
        cells = np.nan_to_num(np.round(planned[i] / (spans * _SAME)), nan=-9e15)
        key: tuple[object, ...] = (where, name) if name is not None else (where, *cells.tolist())
        groups.append(numbers.setdefault(key, len(numbers)))
    return tuple(groups)


def pure_error(residuals: FloatArray, groups: Sequence[int]) -> tuple[float, int]:
    """Give sum of squares and degrees of freedom within groups.

    Residuals stand for readings, so that replicates whose actual settings differ a little are
    compared after allowing for it by the model; with equal settings both give the same. The rest
    of the residual sum of squares is that of the group means, hence never negative.

    Args:
        residuals: Shape (n,), fitted scale.
        groups: Group number of each run.

    Example:
        >>> pure_error(np.array([1.0, 3.0, 5.0]), (0, 0, 1))
        (2.0, 1)
    """
    _, number, counts = np.unique(np.asarray(groups), return_inverse=True, return_counts=True)
    means = np.bincount(number, weights=residuals) / counts
    apart = residuals - means[number]
    return float(apart @ apart), len(number) - len(counts)


def _span(axis: object) -> float:
    if isinstance(axis, NumericAxis):
        return (axis.high - axis.low) or 1.0
    return 1.0

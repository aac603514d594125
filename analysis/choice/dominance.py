"""Which recipes nothing beats: fast filters over tables of heights.

Source:
    Kung, Luccio and Preparata (1975), Journal of the ACM 22, 469-476, for what is asked; the filter
    here passes once from the greatest sum down, as nothing below can dominate what lies above.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from doe.study.settings import FloatArray, IntArray

# What a response gains beyond best counts up to this height where it is asked what is matched.
CUT = 1.2
# Rows nearer than this are not told apart in a table.
APART = 0.01


def non_dominated(heights: FloatArray, tolerance: float = 0.0) -> IntArray:
    """Find the rows that no other row matches everywhere and beats somewhere.

    Args:
        heights: Shape (n, m), higher is better. Of equal rows the first stays.
        tolerance: A row goes too where another one matches it to this.

    Returns:
        Row numbers, rising, shape (f,).

    Example:
        >>> non_dominated(np.array([[1.0, 0.0], [0.5, 0.5], [0.4, 0.4], [0.0, 1.0]]))
        array([0, 1, 3])
    """
    # A dominating row has the greater sum, so that one pass from the top is enough.
    order = np.argsort(-heights.sum(axis=1), kind="stable")
    kept: list[int] = []
    while len(order):
        first, order = order[0], order[1:]
        kept.append(int(first))
        order = order[~np.all(heights[order] <= heights[first] + tolerance, axis=1)]
    return np.array(sorted(kept), dtype=np.int64)


def matched_within(heights: FloatArray, front: FloatArray) -> FloatArray:
    """Measure how far recipes, (n, m), are from being matched by a frontier, (f, m): (n,), ramps.

    0 and below where some recipe of the frontier is as good in every response; what lies further
    beyond best than a fifth of a ramp counts as that.

    Example:
        >>> matched_within(np.array([[0.6, 0.6]]), np.array([[1.0, 0.5], [0.5, 1.0]])).round(6)
        array([0.1])
    """
    least = np.full(len(heights), np.inf)
    wanted = np.minimum(heights, CUT)
    for row in front:
        least = np.minimum(least, (wanted - row).max(axis=1))
    return least


def well_spread(heights: FloatArray, n: int) -> list[int]:
    """Pick rows far from one another, the first and the ends of every column among them.

    Args:
        heights: Shape (f, m), ramps; what lies beyond both ends of a ramp counts as its end.
        n: How many at most.

    Returns:
        Row numbers, rising.
    """
    cut = np.clip(heights, 0.0, CUT)
    picked = list(dict.fromkeys([0, *(int(i) for i in heights.argmax(axis=0))]))[:n]
    far = np.min([np.linalg.norm(cut - cut[i], axis=1) for i in picked], axis=0)
    for i in _farthest(cut, far, n - len(picked)):
        picked.append(i)
    return sorted(picked)


def _farthest(cut: FloatArray, far: FloatArray, n: int) -> Iterator[int]:
    for _ in range(n):
        i = int(np.argmax(far))
        if far[i] <= APART:
            return
        yield i
        far = np.minimum(far, np.linalg.norm(cut - cut[i], axis=1))

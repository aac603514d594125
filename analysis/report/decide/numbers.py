"""Numbers as JSON takes them: NaN as null, infinity as a number too large to reach."""

from __future__ import annotations

import math
from typing import Any

from doe.study.settings import FloatArray

# Stands for infinity, which JSON lacks; degrees of freedom beyond 1e15 are read as without end.
WITHOUT_END = 1e300

Json = dict[str, Any]


def number(value: float | None) -> float | None:
    """Give one number.

    Example:
        >>> number(1.5), number(float("nan")), number(float("-inf"))
        (1.5, None, -1e+300)
    """
    if value is None or math.isnan(value):
        return None
    return math.copysign(WITHOUT_END, value) if math.isinf(value) else float(value)


def numbers(values: FloatArray) -> list[Any]:
    """Give an array of any shape as nested lists."""
    if values.ndim == 1:
        return [number(float(value)) for value in values]
    return [numbers(row) for row in values]

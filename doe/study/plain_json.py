"""Values as JSON can hold them, and back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np


def to_plain(value: Any) -> Any:
    """Turn tuples, sets, maps and arrays into what JSON holds; NaN and infinities become None.

    Example:
        >>> to_plain({3: (1, float("nan"))})
        {'3': [1, None]}
    """
    if isinstance(value, Mapping):
        return {str(key): to_plain(one) for key, one in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return to_plain(value.tolist())
    if isinstance(value, set | frozenset):
        return sorted(to_plain(one) for one in value)
    if isinstance(value, list | tuple):
        return [to_plain(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def with_number_keys(value: Any) -> Any:
    """Give maps whose keys are all whole numbers those numbers as keys again.

    Example:
        >>> with_number_keys({"block": {"1": "mill A"}})
        {'block': {1: 'mill A'}}
    """
    if isinstance(value, dict):
        by_number = bool(value) and all(key.isascii() and key.isdigit() for key in value)
        return {int(key) if by_number else key: with_number_keys(one) for key, one in value.items()}
    return [with_number_keys(one) for one in value] if isinstance(value, list) else value

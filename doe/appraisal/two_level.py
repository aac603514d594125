"""The words of a two-level fraction, said with the factors' own names."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from doe.model.coding import ChoiceAxis, NumericAxis, code
from doe.model.region import Region
from doe.model.terms import is_blend
from doe.study.settings import FloatArray

# Longest products looked for in runs: a resolution above it is told as a full factorial.
_LONGEST_WORD = 8
_TWO = 2


def relation_in_words(words: Sequence[int], names: Sequence[str]) -> list[str]:
    """Write the words of a defining relation, bit masks over the factors, with factor names.

    Example:
        >>> relation_in_words([7], ["dose", "pH", "grind time"])
        ['dose × pH × grind time']
    """
    return [" × ".join(name for j, name in enumerate(names) if word >> j & 1) for word in words]


def found_words(signs: FloatArray) -> tuple[int, ...]:
    """Find the products of factors that are constant over two-level runs.

    Args:
        signs: Coded settings, −1 and +1, shape (n, k).

    Returns:
        Words as bit masks, the shortest first, those of more than eight factors left out.
    """
    found = []
    n, k = signs.shape
    for length in range(1, min(k, _LONGEST_WORD) + 1):
        for columns in itertools.combinations(range(k), length):
            product = signs[:, columns].prod(axis=1)
            if abs(product.sum()) > n - 0.5:
                found.append(sum(1 << j for j in columns))
    return tuple(found)


def alias_chains(words: Sequence[int], n_factors: int, order: int = 2) -> list[tuple[int, ...]]:
    """Group the effects up to an order by what can't be told apart.

    Args:
        words: All words of the defining relation.
        n_factors: Number of two-level factors.
        order: Highest order of effect that is listed.

    Returns:
        Chains of two or more effects as bit masks, the shortest effect first.
    """
    effects = [
        sum(1 << j for j in columns)
        for length in range(1, order + 1)
        for columns in itertools.combinations(range(n_factors), length)
    ]
    relation = (0, *words)
    chains: dict[int, list[int]] = {}
    for effect in effects:
        chains.setdefault(min(effect ^ word for word in relation), []).append(effect)
    return [tuple(chain) for chain in chains.values() if len(chain) > 1]


def two_level_words(values: FloatArray, region: Region) -> tuple[int | None, tuple[str, ...]]:
    """Recognise a two-level fraction: all factors at their ends, perhaps with centre runs.

    Args:
        values: Settings, shape (n, k), lab units.
        region: The settings allowed.

    Returns:
        The resolution and the words of the defining relation; None and none for other plans.
    """
    coding = region.coding
    if is_blend(coding) or np.isnan(values).any() or not len(values):
        return None, ()
    coded = code(values, coding)
    columns = []
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ChoiceAxis):
            if len(axis.levels) != _TWO:
                return None, ()
            columns.append(1.0 - 2.0 * coded[:, j])
        elif isinstance(axis, NumericAxis):
            columns.append(np.round(coded[:, j], 9))
    signs = np.column_stack(columns)
    numeric = [isinstance(axis, NumericAxis) for axis in coding.factors]
    at_ends = np.abs(signs[:, numeric]) == 1.0
    core = signs[at_ends.all(axis=1)]
    rest = signs[~at_ends.all(axis=1)][:, numeric]
    if not len(core) or np.any(rest != 0.0):
        return None, ()
    words = found_words(core)
    names = [axis.name for axis in coding.factors]
    resolution = min((word.bit_count() for word in words), default=None)
    return resolution, tuple(relation_in_words(words, names))

"""The words of a two-level fraction, said with the factors' own names."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from doe.study.settings import FloatArray

# Longest products looked for in runs: a resolution above it is told as a full factorial.
_LONGEST_WORD = 8


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

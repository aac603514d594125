"""Two-level fractions: minimum-aberration generators and the algebra of their words.

A word is a set of factors whose product is constant over the runs, held as a bit mask: bit 0 is
the first factor. The runs of a fraction with m basic factors are all combinations of these.

Source:
    Chen, Sun and Wu (1993), International Statistical Review 61, 131-145: the minimum-aberration
    fractions to 64 runs. Those with 128 runs by complete search of the generators for least
    aberration.
"""

from __future__ import annotations

import itertools

import numpy as np

from doe.study.settings import FloatArray

# Yates numbers of the generated columns, by (factors, runs): bit j set = basic factor j in the
# product, so 7 is the product of the first three.
GENERATORS: dict[tuple[int, int], tuple[int, ...]] = {
    (3, 4): (3,),
    (4, 8): (7,),
    (5, 8): (3, 5),
    (6, 8): (3, 5, 6),
    (7, 8): (3, 5, 6, 7),
    (5, 16): (15,),
    (6, 16): (7, 11),
    (7, 16): (7, 11, 13),
    (8, 16): (7, 11, 13, 14),
    (9, 16): (3, 5, 9, 14, 15),
    (10, 16): (3, 5, 6, 9, 14, 15),
    (11, 16): (3, 5, 6, 9, 10, 13, 14),
    (12, 16): (3, 5, 6, 9, 10, 13, 14, 15),
    (13, 16): (3, 5, 6, 7, 9, 10, 11, 12, 13),
    (14, 16): (3, 5, 6, 7, 9, 10, 11, 12, 13, 14),
    (15, 16): (3, 5, 6, 7, 9, 10, 11, 12, 13, 14, 15),
    (6, 32): (31,),
    (7, 32): (7, 27),
    (8, 32): (7, 11, 29),
    (9, 32): (7, 11, 19, 29),
    (10, 32): (7, 11, 19, 29, 30),
    (11, 32): (7, 11, 13, 19, 21, 25),
    (12, 32): (7, 11, 13, 14, 19, 21, 25),
    (13, 32): (7, 11, 13, 14, 19, 21, 22, 25),
    (14, 32): (7, 11, 13, 14, 19, 21, 22, 25, 26),
    (15, 32): (7, 11, 13, 14, 19, 21, 22, 25, 26, 28),
    (7, 64): (63,),
    (8, 64): (15, 51),
    (9, 64): (7, 27, 45),
    (10, 64): (7, 27, 43, 53),
    (11, 64): (7, 11, 29, 45, 51),
    (12, 64): (7, 11, 29, 45, 51, 62),
    (13, 64): (7, 11, 21, 25, 38, 58, 60),
    (14, 64): (7, 11, 19, 30, 37, 41, 49, 60),
    (15, 64): (7, 11, 19, 30, 37, 41, 49, 60, 63),
    (8, 128): (127,),
    (9, 128): (31, 103),
    (10, 128): (15, 51, 85),
    (11, 128): (15, 51, 85, 106),
}


def two_level_runs(n_factors: int, n_runs: int) -> FloatArray:
    """Make a full or fractional two-level layout in standard order.

    Returns:
        Coded settings, −1 and +1, shape (n_runs, n_factors).

    Raises:
        KeyError: The catalogue holds no such fraction.
    """
    n_basic = n_runs.bit_length() - 1
    numbers = np.arange(n_runs)
    basic = np.stack([np.where(numbers >> j & 1, 1.0, -1.0) for j in range(n_basic)], axis=1)
    if n_factors <= n_basic:
        return np.asarray(basic[:, :n_factors], dtype=np.float64)
    made = [
        np.prod(basic[:, [j for j in range(n_basic) if column >> j & 1]], axis=1)
        for column in GENERATORS[(n_factors, n_runs)]
    ]
    return np.column_stack([basic, *made])


def defining_words(n_factors: int, n_runs: int) -> tuple[int, ...]:
    """List the words of the defining relation, the shortest first; none for a full factorial."""
    n_basic = n_runs.bit_length() - 1
    if n_factors <= n_basic:
        return ()
    generators = [
        column | 1 << (n_basic + i) for i, column in enumerate(GENERATORS[(n_factors, n_runs)])
    ]
    return products(tuple(generators))


def resolution_of(words: tuple[int, ...]) -> int | None:
    """Give the length of the shortest word; None for a full factorial."""
    return min((word.bit_count() for word in words), default=None)


def fractions_of(n_factors: int) -> tuple[int, ...]:
    """List the run counts on offer, fewest first; the full factorial closes the list."""
    sizes = sorted(runs for factors, runs in GENERATORS if factors == n_factors)
    full = 2**n_factors
    return (*(size for size in sizes if size < full), full)


def smallest_fraction(n_factors: int, resolution: int) -> int:
    """Find the fewest runs whose resolution is at least the one wanted.

    Example:
        >>> smallest_fraction(6, 4), smallest_fraction(7, 4), smallest_fraction(8, 5)
        (16, 16, 64)
    """
    for n_runs in fractions_of(n_factors):
        reached = resolution_of(defining_words(n_factors, n_runs))
        if reached is None or reached >= resolution:
            return n_runs
    raise AssertionError("a full factorial has every resolution")


def largest_fraction(n_factors: int, at_most: int) -> int | None:
    """Find the most runs of the catalogue within a budget; None if even the least is above it."""
    fitting = [n_runs for n_runs in fractions_of(n_factors) if n_runs <= at_most]
    return fitting[-1] if fitting else None


def block_words(
    n_factors: int, n_runs: int, n_blocks: int, *, clear: int = 1
) -> tuple[int, ...] | None:
    """Choose the effects that are confounded with blocks, keeping low orders clear of them.

    All products of the chosen generators are confounded with blocks, and with them their aliases.
    Of the sets of generators the one is taken whose shortest confounded effect is longest, then
    the one with the fewest of that length.

    Args:
        n_factors: Number of two-level factors.
        n_runs: Runs of the layout, a power of two.
        n_blocks: Number of blocks, a power of two.
        clear: Order of effects up to which none may be confounded: 1 main effects, 2 interactions.

    Returns:
        Generators as words in the basic factors; None if an effect of those orders would be
        confounded with blocks.

    Source:
        Box, Hunter and Hunter (2005), Statistics for Experimenters, 2nd ed., section 5.15.
    """
    n_basic = min(n_runs.bit_length() - 1, n_factors)
    n_generators = n_blocks.bit_length() - 1
    relation = (0, *defining_words(n_factors, n_runs))
    effects = range(1, 2**n_basic)
    shortest = {e: min((e ^ word).bit_count() for word in relation) for e in effects}
    most = _MOST_BLOCK_EFFECTS[0 if n_generators <= _FEW_GENERATORS else 1]
    order = sorted(effects, key=lambda e: (-shortest[e], e))[:most]
    best: tuple[tuple[int, ...], tuple[int, ...]] | None = None
    for chosen in itertools.combinations(order, n_generators):
        group = products(chosen)
        if len(group) < n_blocks - 1:
            continue
        key = tuple(sorted(shortest[effect] for effect in group))
        if best is None or key > best[0]:
            best = (key, chosen)
    return best[1] if best is not None and best[0][0] > clear else None


# The effects tried as generators, the longest ones: keeps the sets tried below 50 000.
_FEW_GENERATORS = 3
_MOST_BLOCK_EFFECTS = (63, 20)


def products(words: tuple[int, ...]) -> tuple[int, ...]:
    """List all products of some words, the empty one left out, shortest first."""
    group = {0}
    for word in words:
        group |= {other ^ word for other in group}
    return tuple(sorted(group - {0}, key=lambda word: (word.bit_count(), word)))


def block_numbers(basic: FloatArray, words: tuple[int, ...]) -> list[int]:
    """Divide the runs by the signs of the block words; blocks count from 1."""
    numbers = np.zeros(basic.shape[0], dtype=np.int64)
    for word in words:
        columns = [j for j in range(basic.shape[1]) if word >> j & 1]
        numbers = 2 * numbers + (np.prod(basic[:, columns], axis=1) > 0)
    return [int(number) + 1 for number in numbers]

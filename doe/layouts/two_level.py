"""What two-level layouts share: centre settings and blocks confounded with high-order effects."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np

from doe.layouts.blocking import block_rule
from doe.layouts.generators import block_numbers, block_words, products, two_level_runs
from doe.layouts.request import Request
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.study.settings import FloatArray

# Smaller blocks than this would confound interactions of two factors in every layout.
_LEAST_BLOCK = 4
# Combinations of choices whose centre is run; more would cost runs that say little.
_MOST_CENTRES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockPlan:
    """Blocks of a two-level layout.

    Attributes:
        block: Block of each run, from 1.
        reasons: How they were made.
        details: Effects given up to the blocks, in words.
    """

    block: tuple[int, ...]
    reasons: tuple[str, ...]
    details: dict[str, Any]


def centre_rows(coding: Coding) -> FloatArray:
    """Give the centre of the ranges at each combination of choices, far ones first.

    Returns:
        Coded, shape (c, k); no rows where no factor has a centre.
    """
    has_centre = any(
        isinstance(axis, NumericAxis) and len(axis.levels) != 2 for axis in coding.axes
    )
    if not has_centre:
        return np.zeros((0, len(coding.axes)))
    levels = [
        [float(i) for i in range(len(axis.levels))]
        if isinstance(axis, ChoiceAxis)
        else [-1.0, 1.0]
        if isinstance(axis, NumericAxis) and len(axis.levels) == 2
        else [1.0]
        if isinstance(axis, ShareAxis)
        else [0.0]
        for axis in coding.axes
    ]
    every = [np.array(row) for row in itertools.product(*levels)]
    return np.array(_far_apart(every)[:_MOST_CENTRES])


def sensible_centre(rows: FloatArray, default: int) -> int:
    """Give the default number of centre runs: each centre at least twice, for pure error."""
    if not len(rows):
        return 0
    return default if len(rows) == 1 else max(default, 2 * len(rows))


def _far_apart(rows: list[FloatArray]) -> list[FloatArray]:
    """Order rows so that the next one differs most from those before it."""
    chosen = [rows[0]]
    left = rows[1:]
    while left:
        gaps = [sum(int(np.count_nonzero(row != other)) for other in chosen) for row in left]
        chosen.append(left.pop(int(np.argmax(gaps))))
    return chosen


def block_plan(request: Request, n_factors: int, n_runs: int, n_centre: int) -> BlockPlan | None:
    """Confound blocks with interactions of high order, where the blocks of the brief allow it.

    Args:
        request: The request; its study names the size of a block.
        n_factors: Two-level factors of the layout.
        n_runs: Its runs, a power of two, in standard order.
        n_centre: Centre runs where the request names none.

    Returns:
        None where no blocks are needed, the blocks don't hold the runs in powers of two, or an
        effect of the model would be given up.
    """
    rule = block_rule(request.study)
    centre = n_centre if request.centre is None else request.centre
    extra = centre + request.n_replicates
    if request.runs is not None:
        extra = request.runs - n_runs
    if rule is None or n_runs + extra <= rule.room:
        return None
    per_block = min(1 << (rule.room.bit_length() - 1), n_runs)
    n_blocks = n_runs // per_block
    if per_block < _LEAST_BLOCK or n_blocks < 2 or extra > n_blocks * (rule.room - per_block):
        return None
    clear = 1 if request.wanted_models == ("linear",) else 2
    words = block_words(n_factors, n_runs, n_blocks, clear=clear)
    if words is None:
        return None
    names = [axis.name for axis in request.coding.factors]
    given_up = [
        " × ".join(names[j] for j in range(n_factors) if word >> j & 1) for word in products(words)
    ]
    return BlockPlan(
        block=tuple(block_numbers(two_level_runs(n_factors, n_runs), words)),
        reasons=(
            f"{n_blocks} blocks of {per_block} and centre runs ({rule.name}): differences between "
            f"blocks are mixed up only with {', '.join(given_up)} and what is aliased with them.",
        ),
        details={"confounded with blocks": given_up},
    )

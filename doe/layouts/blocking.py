"""Blocks: how many runs share a day or another block, and dividing runs so that little is lost."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from doe.errors import PlanError
from doe.layouts.request import Request
from doe.study.brief import Study
from doe.study.settings import BoolArray, FloatArray, IntArray

# Random divisions tried; the best of 200 is within a few per cent of the best of all.
_DIVISIONS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockRule:
    """What the brief says of blocks.

    Attributes:
        name: `day`, or the name of the block in the brief.
        size: Runs (mill batches) a block can hold, controls among them.
        n_controls: Control runs that each block holds.
    """

    name: str
    size: int
    n_controls: int

    @property
    def room(self) -> int:
        """Runs of the plan that a block can hold beside its controls."""
        return max(self.size - self.n_controls, 1)


def block_rule(study: Study) -> BlockRule | None:
    """Read the blocks of a brief; None where it names no size.

    `[[block]]` named day with a size, else `[plan] batches_per_day`, else the first block with a
    size.
    """
    sized = {block.name: block.size for block in study.blocks if block.size}
    if "day" not in sized and study.wishes.batches_per_day:
        sized = {"day": study.wishes.batches_per_day, **sized}
    name = "day" if "day" in sized else next(iter(sized), None)
    if name is None:
        return None
    n_controls = sum(1 for control in study.controls if control.every in (name, "block"))
    return BlockRule(name=name, size=int(sized[name] or 1), n_controls=n_controls)


def with_days(request: Request) -> Request:
    """Turn a number of days into runs (or batches), controls taken off.

    Raises:
        PlanError: The brief doesn't say how many batches a day holds.
    """
    if request.days is None or request.runs is not None or request.batches is not None:
        return request
    rule = block_rule(request.study)
    if rule is None or rule.name != "day":
        raise PlanError(
            f"{request.days} days are asked for, and the brief doesn't say what a day holds",
            where="--days",
            do="Give `batches_per_day` in [plan] of study.toml.",
        )
    room = request.days * rule.room
    return (
        replace(request, batches=room) if request.sample_from_batch else replace(request, runs=room)
    )


def divided(
    X: FloatArray, sizes: list[int], rng: np.random.Generator, spread: BoolArray | None = None
) -> IntArray:
    """Divide runs into blocks so that the model is least disturbed by differences of blocks.

    Of random divisions the one is kept whose determinant of X'(I − P)X is greatest, P the
    projection on the block means.

    Args:
        X: Model matrix, shape (n, p).
        sizes: Runs of each block, summing to n.
        rng: Source of the divisions.
        spread: Shape (n,), runs (centre runs) that are dealt out to the blocks in turn.

    Returns:
        Block of each run from 1, shape (n,).
    """
    dealt = np.zeros(len(X), dtype=np.bool_) if spread is None else spread
    best: tuple[float, IntArray] | None = None
    for _ in range(_DIVISIONS if len(sizes) > 1 else 1):
        blocks = _random_division(sizes, dealt, rng)
        score = _log_information(X, blocks)
        if best is None or score > best[0] + _GAIN:
            best = (score, blocks)
    assert best is not None
    return best[1]


# A division replaces the best so far only by more than rounding errors.
_GAIN = 1e-9


def _random_division(sizes: list[int], dealt: BoolArray, rng: np.random.Generator) -> IntArray:
    blocks = np.zeros(len(dealt), dtype=np.int64)
    room = list(sizes)
    turn = [int(b) for b in np.argsort(-np.array(sizes), kind="stable")]
    for i, row in enumerate(rng.permutation(np.flatnonzero(dealt))):
        free = [b for b in turn[i % len(turn) :] + turn[: i % len(turn)] if room[b] > 0]
        blocks[row] = free[0] + 1
        room[free[0]] -= 1
    left = np.repeat(np.arange(1, len(sizes) + 1), room)
    blocks[~dealt] = rng.permutation(left)
    return blocks


def _log_information(X: FloatArray, blocks: IntArray) -> float:
    """Sum the log eigenvalues of X'(I − P)X but the smallest: the mean is always lost to blocks.

    The cross product squares the condition number, which is no harm in a comparison.
    """
    members = (blocks[:, None] == np.arange(1, blocks.max() + 1)[None, :]).astype(np.float64)
    sums = members.T @ X
    within = X.T @ X - (sums / members.sum(axis=0)[:, None]).T @ sums
    values = np.linalg.eigvalsh(within)[1:]
    return float(np.sum(np.log(np.maximum(values, _FLOOR))))


# Stands for an eigenvalue of zero, so that poor divisions can still be compared.
_FLOOR = 1e-12


def block_sizes(n_runs: int, room: int) -> list[int]:
    """Share runs out over the fewest blocks, as evenly as can be.

    Example:
        >>> block_sizes(20, 6)
        [5, 5, 5, 5]
    """
    n_blocks = -(-n_runs // room)
    base, more = divmod(n_runs, n_blocks)
    return [base + 1] * more + [base] * (n_blocks - more)

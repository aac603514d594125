"""Exchange of rows: replace one run at a time by the candidate that helps most.

Source:
    Fedorov (1972), Theory of Optimal Experiments, chapter 3; one row at a time as in
    Cook & Nachtsheim (1980), Technometrics 22, 315-324 (modified Fedorov exchange).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.layouts.optimal.criterion import Criterion, criterion_value
from doe.study.settings import FloatArray, IntArray

# Start of every inverse: X'X plus this share of its mean diagonal, so that a random start of
# deficient rank can climb; too small to move an optimum (relative, of double precision's 1e-16).
_RIDGE = 1e-8
# A sweep that gains less than this share of the criterion has converged.
_GAIN = 1e-10
_MAX_SWEEPS = 60
# Values closer than this share of themselves are ties: far above rounding, far below any gain.
_TIE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """How hard to look: number of random starts, and the seed of all of them."""

    starts: int
    seed: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """The best plan of all starts.

    Attributes:
        rows: Shape (n,), indices into the candidates.
        value: Its criterion, the smaller the better.
        agreeing: How many starts ended within one part in a thousand of it.
        starts: How many starts were made.
    """

    rows: IntArray
    value: float
    agreeing: int
    starts: int


def best_rows(
    candidates: FloatArray,
    n_runs: int,
    criterion: Criterion,
    search: Search,
    fixed: FloatArray | None = None,
) -> Found:
    """Choose n different runs among candidates by exchange from many random starts.

    Args:
        candidates: Model matrix of the candidates, shape (g, p).
        n_runs: Runs to choose, beside the fixed ones.
        criterion: What to judge by.
        search: Starts and seed.
        fixed: Model matrix of runs that must be in, shape (m, p); None for none.

    Returns:
        The best plan found.
    """
    held = np.empty((0, candidates.shape[1])) if fixed is None else fixed
    ends = [
        _exchange(candidates, n_runs, criterion, held, np.random.default_rng([search.seed, start]))
        for start in range(search.starts)
    ]
    values = np.array([value for _, value in ends])
    best = _first_least(values)
    near = np.abs(values - values[best]) <= 1e-3 * abs(values[best])
    return Found(
        rows=ends[best][0],
        value=float(values[best]),
        agreeing=int(near.sum()),
        starts=search.starts,
    )


def best_repeats(rows: FloatArray, n_repeats: int, criterion: Criterion) -> IntArray:
    """Choose which runs of a plan to make again, one after the other, each the most helpful.

    Args:
        rows: Model matrix of the plan, shape (n, p).
        n_repeats: How many runs to repeat; no run is repeated twice before all are once.
        criterion: What to judge by.

    Returns:
        Indices into the plan, shape (n_repeats,).
    """
    chosen: list[int] = []
    for turn in range(n_repeats):
        values = _values_with_each(rows, _inverse(np.vstack([rows, rows[chosen]])), criterion)
        round_so_far = chosen[len(rows) * (turn // len(rows)) :]
        values[round_so_far] = np.inf
        chosen.append(_first_least(values))
    return np.array(chosen, dtype=np.int64)


def _first_least(values: FloatArray) -> int:
    """Take the first of the least values, those that rounding alone tells apart counting as equal.

    Mirror images tie exactly; without this the last bits of another machine's arithmetic would
    choose between them.
    """
    least = float(values.min())
    return int(np.argmax(values <= least + _TIE * abs(least)))


def _exchange(
    candidates: FloatArray,
    n_runs: int,
    criterion: Criterion,
    held: FloatArray,
    rng: np.random.Generator,
) -> tuple[IntArray, float]:
    rows = rng.choice(len(candidates), n_runs, replace=False)
    before = np.inf
    for _ in range(_MAX_SWEEPS):
        for i in rng.permutation(n_runs):
            others = np.delete(rows, i)
            inverse = _inverse(np.vstack([held, candidates[others]]))
            values = _values_with_each(candidates, inverse, criterion)
            values[others] = np.inf
            rows[i] = _first_least(values)
        after = _ridged_value(np.vstack([held, candidates[rows]]), criterion)
        if after > before - _GAIN * max(1.0, abs(after)):
            break
        before = after
    return rows, criterion_value(criterion, np.vstack([held, candidates[rows]]))


def _inverse(X: FloatArray) -> FloatArray:
    p = X.shape[1]
    information = X.T @ X
    information += np.eye(p) * _RIDGE * max(float(np.trace(information)) / p, 1.0)
    inverse: FloatArray = np.linalg.inv(information).astype(np.float64)
    return inverse


def _values_with_each(C: FloatArray, B: FloatArray, criterion: Criterion) -> FloatArray:
    """Criterion, up to a constant, when each candidate is added to a plan of inverse B."""
    # |X'X + c c'| = |X'X| (1 + c'Bc);  (X'X + c c')^-1 = B − B c c' B / (1 + c'Bc).
    CB = C @ B
    spread = np.einsum("ij,ij->i", CB, C)
    if criterion.name == "D":
        value: FloatArray = -spread
        return value
    gain: FloatArray = np.einsum("ij,ij->i", CB @ criterion.moments, CB) / (1.0 + spread)
    return -gain


def _ridged_value(X: FloatArray, criterion: Criterion) -> float:
    inverse = _inverse(X)
    if criterion.name == "D":
        return float(np.linalg.slogdet(inverse)[1])
    return float(np.trace(inverse @ criterion.moments))

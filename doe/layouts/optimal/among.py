"""Exchange of single runs among candidates, in many plans at once.

The forms c'B c and c'G c of every candidate are kept up to date by two inner products with each
exchange, so that a look at all g candidates costs g × p and not g × p².

Source:
    Fedorov (1972), Theory of Optimal Experiments, chapter 3; one run after the other as in Cook and
    Nachtsheim (1980), Technometrics 22, 315-324.
"""

from __future__ import annotations

import numpy as np

from doe.layouts.optimal.crowd import Crowd, Problem
from doe.layouts.optimal.rows import (
    changes,
    exchange_row,
    make_forms,
    open_row,
    shares_nothing,
)
from doe.study.settings import FloatArray, IntArray

# An exchange must gain more than this (of a log), a sweep more than that.
LEAST_GAIN = 1e-9
SWEEP_GAIN = 1e-5
MOST_SWEEPS = 30
# Sweeps between two fresh starts of the forms.
_FRESH = 4


def exchange_among(
    problem: Problem,
    crowd: Crowd,
    candidates: FloatArray,
    combination: IntArray,
    rng: np.random.Generator,
    most: int = MOST_SWEEPS,
) -> FloatArray:
    """Exchange runs for candidates until nothing gains; changes the crowd in place.

    Args:
        problem: What is searched for; every run is free.
        crowd: The plans.
        candidates: Coded settings, shape (g, k).
        combination: Their level combinations, shape (g,).
        rng: Source of the order of runs.
        most: Sweeps at most.

    Returns:
        The scores, shape (s,).
    """
    goal = problem.goal
    rows = np.ascontiguousarray(problem.working.matrix(candidates))
    independent = all(shares_nothing(view) for view in goal.views)
    free = np.array([int(rows_[0]) for rows_, _ in problem.units])
    plans = np.arange(len(crowd.x))
    before = crowd.refresh(goal)
    forms = make_forms(crowd.known, rows)
    for sweep in range(most):
        for i in rng.permutation(free):
            opened = open_row(crowd.known, crowd.F, goal, int(i), independent)
            change = changes(crowd.known, goal, opened, rows, forms)
            best = change.argmin(axis=1)
            which = np.flatnonzero(change[plans, best] < -LEAST_GAIN)
            if len(which) == 0:
                continue
            chosen = best[which]
            exchange_row(crowd.known, opened, which, rows[chosen], forms, rows)
            crowd.F[which, i] = rows[chosen]
            crowd.x[which, i] = candidates[chosen]
            crowd.combination[which, i] = combination[chosen]
        after = crowd.refresh(goal)
        if np.all(before - after < SWEEP_GAIN):
            return after
        if sweep % _FRESH == _FRESH - 1:
            forms = make_forms(crowd.known, rows)
        before = after
    return after

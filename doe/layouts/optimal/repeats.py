"""Replicates for pure error, and different settings for lack of fit, where they are asked for.

A plan that was searched freely often repeats runs of its own accord. What is missing is added where
it costs the criterion least; then the plan climbs once more with its repeated units tied together.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from doe.errors import PlanError
from doe.layouts.optimal.climb import know, scores
from doe.layouts.optimal.crowd import Problem, make_crowd
from doe.layouts.optimal.exchange_many import climb
from doe.layouts.optimal.rows import changes, open_row, shares_nothing
from doe.model.coding import decode
from doe.study.settings import FloatArray, IntArray

# Runs nearer than this in every coded setting are one setting that the search has not quite closed.
ALIKE = 0.05
# Settings that differ by less than this, coded, are the same.
_SAME = 1e-9
# What making two runs alike may cost (of a log): nothing where no replicates are asked for.
_CLOSING, _CLOSING_SAMPLES, _CLOSING_WANTED = 1e-6, 1e-4, 1e-3

Units = tuple[tuple[IntArray, IntArray], ...]


def with_repeats(
    problem: Problem, x: FloatArray, replicates: int, distinct: int, rng: np.random.Generator
) -> tuple[FloatArray, Units]:
    """Give a plan the replicates and different settings that it must have.

    Args:
        problem: What was searched for.
        x: Coded settings, shape (n, k).
        replicates: Least number of units (runs, or whole batches) that repeat another.
        distinct: Least number of different settings.
        rng: Source of the order of moves.

    Returns:
        Shape (n, k), and what moves together from now on: units with those that repeat them.
    """
    units = _whole_units(problem)
    x = _closed(problem, x.copy(), units, _CLOSING_WANTED if replicates else _CLOSING)
    for rows in units:
        # Samples of one batch that hardly differ are one sample drawn twice, and are called so.
        x = _closed(problem, x, [np.array([row]) for row in rows], _CLOSING_SAMPLES)
    if replicates == 0 and distinct == 0:
        return x, _tied(problem, x, units)
    while (missing := replicates - _n_repeats(x, units)) > 0:
        x = _with_one_repeat(problem, x, units, missing)
    x = _spread(problem, x, units, distinct, replicates)
    together = _tied(problem, x, units)
    end = climb(replace(problem, units=together), x[None], rng)
    # Tied units may have met on their way: then the plan before is kept.
    met = _n_distinct(end.x[0]) < distinct or _n_repeats(end.x[0], units) < replicates
    better = end.score[0] <= _score(problem, x) + _SAME
    return (end.x[0] if better and not met else x), together


def _whole_units(problem: Problem) -> list[IntArray]:
    """List the runs that a repeat holds together: a batch where runs share one, else one run."""
    m = len(problem.held)
    batch = np.arange(problem.n) if problem.batch is None else problem.batch
    held = [np.array([i]) for i in range(m)]
    numbers = dict.fromkeys(batch[m:].tolist())
    return held + [m + np.flatnonzero(batch[m:] == number) for number in numbers]


def _shared_columns(problem: Problem, i: int) -> list[int]:
    """List the settings that a run shares with others of its batch or day."""
    return [
        int(j) for rows, columns in problem.units if len(rows) > 1 and i in rows for j in columns
    ]


def _is_held_together(problem: Problem, x: FloatArray) -> bool:
    """Tell whether every unit still holds one setting in what it sets."""
    for rows, columns in problem.units:
        if len(rows) == 1:
            continue
        own = x[np.ix_(rows, columns)]
        apart = np.abs(own - own[0])
        if not np.all(np.isnan(apart) | (apart < _SAME)):
            return False
    return True


def _key(x: FloatArray, rows: IntArray) -> bytes:
    whole = np.round(np.nan_to_num(x[rows], nan=9.0) / _SAME).astype(np.int64)
    return whole[np.lexsort(whole.T[::-1])].tobytes()


def _n_repeats(x: FloatArray, units: list[IntArray]) -> int:
    return len(units) - len({_key(x, rows) for rows in units})


def _n_distinct(x: FloatArray) -> int:
    return len({_key(x, np.array([i])) for i in range(len(x))})


def _closed(problem: Problem, x: FloatArray, units: list[IntArray], may_cost: float) -> FloatArray:
    """Make units alike that nearly are, if that costs next to nothing."""
    before = _score(problem, x)
    for later, rows in enumerate(units):
        if rows[0] < len(problem.held):
            continue
        for earlier in units[:later]:
            if len(earlier) != len(rows):
                continue
            apart = np.abs(x[rows] - x[earlier])
            if np.all(np.isnan(apart) | (apart < ALIKE)):
                tried = x.copy()
                tried[rows] = x[earlier]
                after = _score(problem, tried)
                if after < before + may_cost and _is_held_together(problem, tried):
                    x, before = tried, after
                break
    return x


def _with_one_repeat(
    problem: Problem, x: FloatArray, units: list[IntArray], missing: int
) -> FloatArray:
    """Let those units that are alike repeat another which cost least: one setting less is left."""
    groups: dict[bytes, list[int]] = {}
    for i, rows in enumerate(units):
        groups.setdefault(_key(x, rows), []).append(i)
    plans = []
    for group in groups.values():
        if group[0] < len(problem.held):
            continue
        for other in groups.values():
            home = units[other[0]]
            if other is group or len(home) != len(units[group[0]]):
                continue
            tried = x.copy()
            for i in group:
                tried[units[i]] = x[home]
            if _is_held_together(problem, tried):
                plans.append(tried)
    if not plans:
        raise PlanError(
            f"{missing} more replicates find no run that they could repeat",
            where="--replicates",
            allowed=f"0 to {max(len(units) - 1, 0)}",
        )
    return plans[_first_best(problem, plans)]


def _spread(
    problem: Problem, x: FloatArray, units: list[IntArray], distinct: int, replicates: int
) -> FloatArray:
    """Move repeated runs apart, those that cost least, until enough settings differ."""
    independent = all(shares_nothing(view) for view in problem.goal.views)
    while _n_distinct(x) < distinct:
        crowd = make_crowd(problem, x[None].copy())
        keys = [_key(x, np.array([i])) for i in range(len(x))]
        movable = [i for i in range(len(problem.held), len(x)) if keys.index(keys[i]) < i]
        places = [(i, _far_from(_placed(problem, x, i), x)) for i in movable]
        places = [(i, fresh) for i, fresh in places if len(fresh)]
        if not places or _n_repeats(x, units) <= replicates:
            raise PlanError(
                f"{len(x)} runs with {replicates} replicates cannot hold {distinct} different "
                "settings",
                where="--lack-of-fit",
                do="Ask for more runs, or for fewer replicates.",
            )
        found = [
            changes(
                crowd.known, problem.goal,
                open_row(crowd.known, crowd.F, problem.goal, i, independent),
                problem.working.matrix(fresh),
            )[0]
            for i, fresh in places
        ]  # fmt: skip
        which = int(np.argmin([change.min() for change in found]))
        i, fresh = places[which]
        x[i] = fresh[int(found[which].argmin())]
    return x


def _placed(problem: Problem, x: FloatArray, i: int) -> FloatArray:
    """List the candidates for a run, with what it shares with others kept."""
    shared = _shared_columns(problem, i)
    if not shared:
        return problem.candidates
    placed = problem.candidates.copy()
    placed[:, shared] = x[i, shared]
    coding = problem.region.coding
    return placed[problem.region.contains(decode(placed, coding))]


def _far_from(candidates: FloatArray, x: FloatArray) -> FloatArray:
    near = np.zeros(len(candidates), dtype=bool)
    for row in x:
        apart = np.abs(candidates - row)
        near |= np.all(np.isnan(apart) | (apart < ALIKE), axis=1)
    return candidates[~near]


def _tied(problem: Problem, x: FloatArray, units: list[IntArray]) -> Units:
    """Merge the units of what repeats with those of what it repeats."""
    partner = np.arange(len(x))
    first: dict[bytes, IntArray] = {}
    for rows in units:
        order = rows[np.lexsort(np.nan_to_num(x[rows], nan=9.0).T[::-1])]
        partner[order] = first.setdefault(_key(x, rows), order)
        own: dict[bytes, int] = {}
        for row in rows:
            # Samples of one batch that repeat each other stay alike, too.
            home = own.setdefault(_key(x, np.array([row])), int(row))
            partner[row] = partner[home]
    if np.array_equal(partner, np.arange(len(x))):
        return problem.units
    held = set(range(len(problem.held)))
    merged: dict[tuple[int, ...], set[int]] = {}
    for rows, columns in problem.units:
        whole = _closure(problem, rows, columns, partner)
        if not held & set(whole):
            merged.setdefault(whole, set()).update(columns.tolist())
    return tuple((np.array(rows), np.array(sorted(cols))) for rows, cols in merged.items())


def _closure(
    problem: Problem, rows: IntArray, columns: IntArray, partner: IntArray
) -> tuple[int, ...]:
    """Gather all runs that must move with some runs in some settings, through units and ties."""
    whole = set(rows.tolist())
    while True:
        size = len(whole)
        own = np.array(sorted(whole))
        whole |= set(np.flatnonzero(np.isin(partner, partner[own])).tolist())
        for others, theirs in problem.units:
            if np.isin(theirs, columns).any() and whole & set(others.tolist()):
                whole |= set(others.tolist())
        if len(whole) == size:
            return tuple(sorted(whole))


def _score(problem: Problem, x: FloatArray) -> float:
    return float(scores(know(problem.working.matrix(x[None]), problem.goal), problem.goal)[0])


def _first_best(problem: Problem, plans: list[FloatArray]) -> int:
    """Find the best of many plans, a part of them at a time; the first among equals."""
    best, least = 0, np.inf
    edges = [*range(0, len(plans), 200), len(plans)]
    for start, stop in pairwise(edges):
        F = problem.working.matrix(np.stack(plans[start:stop]))
        found = scores(know(F, problem.goal), problem.goal)
        at = int(found.argmin())
        if found[at] < least - _SAME:
            best, least = start + at, float(found[at])
    return best

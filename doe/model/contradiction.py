"""Why a region is empty: a small set of statements that contradict each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from doe.errors import StudyError
from doe.model.coding import Coding, NumericAxis, ShareAxis
from doe.model.statements import (
    HalfSpace,
    Prohibition,
    Statements,
    beyond,
    level_combinations,
    range_half_spaces,
    strikes,
)


def empty_region(coding: Coding, statements: Statements) -> StudyError:
    """Name a set of statements that contradict each other, none of which can be spared.

    One statement after another is left out; it stays out if the rest still contradict.

    Source:
        Chinneck and Dravnieks (1991), ORSA Journal on Computing 3, 157-168, deletion filter.
    """
    kept = _all_words(coding, statements)
    for words in list(kept):
        fewer = [other for other in kept if other != words]
        if not _is_possible(coding, statements, set(fewer)):
            kept = fewer
    needs_sum = coding.shares and _is_possible(coding, statements, set(kept), with_sum=False)
    return StudyError(
        "no setting meets all statements of the brief; these contradict each other: "
        + "; ".join(kept)
        + ("; and shares add to 1" if needs_sum else ""),
        where="study.toml",
        allowed="limits, forbids and ranges that leave some settings",
        do="Relax one of them.",
    )


def _all_words(coding: Coding, statements: Statements) -> list[str]:
    """List every statement, what is dropped first in front: limits and forbids explain most."""
    ends = [
        half.words
        for levels in level_combinations(coding)
        for half in range_half_spaces(coding, levels)[0]
    ]
    words = [half.words for half in statements.limits]
    words += [forbid.words for forbid in statements.prohibitions]
    return list(dict.fromkeys([*ends, *words]))


def _is_possible(
    coding: Coding, statements: Statements, words: set[str], *, with_sum: bool = True
) -> bool:
    fewer = replace(
        statements,
        limits=tuple(half for half in statements.limits if half.words in words),
        prohibitions=tuple(f for f in statements.prohibitions if f.words in words),
    )
    for levels in level_combinations(coding):
        ends, fixed = range_half_spaces(coding, levels)
        bounds = [half for half in ends if half.words in words]
        bounds += [half.with_fixed(fixed) for half in fewer.limits]
        ways = [_ways_round(f, dict(fixed), coding) for f in fewer.prohibitions]
        for choice in product(*ways):
            half_spaces = [*bounds, *(half for way in choice for half in way)]
            if _meets_all(coding, half_spaces, set(fixed), with_sum=with_sum):
                return True
    return False


def _ways_round(
    forbid: Prohibition, fixed: dict[int, float], coding: Coding
) -> list[list[HalfSpace]]:
    """List the ways round a forbid, each a set of bounds; none if it always strikes."""
    ways: list[list[HalfSpace]] = []
    for j, conditions in forbid.conditions:
        if j in fixed:
            axis = coding.axes[j]
            span = axis.high - axis.low if isinstance(axis, NumericAxis) else 1.0
            if not any(strikes(one, fixed[j], span) for one in conditions):
                return [[]]
            continue
        left = [beyond(one, j, coding, forbid.words) for one in conditions]
        ways.append([half for half in left if half is not None])
    return ways


def _meets_all(
    coding: Coding, half_spaces: Sequence[HalfSpace], fixed: set[int], *, with_sum: bool
) -> bool:
    # Loaded here only: it doubles the start-up of every command, and only an empty region needs it.
    from scipy.optimize import linprog

    k = len(coding.axes)
    A = np.array([half.a for half in half_spaces]).reshape(len(half_spaces), k)
    b = np.array([half.b for half in half_spaces])
    shares = np.array([float(isinstance(axis, ShareAxis)) for axis in coding.axes])
    bounds = [(0, 0) if j in fixed else (0 if shares[j] else None, None) for j in range(k)]
    sums = shares[None, :] if with_sum and shares.any() else np.zeros((1, k))
    found = linprog(np.zeros(k), A_ub=A, b_ub=b, A_eq=sums, b_eq=sums.max(axis=1), bounds=bounds)
    return int(found.status) == 0

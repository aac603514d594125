"""Keep new runs away from settings that gelled: half-way back to what could be measured."""

from __future__ import annotations

import numpy as np

from doe.layouts.extending.request import Extension
from doe.layouts.placing import REGION_TOLERANCE
from doe.model.bench_steps import round_to_steps
from doe.model.coding import ChoiceAxis, Coding, ShareAxis, code, decode
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# A difference of choices counts as a whole range, so that one chemistry tells little of another.
_CHOICE = 2.0


def away_from_gelled(ask: Extension, rows: FloatArray) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Move new runs that lie where a run gelled.

    A run belongs to a gelled one if it is nearer to it than half-way to the nearest run that did
    not gel. It is put half-way between the two, if the region allows that.

    Args:
        ask: What is wanted; its failures say what gelled.
        rows: New settings, shape (n, k), lab units.

    Returns:
        The settings, and what was moved.
    """
    gelled = ask.rows_of(tuple(failure for failure in ask.failures if failure.gelled))
    if not len(gelled) or not len(ask.held) or not len(rows):
        return rows, ()
    if ask.shared:
        return rows, _shared_batches(ask, rows, gelled)
    moved = np.array(rows)
    n_moved = 0
    for i, row in enumerate(rows):
        bad = _gelled_near(ask, row, gelled)
        place = None if bad is None else half_way(ask, bad)
        if place is not None:
            moved[i] = place
            n_moved += 1
    if not n_moved:
        return rows, ()
    return moved, (
        Finding(
            level="note",
            what=f"{n_moved} of the new runs would lie where a run gelled, and would gel again: "
            "they are put half-way to the nearest run that could be measured.",
            evidence={"moved": n_moved},
        ),
    )


def _gelled_near(ask: Extension, row: FloatArray, gelled: FloatArray) -> FloatArray | None:
    gaps = distances(row, gelled, ask.coding)
    bad: FloatArray = gelled[int(np.argmin(gaps))]
    reach = distances(bad, ask.held, ask.coding)
    return bad if gaps.min() < reach.min() / 2 - 1e-9 else None


def _shared_batches(ask: Extension, rows: FloatArray, gelled: FloatArray) -> tuple[Finding, ...]:
    """Name new runs that may gel where they share a batch and can't be moved one by one."""
    n = sum(_gelled_near(ask, row, gelled) is not None for row in rows)
    if not n:
        return ()
    return (
        Finding(
            level="caution",
            what=f"{n} of the new runs lie where a run gelled, and may gel again.",
            evidence={"runs": n},
            advice="Narrow the range or add a [[limit]] to the brief, and extend again.",
        ),
    )


def half_way(ask: Extension, bad: FloatArray) -> FloatArray | None:
    """Give the setting half-way from a gelled run to the nearest one that did not gel.

    Returns:
        Shape (k,), lab units on the bench's steps; None where no run is near or the region has no
        such setting.
    """
    same = [j for j, axis in enumerate(ask.coding.axes) if isinstance(axis, ChoiceAxis)]
    near = ask.held[np.all(ask.held[:, same] == bad[same], axis=1)] if same else ask.held
    if not len(near):
        return None
    for good in near[np.argsort(distances(bad, near, ask.coding), kind="stable")]:
        middle = (code(bad[None, :], ask.coding) + code(good[None, :], ask.coding)) / 2
        row = decode(middle, ask.coding)
        row = round_to_steps(row, ask.region)
        if bool(ask.region.contains(row, REGION_TOLERANCE)[0]):
            place: FloatArray = row[0]
            return place
    return None


def distances(row: FloatArray, others: FloatArray, coding: Coding) -> FloatArray:
    """Measure how far settings lie from one, shape (m,), in coded units."""
    apart = code(others, coding) - code(row[None, :], coding)
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ChoiceAxis):
            apart[:, j] = np.where(apart[:, j] != 0, _CHOICE, 0.0)
        elif isinstance(axis, ShareAxis):
            apart[:, j] *= 2.0 / max(axis.high - axis.low, 1e-9)
    gaps: FloatArray = np.sqrt((np.nan_to_num(apart) ** 2).sum(axis=1))
    return gaps

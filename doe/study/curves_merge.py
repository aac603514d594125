"""Taking in curves: which are new, which are known, which correct one that stands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from doe.study.curves import Curve, CurveKey

# Spreadsheets keep 15 to 17 digits of a number; what differs beyond is the same reading.
_SAME_VALUE = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvesOutcome:
    """What taking in curves came to; pairs are old and new.

    Attributes:
        curves: All curves afterwards, in order of entry.
        added: Under keys that had none.
        same: Known already, ignored.
        corrections: Taken in place of one that stands.
        conflicts: Not taken.
    """

    curves: tuple[Curve, ...]
    added: tuple[Curve, ...] = ()
    same: tuple[Curve, ...] = ()
    corrections: tuple[tuple[Curve, Curve], ...] = ()
    conflicts: tuple[tuple[Curve, Curve], ...] = ()


def merge_curves(
    old: Sequence[Curve], new: Sequence[Curve], *, correct: bool = False
) -> CurvesOutcome:
    """Take in curves by their key: the same again is ignored, another one a correction.

    Two different curves under one key in one delivery are a conflict that no correction settles.
    """
    replaced = {one.replaces for one in old if one.replaces is not None}
    standing: dict[CurveKey, Curve] = {one.key: one for one in old if one.id not in replaced}
    number = max((one.id for one in old), default=0)
    taken: list[Curve] = []
    added, same = list[Curve](), list[Curve]()
    corrections, conflicts = list[tuple[Curve, Curve]](), list[tuple[Curve, Curve]]()
    fresh: set[CurveKey] = set()
    for one in new:
        known = standing.get(one.key)
        if known is not None and _agree(known, one):
            same.append(one)
            continue
        if known is not None and (not correct or one.key in fresh):
            conflicts.append((known, one))
            continue
        number += 1
        numbered = replace(one, id=number, replaces=None if known is None else known.id)
        standing[one.key] = numbered
        fresh.add(one.key)
        taken.append(numbered)
        if known is None:
            added.append(numbered)
        else:
            corrections.append((known, numbered))
    return CurvesOutcome(
        curves=(*old, *taken), added=tuple(added), same=tuple(same),
        corrections=tuple(corrections), conflicts=tuple(conflicts),
    )  # fmt: skip


def _agree(one: Curve, other: Curve) -> bool:
    return one.x == other.x and all(
        math.isclose(a, b, rel_tol=_SAME_VALUE) for a, b in zip(one.y, other.y, strict=True)
    )

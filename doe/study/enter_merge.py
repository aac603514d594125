"""Taking in readings: what is new, what is known, what corrects, and what contradicts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from doe.errors import ResultsError
from doe.study.names import fold
from doe.study.readings import Actual, Reading, ReadingKey, Readings

# Spreadsheets keep 15 to 17 digits of a computed number; what differs beyond is the same reading.
_SAME_VALUE = 1e-12
# What `note` says of a reading overrules the bench sheet, and stays when that is entered again.
NOTE_SOURCE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """A reading that differs from the one that stands under the same key.

    Attributes:
        old: What stands; or, within one file, the first of two contradicting lines.
        new: What came.
        is_within_file: Both came in one delivery: no correction can settle that.
    """

    old: Reading
    new: Reading
    is_within_file: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeOutcome:
    """What taking in a set of readings came to.

    Attributes:
        readings: All readings afterwards.
        added: Readings under keys that had none, with their ids.
        same: Readings that were known already and were ignored.
        corrections: Old and new of each reading that was corrected.
        conflicts: Old and new of each reading that was not taken.
        blank: How many lines were blank: they are pending and erase nothing.
    """

    readings: Readings
    added: tuple[Reading, ...] = ()
    same: tuple[Reading, ...] = ()
    corrections: tuple[Correction, ...] = ()
    conflicts: tuple[Correction, ...] = ()
    blank: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ActualsOutcome:
    """What taking in a set of actuals came to; pairs are old and new."""

    actuals: tuple[Actual, ...]
    added: tuple[Actual, ...] = ()
    same: tuple[Actual, ...] = ()
    corrections: tuple[tuple[Actual, Actual], ...] = ()
    conflicts: tuple[tuple[Actual, Actual], ...] = ()


def merge_readings(
    old: Readings, new: Sequence[Reading], *, correct: bool = False, because: str = ""
) -> MergeOutcome:
    """Take in readings by the rules of the reading key.

    A reading is known by run, panel, age, repeat and response. The same value again is ignored;
    another value is a correction, taken only if asked for and with a reason; a blank is pending
    and erases nothing. The order of `new` does not matter. Its ids do not count: they are issued
    here.

    Args:
        old: What stands in the study.
        new: What came in.
        correct: Take other values as corrections.
        because: Why they are corrected.

    Raises:
        ResultsError: A correction is asked for without a reason.
    """
    standing = {_key(reading): reading for reading in old.current()}
    by_id = {reading.id: reading for reading in old.rows}
    filled = [reading for reading in new if not _is_blank(reading)]
    groups: dict[ReadingKey, list[Reading]] = {}
    for reading in sorted(filled, key=_order):
        groups.setdefault(_key(reading), []).append(reading)
    verdicts = [_verdict(group, standing.get(key), by_id) for key, group in groups.items()]
    fresh = [one.fresh for one in verdicts if one.fresh is not None]
    changed = [one.changed for one in verdicts if one.changed is not None]
    torn = [one.torn for one in verdicts if one.torn is not None]
    taken = changed if correct else []
    if taken and not because.strip():
        raise ResultsError(
            f"{len(taken)} readings would be corrected, and no reason is given",
            do='Say why with --because "…".',
        )
    start = max(by_id, default=0) + 1
    added = [replace(one, id=start + i, replaces=None) for i, one in enumerate(fresh)]
    start += len(added)
    corrections = [
        replace(
            one, new=replace(one.new, id=start + i, replaces=one.old.id, because=because.strip())
        )
        for i, one in enumerate(taken)
    ]
    return MergeOutcome(
        readings=Readings(rows=(*old.rows, *added, *(one.new for one in corrections))),
        added=tuple(added),
        same=tuple(reading for one in verdicts for reading in one.same),
        corrections=tuple(corrections),
        conflicts=(*torn, *(changed if not correct else ())),
        blank=len(new) - len(filled),
    )


def merge_actuals(
    old: Sequence[Actual], new: Sequence[Actual], *, correct: bool = False
) -> ActualsOutcome:
    """Take in actuals: known by unit and thing, blank is pending, another value a correction.

    A correction is added behind what it corrects, and the later one counts.
    """
    standing = {(one.unit, fold(one.what)): one for one in old}
    added, same = list[Actual](), list[Actual]()
    changed = list[tuple[Actual, Actual]]()
    taken = list[Actual]()
    for one in new:
        if not one.value.strip():
            continue
        known = standing.get((one.unit, fold(one.what)))
        if known is None:
            added.append(one)
        elif _same_text(known.value, one.value):
            same.append(one)
            continue
        else:
            changed.append((known, one))
        if known is None or correct:
            standing[one.unit, fold(one.what)] = one
            taken.append(one)
    return ActualsOutcome(
        actuals=(*old, *taken),
        added=tuple(added),
        same=tuple(same),
        corrections=tuple(changed) if correct else (),
        conflicts=() if correct else tuple(changed),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Verdict:
    """What the readings that came under one key amount to."""

    fresh: Reading | None = None
    same: tuple[Reading, ...] = ()
    changed: Correction | None = None
    torn: Correction | None = None


def _verdict(group: list[Reading], known: Reading | None, by_id: dict[int, Reading]) -> _Verdict:
    first, *others = group
    other = next((one for one in others if not _agree(first, one)), None)
    if other is not None:
        return _Verdict(torn=Correction(old=first, new=other, is_within_file=True))
    if known is None:
        return _Verdict(fresh=first, same=tuple(others))
    if _agree(_as_entered(known, by_id), first) or _agree(known, first):
        return _Verdict(same=tuple(group))
    return _Verdict(changed=Correction(old=known, new=first), same=tuple(others))


def _as_entered(known: Reading, by_id: dict[int, Reading]) -> Reading:
    """Give what the bench said where a note has since overruled it."""
    while known.source.startswith(NOTE_SOURCE) and known.replaces in by_id:
        known = by_id[known.replaces]
    return known


def _key(reading: Reading) -> ReadingKey:
    run, panel, age, repeat, response = reading.key
    return (run, panel, age, repeat, fold(response))


def _order(reading: Reading) -> tuple[object, ...]:
    """Sort by key and then by content, so that the order of delivery does not matter."""
    run, panel, age, repeat, response = _key(reading)
    numbers = (reading.value, reading.value_to)
    return (
        run, panel or 0, -1.0 if age is None else age, response, repeat, reading.flag,
        *(-math.inf if one is None else one for one in numbers), reading.source, reading.response,
    )  # fmt: skip


def _is_blank(reading: Reading) -> bool:
    return reading.flag == "ok" and reading.value is None


def _agree(one: Reading, other: Reading) -> bool:
    return (
        one.flag == other.flag
        and _close(one.value, other.value)
        and _close(one.value_to, other.value_to)
    )


def _close(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return math.isclose(one, other, rel_tol=_SAME_VALUE)


def _same_text(one: str, other: str) -> bool:
    try:
        return math.isclose(float(one), float(other), rel_tol=_SAME_VALUE)
    except ValueError:
        return one.strip() == other.strip()

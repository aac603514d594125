"""Readings that methods compute, beside those that were entered: which of them stand."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from doe.study.readings import Reading, ReadingKey, Readings

# What a reading says it comes from where a method computed it, and where a note was made.
COMPUTED = "computed: "
_NOTE = "note"
# Readings that differ by less differ by rounding.
_SAME_VALUE = 1e-12


def with_computed(readings: Readings, computed: Sequence[Reading]) -> Readings:
    """Lay computed readings over those on record.

    What was entered as it is stands, and so does a note that calls a reading lost or excluded. A
    computed reading on record that comes out otherwise now is replaced; one that cannot be
    computed any more counts as lost. Nothing is taken away.

    Args:
        readings: All lines of `readings.csv`.
        computed: What the raw readings amount to now; their ids do not count.
    """
    standing = {reading.key: reading for reading in readings.current()}
    fresh = {reading.key: reading for reading in computed}
    number = max((reading.id for reading in readings.rows), default=0)
    rows = [
        replace(row, id=number + i)
        for i, row in enumerate((*_changed(standing, fresh), *_gone(standing, fresh)), start=1)
    ]
    return Readings(rows=(*readings.rows, *rows))


def contradicted(readings: Readings, computed: Sequence[Reading]) -> tuple[Reading, ...]:
    """Give the computed readings that differ from one entered as it is, which stands."""
    standing = {reading.key: reading for reading in readings.current()}
    return tuple(
        row
        for row in computed
        if (known := standing.get(row.key)) is not None
        and not known.source.startswith((COMPUTED, _NOTE))
        and not _agree(known, row)
    )


def _changed(
    standing: dict[ReadingKey, Reading], fresh: dict[ReadingKey, Reading]
) -> Iterator[Reading]:
    for key, row in fresh.items():
        known = standing.get(key)
        if known is None:
            yield row
        elif _may_change(known) and not _agree(known, row):
            yield replace(row, replaces=known.id)


def _gone(
    standing: dict[ReadingKey, Reading], fresh: dict[ReadingKey, Reading]
) -> Iterator[Reading]:
    for key, known in standing.items():
        if key not in fresh and known.source.startswith(COMPUTED) and known.flag != "lost":
            yield replace(
                known, replaces=known.id, value=None, value_to=None, flag="lost",
                because="it can no longer be computed from its raw readings",
            )  # fmt: skip


def _may_change(known: Reading) -> bool:
    if known.source.startswith(COMPUTED):
        return True
    return known.source == _NOTE and known.flag not in ("lost", "excluded")


def _agree(one: Reading, other: Reading) -> bool:
    return one.flag == other.flag and all(
        a is b or (a is not None and b is not None and math.isclose(a, b, rel_tol=_SAME_VALUE))
        for a, b in ((one.value, other.value), (one.value_to, other.value_to))
    )

"""Raw readings sorted into the units that a test was made on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.lab.raw_unit import RawUnit
from doe.methods.method import RawTable
from doe.study.curves import Curve
from doe.study.plan import Plan
from doe.study.raw_data import RawData
from doe.study.readings import Flag, Reading

UnitKey = tuple[int, int | None, float | None, int]
_SETTLED: tuple[Flag, ...] = ("gelled", "lost", "excluded")


@dataclass(slots=True)
class GroupedUnit:
    """All raw readings of one unit.

    Attributes:
        key: Run, panel, age and repeat.
        rows: Raw readings by column.
        curves: Curves by their word.
    """

    key: UnitKey
    rows: dict[str, Reading] = field(default_factory=dict)
    curves: dict[str, Curve] = field(default_factory=dict)

    @property
    def settled(self) -> Reading | None:
        """The reading that settles the unit without arithmetic: gelled, lost or excluded."""
        return next((row for row in self.rows.values() if row.flag in _SETTLED), None)

    @property
    def card(self) -> str:
        """The drawdown card that its curves are on, as written."""
        return next((curve.card for curve in self.curves.values() if curve.card), "")


def group_units(table: RawTable, raw: RawData) -> tuple[GroupedUnit, ...]:
    """Sort the raw readings of a test by unit, age and repeat, in order of run."""
    units: dict[UnitKey, GroupedUnit] = {}
    rows = raw.tables[table.name].current() if table.name in raw.tables else ()
    for row in rows:
        key = (row.run, row.panel, row.age_d, row.repeat)
        units.setdefault(key, GroupedUnit(key)).rows[row.response] = row
    if table.curve is not None:
        wanted = set(table.curves) or {""}
        for curve in raw.current_curves(table.curve):
            if curve.subject == "run" and curve.run is not None and curve.what in wanted:
                key = (curve.run, curve.panel, curve.age_d, curve.repeat)
                units.setdefault(key, GroupedUnit(key)).curves[curve.what] = curve
    return tuple(units[key] for key in sorted(units, key=_order))


def raw_unit(
    unit: GroupedUnit, table: RawTable, references: Sequence[Curve], day: int | None
) -> RawUnit:
    """Put together what the arithmetic of a method takes.

    Args:
        unit: The raw readings of the unit.
        table: The test.
        references: Curves of standard and white, of all days and cards.
        day: Day on which the unit was made.
    """
    ok = {name: row for name, row in unit.rows.items() if row.flag == "ok"}
    return RawUnit(
        label=unit_label(unit.key),
        values={name: row.value for name, row in ok.items() if row.value is not None},
        off_scale={name: row for name, row in unit.rows.items() if name not in ok},
        curves=unit.curves,
        standard=_nearest(references, "standard", unit.card, day, table.curves),
        white=_nearest(references, "white", unit.card, day, table.curves),
    )


def days_of(plan: Plan, made: Sequence[int | None]) -> Mapping[int, int | None]:
    """Give the day of each run as it was made."""
    return dict(zip(plan.run, made, strict=True))


def unit_label(key: UnitKey) -> str:
    """Name a unit in a message.

    Example:
        >>> unit_label((7, None, 28.0, 2))
        'run 7, 28 d, repeat 2'
    """
    run, panel, age, repeat = key
    parts = [f"run {run}"]
    parts += [f"panel {panel}"] if panel is not None else []
    parts += [f"{age:g} d"] if age is not None else []
    parts += [f"repeat {repeat}"] if repeat != 1 else []
    return ", ".join(parts)


def _nearest(
    references: Iterable[Curve], subject: str, card: str, day: int | None, words: Sequence[str]
) -> dict[str, Curve]:
    """Find what was drawn on the same card, else on the same day, else what holds for all days."""
    own = [curve for curve in references if curve.subject == subject]
    by_word: dict[str, Curve] = {}
    for word in dict.fromkeys((*words, "")):
        said = [curve for curve in own if curve.what == word]
        for nearness in (
            [curve for curve in said if card and curve.card == card],
            [curve for curve in said if day is not None and curve.day == day and not curve.card],
            [curve for curve in said if day is not None and curve.day == day],
            [curve for curve in said if curve.day is None and not curve.card],
        ):
            if nearness:
                by_word[word] = _averaged(nearness)
                break
    return by_word


def _averaged(curves: Sequence[Curve]) -> Curve:
    """Average repeats of one curve; those read at other places are left aside."""
    first = curves[0]
    alike = [curve for curve in curves if curve.x == first.x]
    mean = np.mean([curve.y for curve in alike], axis=0)
    return first if len(alike) == 1 else replace(first, y=tuple(map(float, mean)))


def _order(key: UnitKey) -> tuple[float, ...]:
    run, panel, age, repeat = key
    return (run, panel or 0, -1.0 if age is None else age, repeat)

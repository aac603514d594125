"""Raw readings sorted into the units that a test was made on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.lab.raw_unit import RawUnit
from doe.methods.method import RawTable
from doe.sheets.book_form import CARD, film_record
from doe.study.actuals_file import unit_of
from doe.study.curves import Curve
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.raw_data import RawData
from doe.study.readings import Actual, Flag, Reading

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
    def sources(self) -> tuple[str, ...]:
        """Files and cells of its raw readings and curves."""
        cells = [row.source for row in self.rows.values()]
        cells += [curve.source for curve in self.curves.values()]
        return tuple(dict.fromkeys(cell for cell in cells if cell))

    def card(self, noted: Mapping[int, str]) -> str:
        """Give the drawdown card that its curves are on: as they say, else as noted of its run."""
        own = next((curve.card for curve in self.curves.values() if curve.card), "")
        return own or noted.get(self.key[0], "")


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


@dataclass(frozen=True, slots=True, kw_only=True)
class References:
    """What was drawn beside the runs of a test, and where the runs are.

    Attributes:
        curves: Of standard and white, of all days and cards.
        day: Day of each run as made.
        card: Card of each run, as noted at the bench; runs without one are missing.
    """

    curves: tuple[Curve, ...]
    day: Mapping[int, int | None]
    card: Mapping[int, str]


def references_of(
    table: RawTable, raw: RawData, plan: Plan, day: Sequence[int | None], actuals: Sequence[Actual]
) -> References:
    """Gather what the runs of a test are held against.

    Args:
        table: The test.
        raw: All raw readings.
        plan: The runs.
        day: Day of each run of the plan, as made.
        actuals: What was noted at the bench, the card of each unit among it.
    """
    what = fold(film_record(table.name, CARD))
    runs = {
        "run": plan.run, "panel": plan.panel, "sample": plan.sample, "batch": plan.batch,
    }  # fmt: skip
    card: dict[int, str] = {}
    for actual in actuals:
        unit = unit_of(actual.unit)
        if fold(actual.what) == what and unit is not None and unit[0] in runs:
            numbers = runs[unit[0]]
            card |= {
                run: actual.value
                for run, number in zip(plan.run, numbers, strict=True)
                if number == unit[1]
            }
    curves = tuple(one for one in raw.current_curves(table.curve or "") if one.subject != "run")
    return References(curves=curves, day=dict(zip(plan.run, day, strict=True)), card=card)


def raw_unit(unit: GroupedUnit, table: RawTable, references: References) -> RawUnit:
    """Put together what the arithmetic of a method takes."""
    card, day = unit.card(references.card), references.day[unit.key[0]]
    ok = {name: row for name, row in unit.rows.items() if row.flag == "ok"}
    return RawUnit(
        label=unit_label(unit.key),
        values={name: row.value for name, row in ok.items() if row.value is not None},
        off_scale={name: row for name, row in unit.rows.items() if name not in ok},
        curves=unit.curves,
        standard=_nearest(references.curves, "standard", card, day, table.curves),
        white=_nearest(references.curves, "white", card, day, table.curves),
    )


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
            [curve for curve in said if card and fold(curve.card) == fold(card)],
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

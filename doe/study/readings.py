"""Readings and actuals as values: what the bench said of each unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Flag = Literal["ok", "above", "below", "between", "gelled", "lost", "excluded"]
FLAGS: tuple[Flag, ...] = get_args(Flag)

ReadingKey = tuple[int, int | None, float | None, int, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One line of `readings.csv`.

    Attributes:
        id: Issued once a study, from 1.
        replaces: The reading that this one corrects or overrules, None for a first one.
        entered: ISO date and time of entry, UTC; no result depends on it.
        run: Run number.
        panel: Panel number, None where the response has no panels.
        age_d: Film or storage age, days, None where it has none.
        repeat: 1 for the first reading of the unit.
        response: Name of the response.
        value: Response unit; None where the flag stands for it.
        value_to: Upper end where the flag is `between`.
        flag: What kind of reading it is.
        because: Why it was corrected, lost or excluded.
        source: File and cell it came from, or the command.
    """

    id: int
    replaces: int | None = None
    entered: str = ""
    run: int
    panel: int | None = None
    age_d: float | None = None
    repeat: int = 1
    response: str
    value: float | None = None
    value_to: float | None = None
    flag: Flag = "ok"
    because: str = ""
    source: str = ""

    @property
    def key(self) -> ReadingKey:
        """What makes two lines the same reading."""
        return (self.run, self.panel, self.age_d, self.repeat, self.response)


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """All lines of `readings.csv`, in order of entry."""

    rows: tuple[Reading, ...] = ()

    def current(self) -> tuple[Reading, ...]:
        """Give the lines that stand: the latest of each key, those replaced left out."""
        replaced = {reading.replaces for reading in self.rows if reading.replaces is not None}
        latest = {one.key: one for one in self.rows if one.id not in replaced}
        return tuple(latest.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Actual:
    """One line of `actuals.csv`: what was really done to one unit.

    Attributes:
        unit: The unit it belongs to, such as `batch 3` or `run 7`.
        what: What was noted: a raw material (grams), a factor (its unit), `day`, `order`.
        value: Number or word as noted.
        when: ISO date and time as noted; empty if none was.
    """

    unit: str
    what: str
    value: str
    when: str = ""

"""A dose ladder as a value: its pots, what was read on them, and how new readings join old ones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from doe.errors import Fault, ResultsError
from doe.study.numerals import number_text
from doe.study.reading_cell import CellReading

PotKind = Literal["pot", "control"]

# A dose typed anew is taken for one of the ladder's if it is within its rounding.
SAME_DOSE = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Pot:
    """One pot of a ladder.

    Attributes:
        number: Its number, from 1.
        order: Its place at the bench; None where nobody planned it.
        kind: `control` for the pot without additive.
        dose: % active on pigment.
        made: What it is made of and at which settings, as text by column.
    """

    number: int
    order: int | None
    kind: PotKind
    dose: float
    made: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class PotReading:
    """One reading of a pot.

    Attributes:
        pot: Number of the pot.
        repeat: 1 for the first reading.
        viscosity: mPa·s, or off the scale, or gelled; None while it is pending.
        foam: What was noted of foam.
        note: What else was noted.
        was: The value that a correction replaced.
        because: Why it was corrected.
        source: The file that it came from; empty for one typed into `ladder.csv`.
    """

    pot: int
    repeat: int = 1
    viscosity: CellReading | None = None
    foam: str = ""
    note: str = ""
    was: str = ""
    because: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """A ladder: its pots in bench order, and their readings."""

    pots: tuple[Pot, ...] = ()
    readings: tuple[PotReading, ...] = ()

    @property
    def has_readings(self) -> bool:
        """Whether anything was read on it."""
        return any(one.viscosity is not None or one.foam or one.note for one in self.readings)

    def pot(self, number: int) -> Pot | None:
        """Find a pot by its number."""
        return next((one for one in self.pots if one.number == number), None)

    def pot_of_dose(self, dose: float) -> Pot | None:
        """Find the pot of a dose, its rounding aside."""
        return next(
            (one for one in self.pots if abs(one.dose - dose) <= SAME_DOSE * max(one.dose, dose)),
            None,
        )

    def of_pot(self, number: int) -> tuple[PotReading, ...]:
        """Give the readings of a pot, by repeat."""
        mine = (one for one in self.readings if one.pot == number)
        return tuple(sorted(mine, key=lambda one: one.repeat))


@dataclass(frozen=True, slots=True, kw_only=True)
class PotEntry:
    """A reading as it comes in: of a pot by its number, or of a dose."""

    dose: float | None
    pot: int | None
    repeat: int | None
    viscosity: CellReading
    foam: str = ""
    note: str = ""
    where: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LadderMerge:
    """What entering did.

    Attributes:
        ladder: The ladder with all readings.
        added: Readings that are new.
        same: Readings known already.
        corrected: Old and new, where a correction was asked for.
        new_doses: Doses that the ladder did not have.
    """

    ladder: Ladder
    added: tuple[PotReading, ...]
    same: tuple[PotReading, ...]
    corrected: tuple[tuple[PotReading, PotReading], ...]
    new_doses: tuple[float, ...]


def viscosity_text(reading: CellReading | None) -> str:
    """Write a viscosity as a cell shows it.

    Example:
        >>> viscosity_text(CellReading(value=5000.0, flag="above"))
        '> 5000'
    """
    if reading is None:
        return ""
    if reading.value is None:
        return reading.flag
    if reading.flag == "between" and reading.value_to is not None:
        return f"{number_text(reading.value)} to {number_text(reading.value_to)}"
    sign = {"above": "> ", "below": "< "}.get(reading.flag, "")
    return sign + number_text(reading.value)


def merge_ladder(
    ladder: Ladder, entries: Iterable[PotEntry], *, source: str, correct: bool, because: str
) -> LadderMerge:
    """Join readings to a ladder: what is known is passed over, what differs is a correction.

    Raises:
        ResultsError: Readings differ from those that stand and no correction was asked for, or
            they are of a pot that is not there; all of them together.
    """
    state = _Joining(ladder=ladder, source=source, correct=correct, because=because)
    for entry in entries:
        state.join(entry)
    if state.faults:
        raise ResultsError.from_faults(state.faults)
    return LadderMerge(
        ladder=state.ladder, added=tuple(state.added), same=tuple(state.same),
        corrected=tuple(state.corrected), new_doses=tuple(state.new_doses),
    )  # fmt: skip


@dataclass(slots=True, kw_only=True)
class _Joining:
    """The work of one merge; it never leaves this module."""

    ladder: Ladder
    source: str
    correct: bool
    because: str
    added: list[PotReading] = field(default_factory=list)
    same: list[PotReading] = field(default_factory=list)
    corrected: list[tuple[PotReading, PotReading]] = field(default_factory=list)
    new_doses: list[float] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    seen: dict[int, int] = field(default_factory=dict)

    def join(self, entry: PotEntry) -> None:
        pot = self._pot(entry)
        if pot is None:
            return
        self.seen[pot.number] = self.seen.get(pot.number, 0) + 1
        repeat = entry.repeat or self.seen[pot.number]
        new = PotReading(
            pot=pot.number, repeat=repeat, viscosity=entry.viscosity, foam=entry.foam,
            note=entry.note, source=self.source,
        )  # fmt: skip
        old = next((one for one in self.ladder.of_pot(pot.number) if one.repeat == repeat), None)
        if old is None or old.viscosity is None:
            self._add(old, new)
        elif old.viscosity == new.viscosity:
            self._keep(old, new)
        else:
            self._correct(old, new, entry.where)

    def _pot(self, entry: PotEntry) -> Pot | None:
        if entry.pot is not None:
            found = self.ladder.pot(entry.pot)
            if found is None:
                self.faults.append(
                    Fault(
                        where=entry.where,
                        what=f"the ladder has no pot {entry.pot}",
                        allowed=", ".join(str(one.number) for one in self.ladder.pots),
                    )
                )
            return found
        dose = entry.dose or 0.0
        return self.ladder.pot_of_dose(dose) or self._new_pot(dose)

    def _new_pot(self, dose: float) -> Pot:
        number = max((one.number for one in self.ladder.pots), default=0) + 1
        pot = Pot(
            number=number, order=None, kind="control" if dose == 0 else "pot", dose=dose, made={}
        )
        self.ladder = replace(self.ladder, pots=(*self.ladder.pots, pot))
        self.new_doses.append(dose)
        return pot

    def _add(self, old: PotReading | None, new: PotReading) -> None:
        if old is not None:
            new = replace(new, foam=new.foam or old.foam, note=new.note or old.note)
        self._put(old, new)
        self.added.append(new)

    def _keep(self, old: PotReading, new: PotReading) -> None:
        """Let notes that were blank be filled; a blank never erases."""
        self._put(old, replace(old, foam=old.foam or new.foam, note=old.note or new.note))
        self.same.append(old)

    def _correct(self, old: PotReading, new: PotReading, where: str) -> None:
        said = viscosity_text(old.viscosity), viscosity_text(new.viscosity)
        if not self.correct:
            self.faults.append(
                Fault(
                    where=where,
                    what=f"pot {old.pot}, reading {old.repeat}: {said[0]} stands, {said[1]} came",
                    do="If the new value is right: --correct --because '…'.",
                )
            )
            return
        new = replace(
            new, foam=new.foam or old.foam, note=new.note or old.note, was=said[0],
            because=self.because,
        )  # fmt: skip
        self._put(old, new)
        self.corrected.append((old, new))

    def _put(self, old: PotReading | None, new: PotReading) -> None:
        rest = tuple(one for one in self.ladder.readings if one is not old)
        self.ladder = replace(self.ladder, readings=(*rest, new))

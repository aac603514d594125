"""`ladder.csv`: a dose ladder, a line a pot and a further line a repeat; open to be filled in."""

from __future__ import annotations

from collections.abc import Sequence

from doe.errors import Fault, ResultsError, StudyError
from doe.study.csv_text import write_csv
from doe.study.ladder import Ladder, Pot, PotEntry, PotReading, viscosity_text
from doe.study.reading_cell import CellReading, read_cell
from doe.study.tables import Table, read_table

LADDER_FILE = "ladder.csv"
COLUMNS = (
    "pot", "order", "kind", "dose", "repeat", "viscosity", "foam", "note", "was", "because",
    "source",
)  # fmt: skip


def encode_ladder(ladder: Ladder) -> bytes:
    """Write a ladder, its pots in bench order, each with its repeats."""
    made = list(dict.fromkeys(name for pot in ladder.pots for name in pot.made))
    rows: list[list[str | float | int | None]] = []
    for pot in ladder.pots:
        readings = ladder.of_pot(pot.number) or (PotReading(pot=pot.number),)
        for one in readings:
            first = one is readings[0]
            rows.append(
                [
                    pot.number, pot.order, pot.kind, pot.dose, one.repeat,
                    viscosity_text(one.viscosity), one.foam, one.note, one.was, one.because,
                    one.source, *(pot.made.get(name, "") if first else "" for name in made),
                ]
            )  # fmt: skip
    return write_csv((*COLUMNS, *made), rows).encode()


def decode_ladder(data: bytes, where: str = LADDER_FILE) -> Ladder:
    """Read a ladder.

    Raises:
        StudyError: The file has faults; the error holds all of them.
    """
    table = read_table(data, where, ours=True, error=StudyError)
    faults = [
        Fault(where=where, what=f"the column '{name}' is missing")
        for name in ("pot", "dose", "viscosity")
        if table.find(name) is None
    ]
    if faults:
        raise StudyError.from_faults(faults)
    pots: dict[int, Pot] = {}
    readings: list[PotReading] = []
    for i in range(len(table)):
        number = table.whole(i, "pot", faults)
        if number is None:
            faults += [] if table.text(i, "pot") else [_blank(table, i, "pot")]
            continue
        if number not in pots and (pot := _pot(table, i, number, faults)) is not None:
            pots[number] = pot
        readings += _reading(
            table, i, number, 1 + sum(one.pot == number for one in readings), faults
        )
    faults += _twice(readings, where)
    if faults:
        raise StudyError.from_faults(faults)
    return Ladder(pots=tuple(pots.values()), readings=tuple(readings))


def read_entries(table: Table) -> tuple[PotEntry, ...]:
    """Read a bare table of readings: `dose` or `pot`, and `viscosity`; a second line is a repeat.

    Raises:
        ResultsError: The table has faults; the error holds all of them.
    """
    faults: list[Fault] = []
    if table.find("viscosity") is None:
        faults.append(_column_missing(table, "viscosity"))
    if table.find("dose") is None and table.find("pot") is None:
        faults.append(_column_missing(table, "dose"))
    if faults:
        raise ResultsError.from_faults(faults)
    entries = []
    for i in range(len(table)):
        value = viscosity_cell(table, i, faults)
        if value is None:
            continue
        pot, dose = table.whole(i, "pot", faults), table.number(i, "dose", faults)
        if pot is None and dose is None:
            faults.append(_blank(table, i, "dose"))
        elif dose is not None and dose < 0:
            faults.append(Fault(where=table.place(i, "dose"), what=f"the dose is {dose:g}"))
        entries.append(
            PotEntry(
                pot=pot, dose=dose, repeat=table.whole(i, "repeat", faults), viscosity=value,
                foam=table.text(i, "foam"), note=table.text(i, "note"),
                where=table.place(i, "viscosity"),
            )
        )  # fmt: skip
    if faults:
        raise ResultsError.from_faults(faults)
    return tuple(entries)


def viscosity_cell(table: Table, i: int, faults: list[Fault]) -> CellReading | None:
    """Read a viscosity, which is above 0; None for a blank cell and after a fault."""
    where = table.place(i, "viscosity")
    read = read_cell(table.text(i, "viscosity"), table.decimal, where)
    if isinstance(read, Fault):
        faults.append(read)
        return None
    if read is not None and (fault := not_above_0(read, where)):
        faults.append(fault)
        return None
    return read


def not_above_0(read: CellReading, where: str) -> Fault | None:
    """Refuse a viscosity that is not above 0; None where it is."""
    if read.value is None or read.value > 0:
        return None
    return Fault(
        where=where,
        what=f"the viscosity is {read.value:g}",
        allowed="above 0, or gelled, or blank while it is pending",
    )


def _pot(table: Table, i: int, number: int, faults: list[Fault]) -> Pot | None:
    dose = table.number(i, "dose", faults)
    order = table.whole(i, "order", faults)
    if dose is None or dose < 0:
        if dose is not None:
            faults.append(Fault(where=table.place(i, "dose"), what=f"the dose is {dose:g}"))
        elif not table.text(i, "dose").strip():
            faults.append(_blank(table, i, "dose"))
        return None
    made = {
        name: text for name in table.names if name not in COLUMNS and (text := table.text(i, name))
    }
    is_control = table.text(i, "kind").strip() == "control" or dose == 0
    return Pot(
        number=number, order=order, kind="control" if is_control else "pot", dose=dose, made=made
    )


def _reading(
    table: Table, i: int, number: int, next_repeat: int, faults: list[Fault]
) -> list[PotReading]:
    viscosity = viscosity_cell(table, i, faults)
    words = {name: table.text(i, name) for name in ("foam", "note", "was", "because", "source")}
    if viscosity is None and not any(words.values()):
        return []
    repeat = table.whole(i, "repeat", faults) or next_repeat
    return [PotReading(pot=number, repeat=repeat, viscosity=viscosity, **words)]


def _twice(readings: Sequence[PotReading], where: str) -> list[Fault]:
    seen: set[tuple[int, int]] = set()
    faults = []
    for one in readings:
        if (one.pot, one.repeat) in seen:
            faults.append(
                Fault(
                    where=where,
                    what=f"pot {one.pot} has two readings with repeat {one.repeat}",
                    do="Number them in the column 'repeat'.",
                )
            )
        seen.add((one.pot, one.repeat))
    return faults


def _blank(table: Table, i: int, name: str) -> Fault:
    return Fault(where=table.place(i, name), what=f"the {name} is blank")


def _column_missing(table: Table, name: str) -> Fault:
    return Fault(
        where=table.source,
        what=f"the column '{name}' is missing",
        allowed="columns dose (or pot) and viscosity; foam, note and repeat beside them",
    )

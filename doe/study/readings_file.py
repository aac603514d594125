"""`readings.csv`: every reading as it came in, and what replaces what."""

from __future__ import annotations

from typing import get_args

from doe.errors import Fault, StudyError
from doe.study.csv_text import write_csv
from doe.study.readings import Flag, Reading, Readings
from doe.study.tables import Table, read_table

READINGS_FILE = "readings.csv"
COLUMNS = (
    "id", "replaces", "entered", "run", "panel", "age_d", "repeat", "response", "value",
    "value_to", "flag", "because", "source",
)  # fmt: skip
# An older file may lack the others; they are blank then.
_NEEDED = ("id", "run", "response", "value")
_WITH_VALUE = frozenset({"ok", "above", "below", "between"})


def encode_readings(readings: Readings) -> bytes:
    """Write all readings, one a line, in order of entry."""
    rows = [[getattr(reading, name) for name in COLUMNS] for reading in readings.rows]
    return write_csv(COLUMNS, rows).encode()


def decode_readings(data: bytes, where: str = READINGS_FILE) -> Readings:
    """Read all readings.

    Raises:
        StudyError: The file has faults; the error holds all of them.
    """
    table = read_table(data, where, ours=True, error=StudyError)
    missing = [name for name in _NEEDED if table.find(name) is None]
    if missing:
        raise StudyError.from_faults(
            Fault(where=where, what=f"the column '{name}' is missing") for name in missing
        )
    faults: list[Fault] = []
    rows = [_reading(table, i, faults) for i in range(len(table))]
    kept = [reading for reading in rows if reading is not None]
    faults.extend(_id_faults(kept, where))
    if faults:
        raise StudyError.from_faults(faults)
    return Readings(rows=tuple(kept))


def _reading(table: Table, i: int, faults: list[Fault]) -> Reading | None:
    before = len(faults)
    number = table.whole(i, "id", faults)
    run = table.whole(i, "run", faults)
    flag = _flag(table, i, faults)
    response = table.text(i, "response")
    reading = {
        "replaces": table.whole(i, "replaces", faults),
        "panel": table.whole(i, "panel", faults),
        "repeat": table.whole(i, "repeat", faults) or 1,
    }
    age, value = table.number(i, "age_d", faults), table.number(i, "value", faults)
    value_to = table.number(i, "value_to", faults)
    for name, found in (("id", number), ("run", run), ("response", response or None)):
        if found is None and not table.text(i, name):
            faults.append(Fault(where=table.place(i, name), what=f"the {name} is blank"))
    if flag in _WITH_VALUE and not table.text(i, "value"):
        what = f"a reading flagged '{flag}' needs a value"
        faults.append(Fault(where=table.place(i, "value"), what=what))
    if flag == "between" and not table.text(i, "value_to"):
        what = "a reading flagged 'between' needs an upper end"
        faults.append(Fault(where=table.place(i, "value_to"), what=what))
    if len(faults) > before or number is None or run is None or flag is None:
        return None
    return Reading(
        id=number,
        replaces=reading["replaces"],
        entered=table.text(i, "entered"),
        run=run,
        panel=reading["panel"],
        age_d=age,
        repeat=reading["repeat"] or 1,
        response=response,
        value=value,
        value_to=value_to,
        flag=flag,
        because=table.text(i, "because"),
        source=table.text(i, "source"),
    )


def _flag(table: Table, i: int, faults: list[Fault]) -> Flag | None:
    said = table.text(i, "flag").strip() or "ok"
    known: dict[str, Flag] = {flag: flag for flag in get_args(Flag)}
    if said not in known:
        what = f"the flag '{said}' is not known"
        faults.append(Fault(where=table.place(i, "flag"), what=what, allowed=", ".join(known)))
    return known.get(said)


def _id_faults(rows: list[Reading], where: str) -> list[Fault]:
    """Find ids that stand twice and lines that replace one which did not come before them."""
    faults: list[Fault] = []
    seen: set[int] = set()
    for reading in rows:
        if reading.id in seen:
            faults.append(Fault(where=where, what=f"the id {reading.id} stands twice"))
        if reading.replaces is not None and reading.replaces not in seen:
            what = f"reading {reading.id} replaces {reading.replaces}, which stands not before it"
            faults.append(Fault(where=where, what=what))
        seen.add(reading.id)
    return faults

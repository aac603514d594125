"""The form of the bench workbook: names of sheets and columns, marks, and what ties it to a plan.

The writer and the reader of the workbook share this page and nothing else.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from doe.study.hashes import content_hash
from doe.study.names import fold
from doe.study.numerals import number_text
from doe.study.plan import Plan
from doe.study.readings import Reading

# Workbooks with raw readings are of format 2, as an older version would leave those out in silence.
FORMAT, FORMAT_RAW = 1, 2
README, WEIGHING, SAMPLES, PANELS, READINGS = (
    "Read me", "Weigh-out", "Samples", "Panels", "Readings",
)  # fmt: skip
DRAWDOWNS = "Drawdowns"
MACHINE = "millbase"

# The first column of each sheet that is read back; the row that begins with it holds the headers.
HEAD_ROW = 3
WEIGHING_HEADS = (
    "unit", "what", "how", "target", "measure", "actual", "off target, %", "active, g",
    "water inside, g", "note",
)  # fmt: skip
ID_HEADS = ("run", "day", "batch", "sample", "panel", "repeat")
NOTE = "note"
AGE, DUE = "age (d)", "due"
# Raw readings: their identity, also at several ages.
RAW_ID_HEADS = (*ID_HEADS[:-1], AGE, ID_HEADS[-1])
CARD_USED = "card as drawn"
CARD_HEADS = (
    "test", "card", "day", "batch", "sample", "panel", "run", "left", "right", CARD_USED,
)  # fmt: skip
# Said of a unit, by test, and kept beside the actuals: nothing is weighed or set by them.
DATE_BEGUN, CARD = "date begun", "card"


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryColumn:
    """A column to fill in, as it was written.

    Attributes:
        sheet: The sheet it stands on.
        head: Its header.
        what: The response, or what an actual is of.
        measure: Unit of measure at the time.
    """

    sheet: str
    head: str
    what: str
    measure: str


def run_marks(plan: Plan) -> dict[int, str]:
    """Mark each run by its place in the plan and its settings.

    A workbook whose marks agree belongs to the plan, however much the plan has grown since.
    """
    return {run: _mark(plan, row) for row, run in enumerate(plan.run)}


def _mark(plan: Plan, row: int) -> str:
    settings = {
        fold(name): fold(value) if isinstance(value, str) else _digits(value)
        for name, value in plan.settings.row(row).items()
    }
    place = [plan.run[row], plan.batch[row], plan.sample[row], plan.panel[row]]
    text = json.dumps([place, settings], sort_keys=True, ensure_ascii=False)
    return content_hash(text.encode())


def _digits(value: float | None) -> str | None:
    return None if value is None else f"{value + 0.0:.9g}"


def reading_text(readings: Iterable[Reading]) -> Mapping[tuple[int, int, str], float | str]:
    """Write readings as cells show them, by run, repeat and folded response.

    Readings at an age are left out: this form has no column for them.
    """
    return {
        (one.run, one.repeat, fold(one.response)): cell_text(one)
        for one in readings
        if one.age_d is None
    }


def raw_text(
    readings: Iterable[Reading],
) -> Mapping[tuple[int, float | None, int], Mapping[str, float | str]]:
    """Write raw readings as cells show them, by run, age and repeat, then by folded column."""
    rows: dict[tuple[int, float | None, int], dict[str, float | str]] = {}
    for one in readings:
        row = rows.setdefault((one.run, one.age_d, one.repeat), {})
        row[fold(one.response)] = cell_text(one)
    return rows


def film_record(test: str, what: str) -> str:
    """Name what is noted of a unit for one test, as in actuals: `water uptake: date begun`."""
    return f"{test}: {what}"


def is_film_record(what: str) -> bool:
    """Tell a note of a test among the actuals from what is weighed and set."""
    return fold(what).endswith((f": {DATE_BEGUN}", f": {CARD}"))


def cell_text(reading: Reading) -> float | str:
    """Write a reading as its cell shows it: a number, or `gelled`, `> 5000`, `5 to 10`."""
    value = reading.value
    if reading.flag in ("gelled", "lost", "excluded") or value is None:
        return reading.flag
    if reading.flag == "above":
        return f"> {number_text(value)}"
    if reading.flag == "below":
        return f"< {number_text(value)}"
    if reading.flag == "between" and reading.value_to is not None:
        return f"{number_text(value)} to {number_text(reading.value_to)}"
    return value

"""What may take the place of what: results always, records that only grow, the rest on request."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

from doe.errors import DoeError
from doe.study.numerals import parse_number
from doe.study.raw_files import RAW
from doe.study.tables import read_table

# Remade from the inputs at any time.
REMADE = "results/"
# Decisions are changed by making them anew; that is what the file is for.
DECISIONS = frozenset({"choices.toml"})
# Records that lines and rounds are added to; all that lies in `raw/` is one, too.
RECORDS = frozenset(
    {
        "plan.csv", "plan.json", "readings.csv", "actuals.csv", "ladder.csv", "confirmation.json",
    }
)  # fmt: skip

# Written behind what stands there, and never otherwise.
GROWS_AT_END = frozenset({"agreement.toml"})

# The record that people and the bench fill in line by line.
FILLED_IN = "ladder.csv"
# The filled cells of a line, by column.
Line = frozenset[tuple[str, str | float]]


def is_free_to_write(name: str, old: bytes | None, new: bytes) -> bool:
    """Tell whether a file may be written without a word from the user.

    Args:
        name: Place in the study folder.
        old: What it holds, None if it is not there.
        new: What it would hold.
    """
    if old is None or old == new or name.startswith(REMADE) or name in DECISIONS:
        return True
    if name in GROWS_AT_END:
        return new.startswith(old)
    return (name in RECORDS or name.startswith(RAW)) and keeps_everything(name, old, new)


def keeps_everything(name: str, old: bytes, new: bytes) -> bool:
    """Tell whether a record only grows: all that it held is in it still.

    Of a table every line counts, whatever the order of columns; of `plan.json` every round, of
    `confirmation.json` every entry. A line
    of a ladder may be filled in: it is still there if all its filled cells are.
    """
    if name.endswith(".json"):
        return _rounds(old) is not None and _holds(_rounds(new) or [], _rounds(old) or [])
    before, after = _lines(old), _lines(new)
    if before is None or after is None:
        return False
    return _has_grown(after, before) if name == FILLED_IN else not before - after


def _holds(whole: list[Any], part: list[Any]) -> bool:
    rest = list(whole)
    for one in part:
        if one not in rest:
            return False
        rest.remove(one)
    return True


def _has_grown(whole: Counter[Line], part: Counter[Line]) -> bool:
    """Tell whether every line is there still, with all cells that were filled."""
    rest = list(whole.elements())
    for one in part.elements():
        found = next((line for line in rest if one <= line), None)
        if found is None:
            return False
        rest.remove(found)
    return True


def _rounds(data: bytes) -> list[Any] | None:
    try:
        content = json.loads(data)
        return list(content["rounds"] if "rounds" in content else content["entries"])
    except (ValueError, KeyError, TypeError):
        return None


def _lines(data: bytes) -> Counter[Line] | None:
    """Count the lines of a table, each as its filled cells, numbers as numbers."""
    try:
        table = read_table(data, ours=True)
    except DoeError:
        return None
    return Counter(
        frozenset(
            (name, text if number is None else number)
            for name, text in zip(table.names, row, strict=True)
            if text
            for number in [parse_number(text, table.decimal)]
        )
        for row in table.rows
    )

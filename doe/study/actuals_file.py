"""`actuals.csv`: what was really done to each unit."""

from __future__ import annotations

import re
from collections.abc import Sequence

from doe.errors import Fault, StudyError
from doe.study.brief import STAGES
from doe.study.csv_text import write_csv
from doe.study.readings import Actual
from doe.study.tables import read_table

ACTUALS_FILE = "actuals.csv"
COLUMNS = ("unit", "what", "value", "when")
_UNIT = re.compile(rf"(?P<stage>run|{'|'.join(STAGES)}) (?P<number>[1-9][0-9]*)")


def encode_actuals(actuals: Sequence[Actual]) -> bytes:
    """Write all actuals, one a line, in order of entry."""
    rows = [[one.unit, one.what, one.value, one.when] for one in actuals]
    return write_csv(COLUMNS, rows).encode()


def decode_actuals(data: bytes, where: str = ACTUALS_FILE) -> tuple[Actual, ...]:
    """Read all actuals; of two for the same unit and thing the later one counts.

    Raises:
        StudyError: The file has faults; the error holds all of them.
    """
    table = read_table(data, where, ours=True, error=StudyError)
    faults = [
        Fault(where=where, what=f"the column '{name}' is missing")
        for name in COLUMNS[:3]
        if table.find(name) is None
    ]
    if not faults:
        faults = [
            Fault(
                where=table.place(i, "unit"),
                what=f"'{table.text(i, 'unit')}' is no unit of the study",
                allowed="such as 'batch 3' or 'run 7'",
            )
            for i in range(len(table))
            if unit_of(table.text(i, "unit")) is None
        ]
    if faults:
        raise StudyError.from_faults(faults)
    return tuple(
        Actual(
            unit=table.text(i, "unit"),
            what=table.text(i, "what"),
            value=table.text(i, "value"),
            when=table.text(i, "when"),
        )
        for i in range(len(table))
    )


def unit_of(unit: str) -> tuple[str, int] | None:
    """Split the unit of an actual into its stage and number; None if it is not one.

    Example:
        >>> unit_of("batch 3")
        ('batch', 3)
    """
    match = _UNIT.fullmatch(unit)
    return (match["stage"], int(match["number"])) if match else None

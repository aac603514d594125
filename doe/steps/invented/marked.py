"""Whether a study holds readings that were invented."""

from __future__ import annotations

from doe.steps.invented import SOURCE
from doe.steps.session import Session


def is_invented(session: Session) -> bool:
    """Tell whether any reading comes from the invented bench of the demo."""
    entered = [row.source for row in session.readings.rows]
    raw = [row.source for table in session.raw.tables.values() for row in table.rows]
    curves = [curve.source for kind in session.raw.curves.values() for curve in kind]
    return any(source.startswith(SOURCE) for source in (*entered, *raw, *curves))

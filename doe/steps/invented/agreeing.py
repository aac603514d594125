"""How the invented team of the demo agrees: proposal, objection, its answer, the final word."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from doe.steps.agree import AgreeOptions, AgreeOutcome, agree_study
from doe.study.agreement import Says

# Invented as all of it: the demo gives the same bytes on any day.
PROPOSED, FINAL = dt.date(2026, 2, 16), dt.date(2026, 2, 18)
BATCH_KG = 250.0
_WORDS: tuple[tuple[dt.date, str, Says, str], ...] = (
    (PROPOSED, "formulator", "agrees", "every limit is met with room (invented)"),
    (PROPOSED, "production", "objects", "the mill cannot be blocked for so long (invented)"),
    (dt.date(2026, 2, 17), "colourist", "agrees", "strength stays above the standard (invented)"),
    (FINAL, "production", "agrees", "the end point counts, not the minutes (invented)"),
)


def agree_invented(path: Path) -> AgreeOutcome:
    """Propose the kept settings, let every role speak, and make the version final."""
    proposal = AgreeOptions(
        propose=True, role="formulator", batch_kg=BATCH_KG,
        because="thin, strong, and the film stays dry (invented)",
    )  # fmt: skip
    agree_study(path, proposal, today=PROPOSED)
    for day, role, says, because in _WORDS:
        agree_study(path, AgreeOptions(role=role, says=says, because=because), today=day)
    return agree_study(path, AgreeOptions(final=True), today=FINAL)

"""A table of settings that somebody else made, read as a plan."""

from __future__ import annotations

from pathlib import Path

from doe.steps.session import Session
from doe.study.adopt_table import adopt_table
from doe.study.finding import Finding
from doe.study.plan import Plan
from doe.study.tables import read_table

# What adopting says of results is of no interest to who appraises settings.
_OF_RESULTS = ("it is pending.", "no results yet.")


def plan_of_table(file: Path, session: Session) -> tuple[Plan, tuple[Finding, ...]]:
    """Read settings from a CSV or a workbook, columns named as in the brief.

    Returns:
        The runs as a plan, and what reading them has shown.

    Raises:
        ResultsError: The table cannot be read, or a setting is missing.
    """
    # Loaded here: the readers of workbooks take a third of the time of a quick answer.
    from doe.steps.enter import read_delivery

    table = read_table(read_delivery(file), file.name)
    plan, _, findings = adopt_table(table, session.study)
    told = (*table.notes, *(one for one in findings if not one.what.endswith(_OF_RESULTS)))
    return plan, tuple({one.what: one for one in told}.values())

"""What a new version of the agreement must meet, and what it takes over from the last one."""

from __future__ import annotations

import re
from collections.abc import Sequence

from analysis.agreement.matching import latest_here
from doe.errors import StudyError
from doe.study.agreement import AgreedConfirmation, Agreement, Version
from doe.study.finding import Finding

# Where nobody says how large a production batch is.
BATCH_KG = 100.0


def refuse_unnamed_failure(confirmations: Sequence[AgreedConfirmation], because: str) -> None:
    """Refuse settings that batches did not confirm, unless the reason names those batches.

    Raises:
        StudyError: Which confirmation failed, and how to name it.
    """
    unnamed = [
        one
        for one in latest_here(confirmations, "not confirmed")
        if not re.search(rf"confirmation\s*{one.number}\b", because, re.IGNORECASE)
    ]
    if unnamed:
        first = unnamed[0].number
        raise StudyError(
            f"batches did not confirm these settings: {' '.join(one.words for one in unnamed)}",
            where="--because", allowed="other settings, or a reason that names what failed",
            do="See 'millbase confirm STUDY --judge' for the best next round. To propose them all "
            f"the same, name it: --because \"despite confirmation {first}: …\".",
        )  # fmt: skip


def batch_of(agreement: Agreement, asked_kg: float | None) -> float:
    """Give the size of the production batch, kg: as asked, else that of the last version."""
    if asked_kg is not None:
        return asked_kg
    return agreement.latest.batch_kg if agreement.latest is not None else BATCH_KG


def batch_finding(agreement: Agreement, batch_kg: float) -> Finding:
    """Say where a size that nobody gave comes from."""
    last = agreement.latest
    why = "as no size of a production batch was given"
    if last is not None:
        why = f"the size of version {last.number}, as no other was given"
    return Finding(
        level="note", what=f"The card weighs out {batch_kg:g} kg of mill base, {why}.",
        advice="Give it with --batch-kg.",
    )  # fmt: skip


def box_findings(agreement: Agreement, version: Version, why: str) -> tuple[Finding, ...]:
    """Say that a version has no tolerance box, and why not, a phrase."""
    if version.probability is None or version.window_probability is not None:
        return ()
    last = agreement.latest
    lost = ""
    if last is not None and last.window_probability is not None:
        lost = f" Version {last.number} had one, which does not hold for these inputs or settings."
    return (
        Finding(
            level="caution" if lost else "note",
            what=f"The version has no tolerance box: {why}.{lost}",
            advice="See under the robust choice of 'millbase risk STUDY' which settings have room.",
        ),
    )

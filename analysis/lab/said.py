"""What people said of runs, batches and days, and what follows for a response."""

from __future__ import annotations

from collections.abc import Sequence

from doe.study.choices import Choices, Note
from doe.study.names import fold
from doe.study.plan import Plan


def reasons_to_leave_out(
    choices: Choices, plan: Plan, day: Sequence[int | None], response: str
) -> dict[int, str]:
    """Tell which runs are lost or excluded for a response, and why.

    Args:
        choices: What was said; only what stands counts, so that `back` undoes what came before.
        plan: The runs.
        day: Day of each run, as done.
        response: Name of the response; a note without one holds for all.

    Returns:
        The reason by run number.
    """
    said: dict[tuple[str, int], Note] = {
        (note.subject, note.number): note
        for note in choices.standing_notes()
        if note.says != "stands"
        if note.response is None or fold(note.response) == fold(response)
    }
    reasons = {}
    for i, run in enumerate(plan.run):
        for subject, number in (("day", day[i]), ("batch", plan.batch[i]), ("run", run)):
            found = said.get((subject, number)) if number is not None else None
            if found is not None:
                whole = "" if subject == "run" else f" ({subject} {number})"
                because = f", {found.because}" if found.because else ""
                reasons[run] = f"{found.says}{whole}{because}"
    return reasons

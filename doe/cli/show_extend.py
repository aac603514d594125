"""How `extend` looks in the terminal."""

from __future__ import annotations

from doe.cli.screen import paragraph, typed
from doe.cli.show_planning import SAFETY, runs_text
from doe.steps.extend import ExtendOutcome


def show_extend(outcome: ExtendOutcome) -> str:
    """Show why these runs, what they buy and cost, and the runs in bench order."""
    folder = typed(outcome.session.folder.path)
    if outcome.added is None:
        return "\n\n".join([paragraph(outcome.why_not), f"Next: millbase check {folder}"])
    entry = outcome.round
    dropped = ", ".join(map(str, outcome.dropped))
    parts = [
        f"Round {entry.number}, {outcome.purpose.title.lower()}, for {' + '.join(entry.models)}; "
        f"seed {entry.seed}",
        paragraph(f"Taken out of the plan, never made: runs {dropped}.") if dropped else "",
        "\n".join(paragraph(reason) for reason in entry.reasons),
        runs_text(outcome.added),
        paragraph(SAFETY),
        f"Next: millbase sheet {folder} --replace",
    ]
    return "\n\n".join(part for part in parts if part)

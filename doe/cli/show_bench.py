"""How `enter`, `note` and `adopt` look in the terminal."""

from __future__ import annotations

from doe.cli.screen import paragraph, typed
from doe.steps.adopt import AdoptOutcome
from doe.steps.enter import EnterOutcome
from doe.steps.note import NoteOutcome
from doe.study.readings import Reading


def show_enter(outcome: EnterOutcome) -> str:
    """Say what came in, what was corrected and what still waits."""
    merged, done = outcome.readings, outcome.actuals
    lines = [
        f"{len(merged.added)} readings and {len(done.added)} actuals taken in; "
        f"{len(merged.same)} readings were known already."
    ]
    lines += [
        f"{name}: {len(one.added)} raw readings taken in, {len(one.same)} known already."
        for name, one in outcome.raw.items()
    ]
    lines += [
        f"{kind.removesuffix(' curve')} curves: {len(one.added)} taken in, {len(one.same)} known "
        "already."
        for kind, one in outcome.curves.items()
    ]
    if outcome.computed:
        lines.append(f"{outcome.computed} readings computed from the raw ones by their methods.")
    raw_corrections = [c for one in outcome.raw.values() for c in one.corrections]
    for one in (*merged.corrections, *raw_corrections):
        change = f"{_said(one.old)} → {_said(one.new)}"
        lines.append(f"  corrected: run {one.old.run}, {one.old.response}: {change}")
    for old, new in done.corrections:
        lines.append(f"  corrected: {old.unit}, {old.what}: {old.value} → {new.value}")
    waiting = [
        f"{name} of {count} run{'' if count == 1 else 's'}"
        for name, count in outcome.waiting.items()
        if count
    ]
    if waiting:
        lines.append(paragraph("Still waiting: " + ", ".join(waiting) + "."))
    else:
        lines.append(f"Nothing waits. Next: millbase fit {typed(outcome.session.folder.path)}")
    return "\n".join(lines)


def show_note(outcome: NoteOutcome) -> str:
    """Repeat what was noted."""
    return paragraph("Noted: " + outcome.sentence)


def show_adopt(outcome: AdoptOutcome) -> str:
    """Say what the table held."""
    merged = outcome.readings
    return (
        f"{len(outcome.plan)} runs and {len(merged.added)} readings taken in"
        f"{f', {len(merged.same)} known already' if merged.same else ''}.\n"
        f"Next: millbase fit {typed(outcome.session.folder.path)}"
    )


def _said(reading: Reading) -> str:
    return reading.flag if reading.value is None else f"{reading.value:g}"

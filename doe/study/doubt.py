"""A doubt: a finding about what came from the bench, until somebody says how it is settled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from doe.study.choices import Choices, Note
from doe.study.finding import Finding
from doe.study.names import fold

# Cells that a finding lists; a whole column would hide what it says.
_UNITS_SHOWN = 8
_CELLS_SHOWN = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """One thing from the bench that may be wrong.

    A note on any of its units settles it, whether it says that they stand, are lost or excluded.

    Attributes:
        finding: What is doubted.
        about: The response or setting, said in front of doubts that are told together.
        label: The unit, as those told together list it; empty for a finding that is a sentence
            of its own.
        responses: The responses that it bears on; a note on another one does not settle it.
        runs: Runs that a note may name.
        batches: Mill batches that a note may name.
        days: Days that a note may name.
        readings: Ids in `readings.csv` that a note may name.
        sources: File and cell of what is doubted.
        is_impossible: Whether no instrument can show it, so that all that follows is void.
    """

    finding: Finding
    about: str = ""
    label: str = ""
    responses: tuple[str, ...] = ()
    runs: tuple[int, ...] = ()
    batches: tuple[int, ...] = ()
    days: tuple[int, ...] = ()
    readings: tuple[int, ...] = ()
    sources: tuple[str, ...] = ()
    is_impossible: bool = False

    def is_settled_by(self, note: Note) -> bool:
        """Tell whether a standing note is about this."""
        numbers = {
            "run": self.runs,
            "batch": self.batches,
            "day": self.days,
            "reading": self.readings,
        }
        if note.number not in numbers[note.subject]:
            return False
        return note.response is None or fold(note.response) in map(fold, self.responses)


def open_doubts(doubts: Sequence[Doubt], choices: Choices) -> tuple[Doubt, ...]:
    """Leave out the doubts that a note has settled."""
    notes = choices.standing_notes()
    return tuple(one for one in doubts if not any(one.is_settled_by(note) for note in notes))


def tell(doubts: Sequence[Doubt]) -> tuple[Finding, ...]:
    """Tell doubts as findings, those alike once with all their units, each with run and cell."""
    together: dict[tuple[str, ...], list[Doubt]] = {}
    for place, one in enumerate(doubts):
        alike = (one.about, one.finding.what, one.finding.advice)
        together.setdefault(alike if one.label else (str(place),), []).append(one)
    return tuple(_told(group) for group in together.values())


def _told(group: Sequence[Doubt]) -> Finding:
    first = group[0]
    where: dict[str, float | int | str] = {}
    runs = sorted({run for one in group for run in one.runs})
    if len(runs) == 1:
        where["run"] = runs[0]
    elif runs:
        where["runs"] = ", ".join(map(str, runs))
    sources = list(dict.fromkeys(source for one in group for source in one.sources if source))
    if sources:
        more = len(sources) - _CELLS_SHOWN
        where["source"] = "; ".join(sources[:_CELLS_SHOWN]) + (f"; {more} more" * (more > 0))
    what = first.finding.what
    if first.label:
        labels = list(dict.fromkeys(one.label for one in group))
        more = len(labels) - _UNITS_SHOWN
        units = "; ".join(labels[:_UNITS_SHOWN]) + (f" and {more} more" * (more > 0))
        what = f"'{first.about}', {units}: {what}"
    return replace(first.finding, what=what, evidence={**where, **first.finding.evidence})

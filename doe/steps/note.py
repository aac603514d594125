"""The step `note`: say of a run, batch or reading that it is lost, excluded or back again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from doe.errors import ResultsError
from doe.steps.contract import envelope
from doe.steps.results import write_choices
from doe.steps.session import Session, open_study, study_folder
from doe.study.choices import Note, Says
from doe.study.finding import Finding
from doe.study.names import match_name
from doe.study.numbering import next_numbers
from doe.study.readings import Flag, Reading, Readings


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteOptions:
    """What is said of what; exactly one of run, batch and reading."""

    says: Says
    because: str
    run: int | None = None
    batch: int | None = None
    response: str | None = None
    reading: int | None = None
    role: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoteOutcome:
    """What stands now."""

    session: Session
    sentence: str
    findings: tuple[Finding, ...] = ()
    is_no: bool = False

    def contract(self) -> dict[str, Any]:
        """Give the object that `note --json` prints."""
        return envelope({"noted": self.sentence}, inputs=self.session.inputs())


def note_study(path: Path, options: NoteOptions) -> NoteOutcome:
    """Put a note on record.

    Raises:
        ResultsError: What it is about does not exist, or the reason is missing.
    """
    _check(options)
    folder = study_folder(path)
    with folder.lock("note", options.role):
        session = open_study(path, folder)
        if options.reading is not None:
            return _on_reading(session, options, options.reading)
        return _on_unit(session, options)


def _check(options: NoteOptions) -> None:
    named = [one for one in (options.run, options.batch, options.reading) if one is not None]
    if len(named) != 1:
        raise ResultsError(
            "a note is about one thing",
            where="millbase note",
            allowed="--run, --batch or --reading",
        )
    if not options.because.strip():
        raise ResultsError(
            "a note needs its reason", where="--because", do="Add --because 'the reason'."
        )


def _on_unit(session: Session, options: NoteOptions) -> NoteOutcome:
    plan = session.needed_plan()
    known = set(plan.run) if options.run is not None else set(plan.batch)
    number = options.run if options.run is not None else options.batch
    if number is None or number not in known:
        raise ResultsError(
            f"the plan has no {'run' if options.run is not None else 'batch'} {number}"
        )
    note = Note(
        subject="run" if options.run is not None else "batch",
        number=number,
        response=_response(session, options.response),
        says=options.says,
        because=options.because,
        role=options.role,
    )
    session = write_choices(session, session.choices.with_note(note), command="note")
    about = f" for {note.response}" if note.response else ""
    return NoteOutcome(
        session=session, sentence=_sentence(f"{note.subject} {number}{about}", options)
    )


def _on_reading(session: Session, options: NoteOptions, number: int) -> NoteOutcome:
    rows = session.readings.rows
    old = next((row for row in session.readings.current() if row.id == number), None)
    if old is None:
        raise ResultsError(
            f"no reading that stands has the id {number}", where="readings.csv",
            do="Look up its id in readings.csv; a corrected reading has a new one.",
        )  # fmt: skip
    new = replace(
        old, id=next_numbers(session.plan, session.readings, session.actuals).reading,
        replaces=old.id, flag=_flag(old, options.says, rows), because=options.because,
        source="note", entered=datetime.now(UTC).isoformat(timespec="seconds"),
    )  # fmt: skip
    readings = Readings(rows=(*rows, new))
    session.folder.write(session.folder.readings_file(readings), command="note")
    session = replace(session, readings=readings)
    what = f"reading {old.id} (run {old.run}, {old.response})"
    return NoteOutcome(session=session, sentence=_sentence(what, options))


def _flag(old: Reading, says: Says, rows: tuple[Reading, ...]) -> Flag:
    if says != "back":
        return says
    by_id = {row.id: row for row in rows}
    first = old
    while first.flag in ("lost", "excluded") and first.replaces in by_id:
        first = by_id[first.replaces]
    return "ok" if first.flag in ("lost", "excluded") else first.flag


def _response(session: Session, name: str | None) -> str | None:
    if name is None:
        return None
    names = [response.name for response in session.study.responses]
    found = match_name(name, names)
    if found is None:
        raise ResultsError(
            f"there is no response '{name}'", where="--response", allowed=", ".join(names)
        )
    return found


def _sentence(what: str, options: NoteOptions) -> str:
    says = {"lost": "counts as lost", "excluded": "is excluded", "back": "is back again"}
    return f"{what} {says[options.says]}, because {options.because.strip()}".rstrip(".") + "."

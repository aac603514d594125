"""The step `note`: say of a run, batch, day or reading what it is worth: lost, excluded, right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from analysis.lab.as_made import as_made
from analysis.lab.said import reasons_to_leave_out
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
    """What is said of what; exactly one of run, batch, day and reading."""

    says: Says
    because: str
    run: int | None = None
    batch: int | None = None
    day: int | None = None
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
    every = (options.run, options.batch, options.day, options.reading)
    named = [one for one in every if one is not None]
    if len(named) != 1:
        raise ResultsError(
            "a note is about one thing",
            where="millbase note",
            allowed="--run, --batch, --day or --reading",
        )
    if not options.because.strip():
        raise ResultsError(
            "a note needs its reason", where="--because", do="Add --because 'the reason'."
        )


def _on_unit(session: Session, options: NoteOptions) -> NoteOutcome:
    subject, number, known = _unit(session, options)
    if number is None or number not in known:
        numbers = sorted(one for one in known if one is not None)
        raise ResultsError(
            f"the plan has no {subject} {number}",
            where=f"--{subject}",
            allowed=f"{numbers[0]} to {numbers[-1]}" if numbers else f"a plan with a {subject}",
        )
    note = Note(
        subject=subject,
        number=number,
        response=_response(session, options.response),
        says=options.says,
        because=options.because,
        role=options.role,
    )
    if note.says == "stands":
        _refuse_left_out(session, note)
    session = write_choices(session, session.choices.with_note(note), command="note")
    about = f" for {note.response}" if note.response else ""
    return NoteOutcome(
        session=session, sentence=_sentence(f"{note.subject} {number}{about}", options)
    )


def _unit(
    session: Session, options: NoteOptions
) -> tuple[Literal["run", "batch", "day"], int | None, set[int | None]]:
    """Give what kind of unit a note is about, its number, and the numbers that exist."""
    plan = session.needed_plan()
    if options.run is not None:
        return "run", options.run, set(plan.run)
    if options.batch is not None:
        return "batch", options.batch, set(plan.batch)
    days = {*plan.day, *as_made(session.study, plan, session.actuals).day}
    days |= {curve.day for kind in session.raw.curves.values() for curve in kind}
    return "day", options.day, days


def _refuse_left_out(session: Session, note: Note) -> None:
    """Refuse to call right what is left out: nobody could tell whether it counts then."""
    plan = session.needed_plan()
    day = as_made(session.study, plan, session.actuals).day
    place: dict[str, Sequence[int | None]] = {"run": plan.run, "batch": plan.batch, "day": day}
    own = [run for i, run in enumerate(plan.run) if place[note.subject][i] == note.number]
    names = [note.response] if note.response else [one.name for one in session.study.responses]
    for name in names:
        reasons = reasons_to_leave_out(session.choices, plan, day, name)
        gone = next((run for run in own if run in reasons), None)
        if gone is not None:
            raise ResultsError(
                f"run {gone} is left out of '{name}' ({reasons[gone]})",
                where="millbase note",
                do="Take it in again first, with --says back.",
            )


def _stands(session: Session, options: NoteOptions, old: Reading) -> NoteOutcome:
    """Put on record that a reading is right, or take that back; the reading itself stays."""
    if options.says == "stands" and old.flag in ("lost", "excluded"):
        raise ResultsError(
            f"reading {old.id} is {old.flag}",
            where="millbase note",
            do="Take it in again first, with --says back; its id is then a new one.",
        )
    note = Note(
        subject="reading", number=old.id, says=options.says, because=options.because,
        role=options.role,
    )  # fmt: skip
    session = write_choices(session, session.choices.with_note(note), command="note")
    what = f"reading {old.id} (run {old.run}, {old.response})"
    if options.says == "back":
        return NoteOutcome(session=session, sentence=f"what was said of {what} is taken back.")
    return NoteOutcome(session=session, sentence=_sentence(what, options))


def _on_reading(session: Session, options: NoteOptions, number: int) -> NoteOutcome:
    rows = session.readings.rows
    old = next((row for row in session.readings.current() if row.id == number), None)
    if old is None:
        raise ResultsError(
            f"no reading that stands has the id {number}", where="readings.csv",
            do="Look up its id in readings.csv; a corrected reading has a new one.",
        )  # fmt: skip
    noted = {one.number for one in session.choices.standing_notes() if one.subject == "reading"}
    if options.says == "stands" or (options.says == "back" and number in noted):
        return _stands(session, options, old)
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
    if says == "lost" or says == "excluded":
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
    says = {
        "lost": "counts as lost",
        "excluded": "is excluded",
        "back": "is back again",
        "stands": "was checked and stands",
    }
    return f"{what} {says[options.says]}, because {options.because.strip()}".rstrip(".") + "."

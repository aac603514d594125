"""The step `enter`: take in readings and actuals from filled workbooks, tables and curve files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from doe.errors import Fault, ResultsError
from doe.methods.registry import is_computed
from doe.steps.contract import envelope
from doe.steps.deliveries import Delivery, read_deliveries
from doe.steps.doubts import study_doubts
from doe.steps.reading_doubts import shown_otherwise
from doe.steps.session import Session, open_study, study_folder, with_methods
from doe.study.brief import Response
from doe.study.curves import Curve
from doe.study.curves_merge import CurvesOutcome, merge_curves
from doe.study.enter_merge import ActualsOutcome, MergeOutcome, merge_actuals, merge_readings
from doe.study.finding import Finding
from doe.study.hashes import content_hash
from doe.study.names import fold
from doe.study.raw_data import RawData
from doe.study.readings import Actual, Reading, Readings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EnterOutcome:
    """What came in, what was known already, what was corrected.

    Attributes:
        session: The study afterwards.
        readings: Values of responses, entered as they are.
        raw: Raw readings by test.
        curves: Curves by kind.
        actuals: What was really done.
        computed: How many readings the methods make of the raw ones now.
        waiting: Runs without a reading, by response.
        findings: What looks odd in what came in.
    """

    session: Session
    readings: MergeOutcome
    raw: Mapping[str, MergeOutcome]
    curves: Mapping[str, CurvesOutcome]
    actuals: ActualsOutcome
    computed: int
    waiting: dict[str, int]
    findings: tuple[Finding, ...]
    is_no: bool = False

    def contract(self) -> dict[str, Any]:
        """Give the object that `enter --json` prints."""
        body = {
            "added": len(self.readings.added),
            "known": len(self.readings.same),
            "corrected": [[_line(c.old), _line(c.new)] for c in self.readings.corrections],
            "raw": {
                name: {
                    "added": len(one.added),
                    "known": len(one.same),
                    "corrected": [[_line(c.old), _line(c.new)] for c in one.corrections],
                }
                for name, one in self.raw.items()
            },
            "curves": {
                kind: {
                    "added": len(one.added),
                    "known": len(one.same),
                    "corrected": len(one.corrections),
                }
                for kind, one in self.curves.items()
            },
            "computed": self.computed,
            "actuals_added": len(self.actuals.added),
            "actuals_corrected": len(self.actuals.corrections),
            "waiting": self.waiting,
        }
        return envelope(body, inputs=self.session.inputs(), findings=self.findings)


def enter_files(
    path: Path, files: Sequence[Path], *, correct: bool = False, because: str = ""
) -> EnterOutcome:
    """Take in files from the bench; nothing is changed unless all of them can be taken.

    Args:
        path: The study folder.
        files: Filled bench workbooks, tables with `run` and a column a response or raw reading,
            curves as an instrument exports them.
        correct: Take values that differ from those entered before.
        because: Why; needed with `correct`.

    Raises:
        ResultsError: Faults in the files, or readings that contradict what stands.
    """
    _check_reason(correct, because)
    delivered = {file: read_delivery(file) for file in files}
    folder = study_folder(path)
    with folder.lock("enter"):
        session = open_study(path, folder)
        delivery = read_deliveries(delivered, session, session.needed_plan())
        outcome = _taken_in(session, delivery, correct=correct, because=because)
        _write(outcome, delivered)
        return outcome


def _taken_in(session: Session, delivery: Delivery, *, correct: bool, because: str) -> EnterOutcome:
    """Merge what came in with what stands, and compute what follows from it."""
    readings = merge_readings(
        session.readings, _stamped(delivery.readings), correct=correct, because=because
    )
    raw = {
        name: merge_readings(
            session.raw.tables.get(name, Readings()), _stamped(rows), correct=correct,
            because=because,
        )
        for name, rows in delivery.raw.items()
    }  # fmt: skip
    curves = {
        kind: merge_curves(session.raw.curves.get(kind, ()), _stamped_curves(rows), correct=correct)
        for kind, rows in delivery.curves.items()
    }
    actuals = merge_actuals(session.actuals, delivery.actuals, correct=correct)
    refuse_conflicts((readings, *raw.values()), actuals.conflicts, _torn_curves(curves))
    after = with_methods(
        replace(
            session,
            readings=readings.readings,
            actuals=actuals.actuals,
            raw=RawData(
                tables={**session.raw.tables, **{name: one.readings for name, one in raw.items()}},
                curves={**session.raw.curves, **{kind: one.curves for kind, one in curves.items()}},
            ),
        )
    )
    return EnterOutcome(
        session=after,
        readings=readings,
        raw=raw,
        curves=curves,
        actuals=actuals,
        computed=len(after.readings.rows) - len(readings.readings.rows),
        waiting=waiting_runs(after),
        findings=(
            *delivery.findings,
            *shown_otherwise(delivery.shown, after.readings),
            *study_doubts(after).findings,
        ),
    )


def _write(outcome: EnterOutcome, delivered: Mapping[Path, bytes]) -> None:
    session = outcome.session
    written = {
        **session.folder.readings_file(session.readings),
        **session.folder.actuals_file(session.actuals),
    }
    for name, one in outcome.raw.items():
        written |= session.folder.raw_table_file(name, one.readings)
    for kind, found in outcome.curves.items():
        written |= session.folder.curves_file(kind, found.curves)
    for file, data in delivered.items():
        written |= kept_copy(file, data)
    session.folder.write(written, command="enter")


def read_delivery(file: Path) -> bytes:
    """Read a file from the bench.

    Raises:
        ResultsError: There is no such file, or it cannot be read.
    """
    try:
        return file.read_bytes()
    except OSError as error:
        raise ResultsError(
            f"the file cannot be read ({error.strerror})",
            where=str(file),
            do="Check the name; close the file in other programs.",
        ) from error


def kept_copy(file: Path, data: bytes) -> dict[str, bytes]:
    """Give the copy to keep in `raw/`, named after its content so that none overwrites another."""
    return {f"raw/{file.stem}-{content_hash(data)[:8]}{file.suffix}": data}


def refuse_conflicts(
    merged: Sequence[MergeOutcome],
    torn_actuals: Sequence[tuple[Actual, Actual]] = (),
    torn_curves: Sequence[tuple[Curve, Curve]] = (),
) -> None:
    """Refuse readings, actuals and curves that contradict what stands.

    Raises:
        ResultsError: Names every one of them, old and new.
    """
    faults = [
        Fault(
            what=f"run {c.old.run}, {c.old.response}: {_said(c.old)} stands, {_said(c.new)} came",
            where=c.new.source,
            do="Settle it in the file." if c.is_within_file else "",
        )
        for one in merged
        for c in one.conflicts
    ]
    faults += [
        Fault(what=f"{old.unit}, {old.what}: {old.value} stands, {new.value} came")
        for old, new in torn_actuals
    ]
    faults += [
        Fault(
            what=f"another curve of {_whose(new)} stands already, from {old.source or 'before'}",
            where=new.source,
        )
        for old, new in torn_curves
    ]
    if faults:
        advice = "If the new values are right: 'millbase enter' with --correct --because '…'."
        faults[-1] = replace(faults[-1], do=f"{faults[-1].do} {advice}".strip())
        raise ResultsError.from_faults(faults)


def _torn_curves(curves: Mapping[str, CurvesOutcome]) -> tuple[tuple[Curve, Curve], ...]:
    return tuple(pair for one in curves.values() for pair in one.conflicts)


def _whose(curve: Curve) -> str:
    number = curve.run if curve.subject == "run" else curve.day
    day = "" if number is None else f" {number}" if curve.subject == "run" else f" of day {number}"
    word = f" {curve.what}" if curve.what else ""
    repeat = f", repeat {curve.repeat}" if curve.repeat != 1 else ""
    return f"{curve.subject}{day}{word}{repeat}"


def waiting_runs(session: Session) -> dict[str, int]:
    """Count, for each response, the runs of the plan without a reading."""
    plan = session.plan
    if plan is None:
        return {}
    known = {(reading.response, reading.run) for reading in session.readings.current()}
    gone = [note for note in session.choices.standing_notes() if note.says in ("lost", "excluded")]

    def waits(response: Response, row: int) -> bool:
        """Whether a reading is still to come: none is there, and no note says that none will."""
        places = {"run": plan.run[row], "batch": plan.batch[row], "day": plan.day[row]}
        return (response.name, plan.run[row]) not in known and not any(
            places.get(note.subject) == note.number
            and (note.response is None or fold(note.response) == fold(response.name))
            for note in gone
        )

    return {
        response.name: sum(waits(response, row) for row in range(len(plan)))
        for response in session.study.responses
        if not is_computed(response)
    }


def _check_reason(correct: bool, because: str) -> None:
    if correct and not because.strip():
        raise ResultsError(
            "a correction needs its reason", where="--correct", do="Add --because 'the reason'."
        )


def _stamped(readings: Sequence[Reading]) -> list[Reading]:
    now = datetime.now(UTC).isoformat(timespec="seconds")
    return [replace(reading, entered=now) for reading in readings]


def _stamped_curves(curves: Sequence[Curve]) -> list[Curve]:
    now = datetime.now(UTC).isoformat(timespec="seconds")
    return [replace(curve, entered=now) for curve in curves]


def _line(reading: Reading) -> dict[str, Any]:
    return {
        "run": reading.run,
        "response": reading.response,
        "value": reading.value,
        "flag": reading.flag,
    }


def _said(reading: Reading) -> str:
    return reading.flag if reading.value is None else f"{reading.value:g}"

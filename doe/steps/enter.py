"""The step `enter`: take in readings and actuals from filled workbooks and tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from doe.errors import Fault, ResultsError
from doe.sheets.recognise import is_workbook
from doe.sheets.workbook_in import read_workbook
from doe.steps.contract import envelope
from doe.steps.reading_doubts import impossible_readings
from doe.steps.session import Session, open_study
from doe.study.adopt_table import wide_readings
from doe.study.enter_merge import ActualsOutcome, MergeOutcome, merge_actuals, merge_readings
from doe.study.finding import Finding
from doe.study.folder import StudyFolder
from doe.study.hashes import content_hash
from doe.study.plan import Plan
from doe.study.readings import Actual, Reading
from doe.study.tables import read_table


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EnterOutcome:
    """What came in, what was known already, what was corrected."""

    session: Session
    readings: MergeOutcome
    actuals: ActualsOutcome
    waiting: dict[str, int]
    findings: tuple[Finding, ...]
    is_no: bool = False

    def contract(self) -> dict[str, Any]:
        """Give the object that `enter --json` prints."""
        body = {
            "added": len(self.readings.added),
            "known": len(self.readings.same),
            "corrected": [[_line(c.old), _line(c.new)] for c in self.readings.corrections],
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
        files: Filled bench workbooks, or tables with `run` and a column a response.
        correct: Take values that differ from those entered before.
        because: Why; needed with `correct`.

    Raises:
        ResultsError: Faults in the files, or readings that contradict what stands.
    """
    _check_reason(correct, because)
    delivered = {file: read_delivery(file) for file in files}
    folder = StudyFolder(path)
    with folder.lock("enter"):
        return _enter(open_study(path, folder), delivered, correct=correct, because=because)


def _enter(
    session: Session, delivered: dict[Path, bytes], *, correct: bool, because: str
) -> EnterOutcome:
    plan = session.needed_plan()
    readings, actuals, findings = _read_all(delivered, session, plan)
    merged = merge_readings(session.readings, _stamped(readings), correct=correct, because=because)
    done = merge_actuals(session.actuals, actuals, correct=correct)
    refuse_conflicts(merged, done.conflicts)
    written = {
        **session.folder.readings_file(merged.readings),
        **session.folder.actuals_file(done.actuals),
    }
    for file, data in delivered.items():
        written |= kept_copy(file, data)
    session.folder.write(written, command="enter")
    session = replace(session, readings=merged.readings, actuals=done.actuals)
    return EnterOutcome(
        session=session, readings=merged, actuals=done, waiting=waiting_runs(session),
        findings=(*findings, *impossible_readings(session.study, merged.readings.current())),
    )  # fmt: skip


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


def refuse_conflicts(merged: MergeOutcome, torn_actuals: Sequence[tuple[Actual, Actual]]) -> None:
    """Refuse readings and actuals that contradict what stands.

    Raises:
        ResultsError: Names every one of them, old and new.
    """
    faults = [
        Fault(
            what=f"run {c.old.run}, {c.old.response}: {_said(c.old)} stands, {_said(c.new)} came",
            where=c.new.source,
            do="Settle it in the file." if c.is_within_file else "",
        )
        for c in merged.conflicts
    ]
    faults += [
        Fault(what=f"{old.unit}, {old.what}: {old.value} stands, {new.value} came")
        for old, new in torn_actuals
    ]
    if faults:
        advice = "If the new values are right: 'millbase enter' with --correct --because '…'."
        faults[-1] = replace(faults[-1], do=f"{faults[-1].do} {advice}".strip())
        raise ResultsError.from_faults(faults)


def waiting_runs(session: Session) -> dict[str, int]:
    """Count, for each response, the runs of the plan without a reading."""
    plan = session.plan
    if plan is None:
        return {}
    known = {(reading.response, reading.run) for reading in session.readings.current()}
    return {
        response.name: sum((response.name, run) not in known for run in plan.run)
        for response in session.study.responses
    }


def _check_reason(correct: bool, because: str) -> None:
    if correct and not because.strip():
        raise ResultsError(
            "a correction needs its reason", where="--correct", do="Add --because 'the reason'."
        )


def _read_all(
    delivered: dict[Path, bytes], session: Session, plan: Plan
) -> tuple[list[Reading], list[Actual], tuple[Finding, ...]]:
    """Read every file, gathering the faults of all of them."""
    readings: list[Reading] = []
    actuals: list[Actual] = []
    findings: list[Finding] = []
    faults: list[Fault] = []
    for file, data in delivered.items():
        try:
            if is_workbook(data):
                entries = read_workbook(data, session.study, plan, source=file.name)
                readings += entries.readings
                actuals += entries.actuals
                findings += entries.findings
            else:
                table = read_table(data, file.name)
                more, notes = wide_readings(table, session.study, plan)
                readings += more
                findings += [*table.notes, *notes]
        except ResultsError as error:
            faults += error.faults
    if faults:
        raise ResultsError.from_faults(faults)
    return readings, actuals, tuple(findings)


def _stamped(readings: Sequence[Reading]) -> list[Reading]:
    now = datetime.now(UTC).isoformat(timespec="seconds")
    return [replace(reading, entered=now) for reading in readings]


def _line(reading: Reading) -> dict[str, Any]:
    return {
        "run": reading.run,
        "response": reading.response,
        "value": reading.value,
        "flag": reading.flag,
    }


def _said(reading: Reading) -> str:
    return reading.flag if reading.value is None else f"{reading.value:g}"

"""The study folder: the only place that reads and writes its files."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from doe.errors import Fault, StudyError
from doe.study.actuals_file import ACTUALS_FILE, decode_actuals, encode_actuals
from doe.study.agreement import AGREEMENT_FILE, Agreement
from doe.study.agreement_file import decode_agreement
from doe.study.atomic import MANIFEST, NEW, OLD, Change, finish_set, write_set
from doe.study.brief import Study
from doe.study.brief_file import SettleMethods, parse_brief
from doe.study.choices import CHOICES_FILE, Choices, decode_choices, encode_choices
from doe.study.confirmation import CONFIRMATION_FILE, Confirmation
from doe.study.confirmation_file import decode_confirmations, encode_confirmations
from doe.study.consistent import read_together
from doe.study.curves import Curve
from doe.study.curves_file import decode_curves, encode_curves
from doe.study.disk import Disk
from doe.study.file_format import read_json
from doe.study.lock import LOCK_FILE, Holder, break_lock, hold, read_lock
from doe.study.numbering import NextNumbers, next_numbers, runs_with_data
from doe.study.overwriting import GROWS_AT_END, RECORDS, is_free_to_write
from doe.study.plan import Plan
from doe.study.plan_file import PLAN_FILE, ROUNDS_FILE, decode_plan, encode_plan, issued_numbers
from doe.study.raw_data import CURVE_KINDS, RawData
from doe.study.raw_files import curves_file, raw_file
from doe.study.readings import Actual, Readings
from doe.study.readings_file import READINGS_FILE, decode_readings, encode_readings

__all__ = ["BRIEF_FILE", "NextNumbers", "StudyFolder", "next_numbers", "runs_with_data"]

BRIEF_FILE = "study.toml"


class StudyFolder:
    """One study on disk.

    Reading never locks and never writes; files that belong together are read as they stood at one
    moment. Writing takes the lock, and writes all files of a call or none.
    """

    def __init__(
        self, path: Path, *, disk: Disk | None = None, settle: SettleMethods | None = None
    ) -> None:
        self.path = path
        self._disk = disk or Disk()
        self._settle = settle
        self._holder: Holder | None = None

    def read_brief_bytes(self) -> bytes:
        """Read `study.toml` as it is.

        Raises:
            StudyError: There is no such folder, or no brief in it.
        """
        self._check_folder()
        data = self.read_file(BRIEF_FILE)
        if data is None:
            raise StudyError(
                f"the folder has no {BRIEF_FILE}",
                where=str(self.path),
                do=f"Start a study with `millbase new {self.path}`, or name another folder.",
            )
        return data

    def read_study(self) -> Study:
        """Read the brief.

        Raises:
            StudyError: There is none, or it has faults.
        """
        data = self.read_brief_bytes()
        return parse_brief(data, str(self.path / BRIEF_FILE), settle=self._settle)

    def read_plan(self) -> Plan | None:
        """Read the plan under the brief as it stands; None before the first round.

        Raises:
            StudyError: The files have faults, or the brief no longer fits the runs.
        """
        study = self.read_study()
        files = read_together(self.path, [PLAN_FILE, ROUNDS_FILE])
        table, rounds = files[PLAN_FILE], files[ROUNDS_FILE]
        if table is None and rounds is None:
            return None
        if table is None or rounds is None:
            missing = PLAN_FILE if table is None else ROUNDS_FILE
            raise StudyError(
                f"{missing} is missing beside the other file of the plan",
                where=str(self.path),
                do="Put it back from a copy.",
            )
        return decode_plan(table, rounds, study)

    def read_readings(self) -> Readings:
        """Read all readings; none before the first were entered."""
        data = self._checked(READINGS_FILE)
        return Readings() if data is None else decode_readings(data)

    def read_actuals(self) -> tuple[Actual, ...]:
        """Read all actuals; none before the first were entered."""
        data = self._checked(ACTUALS_FILE)
        return () if data is None else decode_actuals(data)

    def read_choices(self) -> Choices:
        """Read all decisions; none before the first was taken."""
        data = self._checked(CHOICES_FILE)
        return Choices() if data is None else decode_choices(data)

    def read_agreement(self) -> Agreement:
        """Read every version of the agreement; none before the first was proposed."""
        data = self._checked(AGREEMENT_FILE)
        return Agreement() if data is None else decode_agreement(data)

    def read_confirmations(self) -> tuple[Confirmation, ...]:
        """Read what was frozen of confirmation batches; none before the first were planned."""
        data = self._checked(CONFIRMATION_FILE)
        return () if data is None else decode_confirmations(data)

    def read_raw(self, tests: Iterable[str]) -> RawData:
        """Read the raw readings of some tests, and all curves; none before the first came in."""
        names = [*dict.fromkeys(tests)]
        self._check_folder()
        tables = {name: raw_file(name) for name in names}
        curves = {kind: curves_file(kind) for kind in CURVE_KINDS}
        content = read_together(self.path, [*tables.values(), *curves.values()])
        return RawData(
            tables={
                name: decode_readings(data, file)
                for name, file in tables.items()
                if (data := content[file]) is not None
            },
            curves={
                kind: decode_curves(data, file)
                for kind, file in curves.items()
                if (data := content[file]) is not None
            },
        )

    def raw_table_file(self, test: str, readings: Readings) -> dict[str, bytes]:
        """Write the raw readings of a test as their file."""
        return {raw_file(test): encode_readings(readings)}

    def curves_file(self, kind: str, curves: Sequence[Curve]) -> dict[str, bytes]:
        """Write all curves of a kind as their file."""
        return {curves_file(kind): encode_curves(curves)}

    def read_file(self, name: str) -> bytes | None:
        """Read any file of the folder; None if it is not there."""
        return read_together(self.path, [_inside(name)])[name]

    def plan_files(self, plan: Plan) -> dict[str, bytes]:
        """Write a plan as its two files, with the numbers that earlier plans have issued."""
        data = self.read_file(ROUNDS_FILE)
        before = issued_numbers(read_json(data, ROUNDS_FILE)) if data else {}
        return encode_plan(plan, before)

    def readings_file(self, readings: Readings) -> dict[str, bytes]:
        """Write all readings as their file."""
        return {READINGS_FILE: encode_readings(readings)}

    def actuals_file(self, actuals: Sequence[Actual]) -> dict[str, bytes]:
        """Write all actuals as their file."""
        return {ACTUALS_FILE: encode_actuals(actuals)}

    def choices_file(self, choices: Choices) -> dict[str, bytes]:
        """Write all decisions as their file."""
        return {CHOICES_FILE: encode_choices(choices)}

    def confirmations_file(self, entries: Sequence[Confirmation]) -> dict[str, bytes]:
        """Write what was frozen of confirmation batches as their file."""
        return {CONFIRMATION_FILE: encode_confirmations(entries)}

    def write(
        self,
        files: Mapping[str, bytes],
        *,
        replace: bool = False,
        command: str,
        role: str = "",
    ) -> tuple[Path, ...]:
        """Write files as one set.

        Files that hold the same already are left alone. Results may always be remade, records may
        grow and decisions may be taken anew; anything else is replaced on request only, and then
        the old file stays beside the new one under a number.

        Args:
            files: Content by place in the folder, parts separated by "/".
            replace: Whether files may be replaced.
            command: The command at work, for the lock.
            role: The role that started it.

        Returns:
            The files that were written.

        Raises:
            StudyError: A file would be overwritten, somebody else holds the study, a file is held
                by another program, or the folder cannot be written. Nothing has changed then.
        """
        names = [_inside(name) for name in files]
        with self.lock(command, role):
            finish_set(self.path, self._disk)
            present = read_together(self.path, names)
            changed = [name for name in names if present[name] != files[name]]
            free = {name: is_free_to_write(name, present[name], files[name]) for name in changed}
            refused = [name for name in changed if not free[name] and not replace]
            if refused:
                raise StudyError.from_faults(self._refusal(name) for name in refused)
            changes = [
                Change(name=name, data=files[name], is_kept=not free[name]) for name in changed
            ]
            return write_set(self.path, changes, self._disk) if changes else ()

    def write_study_text(self, text: str, *, command: str = "new", role: str = "") -> Path:
        """Start a study: make the folder if need be and put a brief into it.

        Raises:
            StudyError: There is a brief already, or the folder cannot be made.
        """
        if self.path.exists() and not self.path.is_dir():
            raise StudyError("this is a file, not a folder", where=str(self.path))
        if (self.path / BRIEF_FILE).exists():
            raise StudyError(
                f"the folder has a {BRIEF_FILE} already",
                where=str(self.path),
                do="Name another folder, or change the brief in an editor.",
            )
        try:
            self._disk.make_folder(self.path)
        except OSError as cause:
            what = f"the folder cannot be made ({cause.strerror})"
            raise StudyError(what, where=str(self.path)) from cause
        return self.write({BRIEF_FILE: text.encode()}, command=command, role=role)[0]

    @contextmanager
    def lock(self, command: str, role: str = "") -> Iterator[Holder]:
        """Hold the study, so that nobody writes between a reading and a writing of ours.

        Raises:
            StudyError: Somebody else holds it, or the folder cannot be written.
        """
        self._check_folder()
        if self._holder is not None:
            yield self._holder
            return
        with hold(self.path, command=command, role=role) as holder:
            self._holder = holder
            try:
                yield holder
            finally:
                self._holder = None

    def unlock(self) -> Holder | None:
        """Remove the lock at the user's word; tell whose it was, None if there was none."""
        self._check_folder()
        return break_lock(self.path)

    def holder(self) -> Holder | None:
        """Tell who holds the study, None if nobody does."""
        return read_lock(self.path)

    def _checked(self, name: str) -> bytes | None:
        self._check_folder()
        return self.read_file(name)

    def _check_folder(self) -> None:
        if self.path.is_dir():
            return
        if self.path.exists():
            raise StudyError(
                "this is a file, not a study folder",
                where=str(self.path),
                do=f"Name the folder that holds {BRIEF_FILE}.",
            )
        raise StudyError(
            "there is no such folder",
            where=str(self.path),
            do=f"Look at the name, or start a study with `millbase new {self.path}`.",
        )

    def _refusal(self, name: str) -> Fault:
        if name in RECORDS | GROWS_AT_END:
            return Fault(
                where=str(self.path / name),
                what="lines that stand in the file would be lost or changed; nothing was changed",
                do="If another command wrote meanwhile, run this one again; with --replace the old "
                "file is kept beside the new one.",
            )
        return Fault(
            where=str(self.path / name),
            what="the file exists and holds something else; nothing was changed",
            do="With --replace the old file is kept beside the new one.",
        )


def _inside(name: str) -> str:
    """Check that a name is a plain place inside the folder, and none of our own marks."""
    path = PurePosixPath(name)
    ours = path.name in (LOCK_FILE, MANIFEST) or path.name.endswith((NEW, OLD))
    if path.is_absolute() or ".." in path.parts or ours or str(path) != name or "\\" in name:
        raise ValueError(f"no place inside a study folder: {name!r}")
    return name

"""The lock: one writer at a time, named in a file that only its owner or the user removes."""

from __future__ import annotations

import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

from doe.errors import StudyError

LOCK_FILE = "millbase.lock"


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """Who holds a study.

    Attributes:
        command: The command at work.
        role: The role that started it, empty if none was given.
        host: Name of the machine.
        process: Number of the process on it.
        time: When it began, ISO, UTC.
        key: Tells this lock from any other of the same process.
    """

    command: str
    role: str
    host: str
    process: int
    time: str
    key: str

    def sentence(self) -> str:
        """Say who holds the study."""
        if not self.key:
            return "somebody whose lock file cannot be read"
        who = f" as {self.role}" if self.role else ""
        return (
            f"`millbase {self.command}`{who} on {self.host}, process {self.process}, "
            f"since {self.time}"
        )


@contextmanager
def hold(root: Path, *, command: str, role: str = "") -> Iterator[Holder]:
    """Hold a study while writing.

    Raises:
        StudyError: Somebody else holds it, or the folder cannot be written.
    """
    holder = Holder(
        command=command,
        role=role,
        host=socket.gethostname(),
        process=os.getpid(),
        time=datetime.now(UTC).isoformat(timespec="seconds"),
        key=uuid4().hex,
    )
    _take(root, holder)
    try:
        yield holder
    finally:
        _release(root, holder)


def read_lock(root: Path) -> Holder | None:
    """Read who holds a study; None if nobody does.

    A lock that cannot be understood, as when its owner was cut off while writing it, has an
    unknown holder.
    """
    try:
        return Holder(**json.loads((root / LOCK_FILE).read_bytes()))
    except FileNotFoundError:
        return None
    except (ValueError, TypeError, OSError):
        return Holder(command="?", role="", host="unknown", process=0, time="unknown", key="")


def break_lock(root: Path) -> Holder | None:
    """Remove the lock at the user's word; tell whose it was, None if there was none.

    Raises:
        StudyError: The lock cannot be removed.
    """
    holder = read_lock(root)
    try:
        (root / LOCK_FILE).unlink(missing_ok=True)
    except OSError as cause:
        where = str(root / LOCK_FILE)
        raise StudyError(f"the lock cannot be removed ({cause.strerror})", where=where) from cause
    return holder


def _take(root: Path, holder: Holder) -> None:
    path = root / LOCK_FILE
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644)
    except FileExistsError as cause:
        raise _held(root) from cause
    except OSError as cause:
        raise StudyError(
            f"the folder cannot be written ({cause.strerror})",
            where=str(root),
            do="Ask for the right to write there, or copy the study to a folder of your own.",
        ) from cause
    with os.fdopen(handle, "wb") as file:
        file.write(json.dumps(asdict(holder), indent=1).encode())
        file.flush()
        os.fsync(file.fileno())


def _release(root: Path, holder: Holder) -> None:
    """Remove the lock if it is still ours: `--unlock` may have given it to somebody else."""
    found = read_lock(root)
    if found is not None and found.key == holder.key:
        (root / LOCK_FILE).unlink(missing_ok=True)


def _held(root: Path) -> StudyError:
    holder = read_lock(root)
    said = holder.sentence() if holder else "a command that has just ended"
    gone = holder is not None and _is_gone(holder)
    return StudyError(
        f"the study is held by {said}",
        where=str(root),
        do=f"That process no longer runs: remove its lock with `millbase check {root} --unlock`."
        if gone
        else f"Wait for it to end; if it has died: `millbase check {root} --unlock`.",
    )


def _is_gone(holder: Holder) -> bool:
    """Tell whether the holder surely no longer runs; only known on its own machine."""
    if os.name != "posix" or holder.host != socket.gethostname() or holder.process <= 0:
        return False
    try:
        os.kill(holder.process, 0)  # signal 0 asks and does nothing
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False

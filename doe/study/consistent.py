"""Reading files that belong together while somebody may be writing them."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

from doe.errors import StudyError
from doe.study.atomic import Entry, read_manifest

# A set takes milliseconds to move into place; a reader that meets one tries for about a second.
_TRIES = 50
_PAUSE = 0.02

_Mark = tuple[int, int, int] | None


def read_together(root: Path, names: Sequence[str]) -> dict[str, bytes | None]:
    """Read files as they stood at one moment, without a lock and without writing.

    Args:
        root: The study folder.
        names: Places inside it.

    Returns:
        Content by name; None where there is no such file. Of an unfinished set, what its manifest
        says to be in force.

    Raises:
        StudyError: A file cannot be opened, or was written anew at every try.
    """
    for _ in range(_TRIES):
        manifest = read_manifest(root)
        before = _marks(root, names)
        content = {}
        for name in names:
            path = manifest.present(root, name) if manifest else root / name
            content[name] = None if path is None else _read(path)
        # In this order: a set that was finished before the second look has moved its files by then,
        # and the marks tell.
        if read_manifest(root) == manifest and _marks(root, names) == before:
            return content
        time.sleep(_PAUSE)
    raise StudyError(
        "the files are being written again and again",
        where=str(root),
        do="Wait for the other command to end.",
    )


def _read(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as cause:
        raise StudyError(f"the file cannot be read ({cause.strerror})", where=str(path)) from cause


def _marks(root: Path, names: Sequence[str]) -> list[_Mark]:
    """Take what tells one version of a file from another: its entry, time and size."""
    marks: list[_Mark] = []
    for name in names:
        for path in Entry(name=name, is_kept=False, had_old=False).paths(root):
            try:
                found = path.stat()
                marks.append((found.st_ino, found.st_mtime_ns, found.st_size))
            except OSError:
                marks.append(None)
    return marks

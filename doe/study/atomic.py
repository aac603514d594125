"""Writing several files as one set: all of them or none, whatever happens in between.

A set is written in four steps. The new files are written beside their places, with copies of the
old ones; then the manifest that lists them, in a single move: from here on the set counts; then
each file moves into its place; then the manifest goes. A crash before the manifest leaves the old
files as they were. A crash after it leaves the manifest: readers take what it says to be in force,
and the next writer finishes the set. If a file cannot be moved because another program holds it,
the manifest is turned round and the old files move back.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from doe.errors import Fault, StudyError
from doe.study.disk import Disk

MANIFEST = ".unfinished-set.json"
NEW, OLD = ".millbase-new", ".millbase-old"
# A spreadsheet that saves or closes lets go within about this time; waiting longer looks hung.
HELD_SECONDS = 2.0
_HELD_PAUSE = 0.1
_FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One file of a set.

    Attributes:
        name: Place inside the folder, parts separated by "/".
        data: What it will hold.
        is_kept: Whether the file it replaces stays beside it under a number.
    """

    name: str
    data: bytes
    is_kept: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One file as the manifest lists it."""

    name: str
    is_kept: bool
    had_old: bool

    def paths(self, root: Path) -> tuple[Path, Path, Path]:
        """Give the places of the file, of its new content and of the copy of the old one."""
        target = root / self.name
        beside = target.parent / f".{target.name}"
        return target, beside.with_name(beside.name + NEW), beside.with_name(beside.name + OLD)


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """A set that is not finished, and which way it is going."""

    direction: Literal["forward", "back"]
    entries: tuple[Entry, ...]

    def present(self, root: Path, name: str) -> Path | None:
        """Find where the content in force of a file of the set lies; None if it has none."""
        entry = next((one for one in self.entries if one.name == name), None)
        if entry is None:
            return root / name
        target, new, old = entry.paths(root)
        if self.direction == "forward":
            return new if new.exists() else target
        if not entry.had_old:
            return None
        return old if old.exists() else target


def write_set(root: Path, changes: Sequence[Change], disk: Disk) -> tuple[Path, ...]:
    """Write files as one set; the folder must be locked.

    Returns:
        The files written, in the order given.

    Raises:
        StudyError: A file is held by another program, or the folder cannot be written; nothing
            has changed then.
    """
    finish_set(root, disk)
    entries = tuple(
        Entry(name=one.name, is_kept=one.is_kept, had_old=(root / one.name).exists())
        for one in changes
    )
    manifest = Manifest(direction="forward", entries=entries)
    try:
        _prepare(root, changes, entries, disk)
        _declare(root, manifest, disk)
    except OSError as cause:
        if (root / MANIFEST).exists():
            _turn_back(root, manifest, disk, cause)
        else:
            sweep(root, disk)
        raise _not_written(cause, root) from cause
    _settle_set(root, manifest, disk)
    return tuple(root / one.name for one in changes)


def finish_set(root: Path, disk: Disk) -> bool:
    """Finish what a crash has left unfinished; the folder must be locked.

    Returns:
        Whether there was a declared set to finish.
    """
    manifest = read_manifest(root)
    if manifest is not None:
        _settle_set(root, manifest, disk)
    if not (root / MANIFEST).exists():
        sweep(root, disk)
    return manifest is not None


def read_manifest(root: Path) -> Manifest | None:
    """Read which set is unfinished, if one is.

    Raises:
        StudyError: The manifest cannot be understood.
    """
    try:
        content = json.loads((root / MANIFEST).read_bytes())
        return Manifest(
            direction="back" if content["direction"] == "back" else "forward",
            entries=tuple(_entry(one) for one in content["files"]),
        )
    except FileNotFoundError:
        return None
    except (ValueError, KeyError, TypeError) as cause:
        raise StudyError(
            "the list of an unfinished set of files cannot be read",
            where=str(root / MANIFEST),
            do="Put the folder back from a copy.",
        ) from cause


def sweep(root: Path, disk: Disk) -> None:
    """Remove what lies beside its place and was never declared."""
    for suffix in (NEW, OLD):
        for stray in sorted(root.rglob(f".*{suffix}")):
            disk.remove(stray)


def _entry(content: dict[str, Any]) -> Entry:
    return Entry(
        name=str(content["name"]),
        is_kept=bool(content["is_kept"]),
        had_old=bool(content["had_old"]),
    )


def _prepare(root: Path, changes: Sequence[Change], entries: Sequence[Entry], disk: Disk) -> None:
    for entry in entries:
        if entry.had_old:
            _patiently(disk, disk.try_open, root / entry.name)
    for change, entry in zip(changes, entries, strict=True):
        target, new, old = entry.paths(root)
        disk.make_folder(target.parent)
        disk.write(new, change.data)
        if entry.had_old:
            disk.write(old, target.read_bytes())


def _declare(root: Path, manifest: Manifest, disk: Disk) -> None:
    content = {
        "format": _FORMAT,
        "direction": manifest.direction,
        "files": [
            {"name": one.name, "is_kept": one.is_kept, "had_old": one.had_old}
            for one in manifest.entries
        ],
    }
    written = root / f"{MANIFEST}{NEW}"
    disk.write(written, json.dumps(content, indent=1).encode())
    disk.move(written, root / MANIFEST)


def _settle_set(root: Path, manifest: Manifest, disk: Disk) -> None:
    """Carry a declared set to its end, and turn back if a file cannot be moved."""
    if manifest.direction == "back":
        _back(root, manifest, disk)
        return
    try:
        _move_in(root, manifest, disk)
    except OSError as cause:
        _turn_back(root, manifest, disk, cause)
        raise _not_written(cause, root) from cause
    # Every file is in its place: the set is in force, and turning back would tear it. What cannot
    # be tidied now is tidied by the next writer.
    with contextlib.suppress(PermissionError):
        _tidy(root, manifest, disk)


def _move_in(root: Path, manifest: Manifest, disk: Disk) -> None:
    for entry in manifest.entries:
        target, new, _ = entry.paths(root)
        if new.exists():
            _patiently(disk, disk.move, new, target)


def _tidy(root: Path, manifest: Manifest, disk: Disk) -> None:
    for entry in manifest.entries:
        target, _, old = entry.paths(root)
        if old.exists() and entry.is_kept:
            disk.move(old, numbered(target))
        elif old.exists():
            disk.remove(old)
    disk.remove(root / MANIFEST)


def _turn_back(root: Path, manifest: Manifest, disk: Disk, reason: OSError) -> None:
    back = replace(manifest, direction="back")
    try:
        _declare(root, back, disk)
        _back(root, back, disk)
    except OSError as cause:
        raise StudyError(
            f"a set of files could neither be written ({reason.strerror}) nor taken back "
            f"({cause.strerror})",
            where=str(root),
            do="Close the programs that hold its files; the next command finishes the set.",
        ) from cause


def _back(root: Path, manifest: Manifest, disk: Disk) -> None:
    for entry in manifest.entries:
        target, new, old = entry.paths(root)
        if new.exists():  # never moved in: the file itself, held perhaps, is left alone
            disk.remove(old)
            disk.remove(new)
        elif not entry.had_old:
            disk.remove(target)
        elif old.exists():
            disk.move(old, target)
    disk.remove(root / MANIFEST)


def numbered(path: Path) -> Path:
    """Find the next free name beside a file for what it held before.

    Example:
        >>> numbered(Path("no such folder/plan.csv")).name
        'plan.old-1.csv'
    """
    number = 1
    while (beside := path.with_name(f"{path.stem}.old-{number}{path.suffix}")).exists():
        number += 1
    return beside


def _patiently(disk: Disk, act: Callable[..., None], *paths: Path) -> None:
    """Try again while another program holds the file, for about two seconds."""
    for _ in range(int(HELD_SECONDS / _HELD_PAUSE)):
        try:
            act(*paths)
        except PermissionError:
            disk.pause(_HELD_PAUSE)
        else:
            return
    act(*paths)


def _not_written(cause: OSError, root: Path) -> StudyError:
    name = Path(str(cause.filename)).name if cause.filename else str(root)
    if isinstance(cause, PermissionError):
        return StudyError.from_faults(
            [
                Fault(
                    where=str(root),
                    what=f"'{name}' is held by another program or protected; nothing was changed",
                    do="Close it (a spreadsheet, perhaps) and run the command again.",
                )
            ]
        )
    what = f"'{name}' cannot be written ({cause.strerror}); nothing was changed"
    return StudyError(what, where=str(root))

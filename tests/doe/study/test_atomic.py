"""Sets of files: all of them or none, wherever the power fails."""

from __future__ import annotations

import errno
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from doe.errors import StudyError
from doe.study.atomic import MANIFEST, Change, finish_set, numbered, read_manifest, write_set
from doe.study.atomic import OLD as OLD_COPY
from doe.study.consistent import read_together
from doe.study.disk import Disk

OLD = {"plan.csv": b"old runs\n", "plan.json": b"old rounds\n"}
NEW = {"plan.csv": b"new runs\n", "plan.json": b"new rounds\n", "sheets/cards.pdf": b"cards\n"}
NAMES = [*NEW]


class PowerCut(BaseException):
    """The machine stops; nothing that stands in the program runs on."""


class FailingDisk(Disk):
    """A disk that stops at a given step, before or half-way through it."""

    def __init__(self, stop_at: int | None = None, *, torn: bool = False) -> None:
        self.steps = 0
        self._stop_at = stop_at
        self._torn = torn

    def write(self, path: Path, data: bytes) -> None:
        """Write, unless it stops here."""
        if self._stops():
            if self._torn:
                path.write_bytes(data[: len(data) // 2])
            raise PowerCut
        super().write(path, data)

    def move(self, source: Path, target: Path) -> None:
        """Move, unless it stops or is held."""
        if self._stops():
            raise PowerCut
        super().move(source, target)

    def remove(self, path: Path) -> None:
        """Remove, unless it stops here."""
        if self._stops():
            raise PowerCut
        super().remove(path)

    def _stops(self) -> bool:
        self.steps += 1
        return self.steps - 1 == self._stop_at


class HeldFailingDisk(FailingDisk):
    """A disk that stops at a step, and on which plan.json cannot be replaced."""

    def move(self, source: Path, target: Path) -> None:
        """Move, unless it stops or is held."""
        if target.name == "plan.json":
            raise PermissionError(errno.EACCES, "Permission denied", str(target))
        super().move(source, target)

    def pause(self, seconds: float) -> None:
        """Lose no time."""


class HeldDisk(Disk):
    """A disk on which another program holds some files for a while."""

    def __init__(self, held: str, *, seconds: float, at: str) -> None:
        self.waited = 0.0
        self._held, self._seconds, self._at = held, seconds, at

    def try_open(self, path: Path) -> None:
        """Open, unless it is held."""
        self._check(path, "open")
        super().try_open(path)

    def move(self, source: Path, target: Path) -> None:
        """Move, unless it stops or is held."""
        self._check(target, "move")
        super().move(source, target)

    def pause(self, seconds: float) -> None:
        """Count instead of waiting."""
        self.waited += seconds

    def _check(self, path: Path, at: str) -> None:
        if path.name == self._held and at == self._at and self.waited < self._seconds:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))


class StuckDisk(Disk):
    """A disk on which plan.json cannot move in and plan.csv, once in, cannot move back."""

    def move(self, source: Path, target: Path) -> None:
        """Move, unless it is one of the two."""
        is_back = source.name.endswith(OLD_COPY)
        if (target.name == "plan.json" and not is_back) or (target.name == "plan.csv" and is_back):
            raise PermissionError(errno.EACCES, "Permission denied", str(target))
        super().move(source, target)

    def pause(self, seconds: float) -> None:
        """Lose no time."""


class FullDisk(Disk):
    """A disk that is full before the second file."""

    def write(self, path: Path, data: bytes) -> None:
        """Write, unless it stops here."""
        if "plan.json" in path.name:
            raise OSError(errno.ENOSPC, "No space left on device", str(path))
        super().write(path, data)


def _folder(root: Path) -> Path:
    for name, data in OLD.items():
        (root / name).write_bytes(data)
    return root


def _changes(*, is_kept: bool = True) -> list[Change]:
    return [Change(name=name, data=data, is_kept=is_kept) for name, data in NEW.items()]


def _seen(root: Path) -> dict[str, bytes]:
    return {name: data for name, data in read_together(root, NAMES).items() if data is not None}


def _strays(root: Path) -> list[str]:
    return [path.name for path in root.rglob(".*")]


def _steps(tmp_path: Path) -> int:
    disk = FailingDisk()
    write_set(_folder(tmp_path), _changes(), disk)
    return disk.steps


def test_a_set_is_written_and_the_old_files_stay_beside_it(tmp_path: Path) -> None:
    """Nothing is lost by a replacement."""
    root = _folder(tmp_path)
    paths = write_set(root, _changes(), Disk())

    assert [path.read_bytes() for path in paths] == list(NEW.values())
    assert (root / "plan.old-1.csv").read_bytes() == OLD["plan.csv"]
    assert (root / "plan.old-1.json").read_bytes() == OLD["plan.json"]
    assert _strays(root) == []


def test_what_may_be_remade_leaves_nothing_beside_it(tmp_path: Path) -> None:
    """Results are made again from the inputs."""
    root = _folder(tmp_path)
    write_set(root, _changes(is_kept=False), Disk())

    assert sorted(path.name for path in root.iterdir()) == ["plan.csv", "plan.json", "sheets"]


def _crash_cases() -> Iterator[tuple[int, bool]]:
    # Thirty steps are more than a set of three files takes; the test says if that changes.
    yield from ((step, torn) for step in range(30) for torn in (False, True))


@pytest.mark.parametrize(("step", "torn"), list(_crash_cases()))
def test_a_power_cut_at_any_step_leaves_all_old_or_all_new(
    tmp_path: Path, step: int, torn: bool
) -> None:
    """Readers see one whole set at once, and the next writer ends in the same one."""
    root = _folder(tmp_path)
    try:
        write_set(root, _changes(), FailingDisk(step, torn=torn))
    except PowerCut:
        pass
    else:
        assert step > 10
    before = _seen(root)
    finish_set(root, Disk())
    after = _seen(root)

    assert before in (OLD, NEW)
    assert after == before
    assert _strays(root) == []
    if after == NEW:
        assert (root / "plan.old-1.csv").read_bytes() == OLD["plan.csv"]
        assert not (root / "plan.old-2.csv").exists()


def test_the_power_cuts_cover_every_step_of_a_set(tmp_path: Path) -> None:
    """So that no step is left untried when the set grows."""
    steps = _steps(tmp_path)

    assert 10 < steps <= 30


@pytest.mark.parametrize("second", range(12))
def test_a_power_cut_while_finishing_is_finished_by_the_next(tmp_path: Path, second: int) -> None:
    """Misfortunes come in pairs."""
    root = _folder(tmp_path)
    assert any(_cut(root, step) and read_manifest(root) for step in range(30))
    try:
        finish_set(root, FailingDisk(second))
    except PowerCut:
        assert _seen(root) == NEW
    finish_set(root, Disk())

    assert _seen(root) == NEW
    assert _strays(root) == []


@pytest.mark.parametrize("new_first", [False, True])
@pytest.mark.parametrize("step", range(30))
def test_a_power_cut_while_turning_back_leaves_all_old_or_all_new(
    tmp_path: Path, step: int, new_first: bool
) -> None:
    """A held file turns the set round; the cut may come before or after the manifest turns."""
    root = _folder(tmp_path)
    changes = _changes()[::-1] if new_first else _changes()
    with pytest.raises((PowerCut, StudyError)):
        write_set(root, changes, HeldFailingDisk(step))
    before = _seen(root)
    finish_set(root, Disk())

    assert before in (OLD, NEW)
    assert _seen(root) == before
    assert _strays(root) == []


def _cut(root: Path, step: int) -> bool:
    try:
        write_set(root, _changes(), FailingDisk(step))
    except PowerCut:
        return True
    return False


def test_the_next_write_finishes_what_a_crash_left(tmp_path: Path) -> None:
    """A set that was declared is in force even if its files have not moved yet."""
    root = _folder(tmp_path)
    step = next(step for step in range(30) if _cut(root, step) and read_manifest(root))
    write_set(root, [Change(name="readings.csv", data=b"r")], Disk())

    assert step > 0
    assert _seen(root) == NEW
    assert read_manifest(root) is None


@pytest.mark.parametrize("at", ["open", "move"])
@pytest.mark.parametrize("held", ["plan.csv", "plan.json"])
def test_a_file_held_by_a_spreadsheet_is_reported_and_nothing_changes(
    tmp_path: Path, held: str, at: str
) -> None:
    """Tried for two seconds; the set as a whole is taken back."""
    root = _folder(tmp_path)
    disk = HeldDisk(held, seconds=1e9, at=at)
    with pytest.raises(StudyError, match=f"'{held}' is held by another program") as caught:
        write_set(root, _changes(), disk)

    assert "nothing was changed" in str(caught.value)
    assert disk.waited == pytest.approx(2.0)
    assert _seen(root) == OLD
    assert _strays(root) == []
    assert not (root / "plan.old-1.csv").exists()


@pytest.mark.parametrize("at", ["open", "move"])
def test_a_file_let_go_within_two_seconds_is_written(tmp_path: Path, at: str) -> None:
    """Saving from a spreadsheet takes a moment."""
    root = _folder(tmp_path)
    write_set(root, _changes(), HeldDisk("plan.json", seconds=1.5, at=at))

    assert _seen(root) == NEW


def test_a_file_that_can_neither_move_in_nor_back_leaves_the_old_set_in_force(
    tmp_path: Path,
) -> None:
    """The next command finishes turning back; readers see the old files meanwhile."""
    root = _folder(tmp_path)
    with pytest.raises(StudyError, match="neither be written"):
        write_set(root, _changes(), StuckDisk())

    assert (root / "plan.csv").read_bytes() == NEW["plan.csv"]
    assert _seen(root) == OLD
    assert (root / MANIFEST).exists()
    finish_set(root, Disk())
    assert _seen(root) == OLD
    assert _strays(root) == []


def test_a_full_disk_changes_nothing(tmp_path: Path) -> None:
    """The reason stands in the message."""
    root = _folder(tmp_path)
    with pytest.raises(StudyError, match="No space left on device"):
        write_set(root, _changes(), FullDisk())

    assert _seen(root) == OLD
    assert _strays(root) == []


def test_a_manifest_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    """It is written in one move, so this is a hand or a broken disk."""
    (tmp_path / MANIFEST).write_text("{")

    with pytest.raises(StudyError, match="Put the folder back from a copy"):
        read_together(tmp_path, ["plan.csv"])


def test_old_files_are_numbered_on(tmp_path: Path) -> None:
    """The second replacement keeps the first."""
    target = tmp_path / "plan.csv"
    (tmp_path / "plan.old-1.csv").touch()

    assert numbered(target).name == "plan.old-2.csv"


def test_readers_see_whole_sets_while_another_writes(tmp_path: Path) -> None:
    """Without a lock: both files of one moment, never one of each."""
    names = ["plan.csv", "plan.json"]

    def write_sets() -> None:
        for number in range(60):
            data = str(number).encode()
            write_set(tmp_path, [Change(name=name, data=data) for name in names], Disk())

    writer = threading.Thread(target=write_sets)
    writer.start()
    seen = set()
    while writer.is_alive():
        seen.add(tuple(read_together(tmp_path, names).values()))
    writer.join()

    assert len(seen) > 1
    assert all(first == second for first, second in seen)

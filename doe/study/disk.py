"""The few things that change a disk, in one place, so that a crash at any of them can be tried."""

from __future__ import annotations

import os
import time
from pathlib import Path


class Disk:
    """Writes, moves and removes files so that they are really there when the call returns."""

    def write(self, path: Path, data: bytes) -> None:
        """Write a new file and wait until the disk has it."""
        with path.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())

    def move(self, source: Path, target: Path) -> None:
        """Put one file in the place of another in a single step."""
        os.replace(source, target)
        _settle(target.parent)

    def remove(self, path: Path) -> None:
        """Remove a file, if it is there."""
        path.unlink(missing_ok=True)
        _settle(path.parent)

    def make_folder(self, path: Path) -> None:
        """Make a folder and those above it, where they are missing."""
        path.mkdir(parents=True, exist_ok=True)

    def try_open(self, path: Path) -> None:
        """Open a file for writing without changing it.

        Raises:
            PermissionError: Another program holds it, or it is protected.
        """
        with path.open("r+b"):
            pass

    def pause(self, seconds: float) -> None:
        """Wait before trying again."""
        time.sleep(seconds)


def _settle(folder: Path) -> None:
    """Wait until the disk has the entries of a folder; Windows has no such call and no need."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

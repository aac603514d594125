"""The lock: one writer, named, and never removed by anybody but its owner or the user."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from doe.errors import StudyError
from doe.study.lock import LOCK_FILE, break_lock, hold, read_lock


def test_the_lock_names_who_holds_the_study_and_goes_with_them(tmp_path: Path) -> None:
    """A colleague must see whom to ask."""
    with hold(tmp_path, command="enter", role="formulator"):
        content = json.loads((tmp_path / LOCK_FILE).read_text())

    assert content["role"] == "formulator"
    assert content["command"] == "enter"
    assert content["process"] == os.getpid()
    assert content["host"]
    assert content["time"].endswith("+00:00")
    assert not (tmp_path / LOCK_FILE).exists()


def test_a_second_writer_is_told_who_holds_it_and_what_to_do(tmp_path: Path) -> None:
    """And the first one's lock stays."""
    with hold(tmp_path, command="enter", role="formulator"):
        with (
            pytest.raises(StudyError, match=r"`millbase enter` as formulator on .* --unlock"),
            hold(tmp_path, command="plan"),
        ):
            pass
        holder = read_lock(tmp_path)

    assert holder is not None
    assert holder.command == "enter"


def test_the_lock_goes_when_the_owner_fails(tmp_path: Path) -> None:
    """An error, or Ctrl-C, ends the holding."""
    with pytest.raises(KeyboardInterrupt), hold(tmp_path, command="plan"):
        raise KeyboardInterrupt

    assert read_lock(tmp_path) is None


def test_an_owner_leaves_the_lock_of_a_successor_alone(tmp_path: Path) -> None:
    """The user may have unlocked and another command begun."""
    with hold(tmp_path, command="plan"):
        broken = break_lock(tmp_path)
        successor = (tmp_path / LOCK_FILE).write_text('{"command": "enter"}')

    assert broken is not None
    assert broken.command == "plan"
    assert successor
    assert (tmp_path / LOCK_FILE).exists()


def test_the_lock_of_a_process_that_died_stays_until_unlocked(tmp_path: Path) -> None:
    """Only the user knows whether it may go; the message says that the process is gone."""
    script = (
        "import os, sys; from pathlib import Path; from doe.study.lock import hold\n"
        "with hold(Path(sys.argv[1]), command='report'): os._exit(0)\n"
    )
    subprocess.run([sys.executable, "-c", script, str(tmp_path)], check=True, timeout=60)

    with pytest.raises(StudyError, match="no longer runs"), hold(tmp_path, command="plan"):
        pass
    assert break_lock(tmp_path) is not None
    with hold(tmp_path, command="plan"):
        pass


def test_a_lock_that_was_cut_off_while_written_still_locks(tmp_path: Path) -> None:
    """Its holder is unknown, not absent."""
    (tmp_path / LOCK_FILE).write_text('{"comm')

    with pytest.raises(StudyError, match="cannot be read"), hold(tmp_path, command="plan"):
        pass
    assert break_lock(tmp_path) is not None
    assert break_lock(tmp_path) is None


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """No lock, no writing."""
    with (
        pytest.raises(StudyError, match="the folder cannot be written"),
        hold(tmp_path / "gone", command="plan"),
    ):
        pass

"""What stands in the way of a sound command: a lock, a held file, a broken one, our own fault."""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from pathlib import Path

import pytest

from doe.study.disk import Disk
from doe.study.lock import LOCK_FILE
from tests.journeys.briefs import every_file
from tests.journeys.conftest import Millbase
from tests.journeys.invented_studies import PAINT
from tests.journeys.stages import (
    BLEND,
    NEGATIVE,
    adopted,
    assert_refused,
    studies_at_each_stage,
)

BRIEF = PAINT.brief


@pytest.fixture(scope="module")
def states(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Path]:
    """Make a study at each stage."""
    return studies_at_each_stage(tmp_path_factory.mktemp("states"))


@pytest.mark.parametrize(
    "command",
    [("plan", "--replace"), ("note", "--run", "1", "--says", "lost", "--because", "x"),
     ("sheet", "--replace"), ("enter", "FILE")],
)  # fmt: skip
def test_a_study_that_somebody_holds_is_not_written(
    command: tuple[str, ...], states: Mapping[str, Path], tmp_path: Path, millbase: Millbase
) -> None:
    """The lock says who, and only `check --unlock` removes it; reading goes on."""
    study = Path(shutil.copytree(states["planned"], tmp_path / "s"))
    file = tmp_path / "x.csv"
    file.write_text("run,viscosity\n1,3\n", encoding="utf-8")
    holder = {
        "command": "enter", "role": "formulator", "host": "bench-7", "process": 4,
        "time": "2026-01-05T09:00:00+00:00", "key": "k",
    }  # fmt: skip
    (study / LOCK_FILE).write_text(json.dumps(holder), encoding="utf-8")
    (study / "study.toml").write_text(BRIEF.replace("high = 2.4", "high = 2.5"), encoding="utf-8")
    words = [str(file) if word == "FILE" else word for word in command[1:]]
    before = every_file(study)
    answer = millbase(command[0], study, *words, "--json")

    assert_refused(answer)
    assert "bench-7" in answer.err
    assert "formulator" in answer.err
    assert "--unlock" in answer.err
    assert every_file(study) == before
    assert millbase("check", study).status == 0
    assert every_file(study) == before
    assert millbase("check", study, "--unlock").status == 0
    assert not (study / LOCK_FILE).exists()
    assert millbase(command[0], study, *words).status == 0


class HeldDisk(Disk):
    """A disk on which a spreadsheet holds every file that exists."""

    waited = 0.0

    def try_open(self, path: Path) -> None:
        """Refuse, as the other program's hold does."""
        raise PermissionError(13, "Permission denied", str(path))

    def pause(self, seconds: float) -> None:
        """Count the wait instead of waiting."""
        HeldDisk.waited += seconds


def test_a_file_that_a_spreadsheet_holds(
    states: Mapping[str, Path], tmp_path: Path, millbase: Millbase, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tried again for two seconds, then reported; nothing has changed."""
    monkeypatch.setattr("doe.study.folder.Disk", HeldDisk)
    study = Path(shutil.copytree(states["read"], tmp_path / "s"))
    (study / "x.csv").write_text("run,viscosity\n1,777\n", encoding="utf-8")
    before = every_file(study)
    command = ("enter", study, study / "x.csv", "--correct", "--because", "typo")
    answer = millbase(*command, "--json")

    assert_refused(answer)
    assert "readings.csv" in answer.err
    assert 1.5 <= HeldDisk.waited <= 3.0
    assert every_file(study) == before


def test_a_folder_that_cannot_be_written_on_any_system(
    states: Mapping[str, Path], tmp_path: Path, millbase: Millbase, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The system's own refusal comes out as a sentence."""
    study = Path(shutil.copytree(states["read"], tmp_path / "s"))
    before = every_file(study)

    def refuse(*_: object, **__: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("doe.study.lock.os.open", refuse)
    answer = millbase("fit", study, "--json")

    assert_refused(answer)
    assert "cannot be written" in answer.err
    assert every_file(study) == before


@pytest.mark.parametrize(
    ("old", "new", "options"),
    [
        ("best = 200\nworst = 900", "best = 1\nworst = 2", ()),
        ("at_most = 600", "at_most = 1", ("--within-limits",)),
    ],
    ids=["no desirability", "limits cannot be met"],
)
def test_the_answer_is_no(
    old: str, new: str, options: tuple[str, ...], states: Mapping[str, Path], tmp_path: Path,
    millbase: Millbase,
) -> None:  # fmt: skip
    """Exit 1, the whole answer, and which response stands in the way."""
    study = Path(shutil.copytree(states["read"], tmp_path / "s"))
    (study / "study.toml").write_text(BRIEF.replace(old, new), encoding="utf-8")
    answer = millbase("choose", study, "--json", *options)
    stops = [f["what"] for f in answer.json["findings"] if f["level"] == "stop"]

    assert answer.status == 1
    assert any("'viscosity'" in what for what in stops)
    assert set(answer.json["settings"]) == {"dispersant", "dose", "pH"}
    shown = millbase("choose", study, *options)
    assert shown.status == 1
    assert "✗" in shown.out


def test_broken_results_are_only_out_of_date(
    states: Mapping[str, Path], tmp_path: Path, millbase: Millbase
) -> None:
    """Nothing rests on results: whatever stands there, they can be made again."""
    study = Path(shutil.copytree(states["read"], tmp_path / "s"))
    (study / "results").mkdir()
    for text in ("{", "[]", '"x"', "\x00"):
        (study / "results" / "choose.json").write_text(text, encoding="utf-8")
        answer = millbase("check", study, "--json")
        assert answer.status == 0, answer.err
        said = next(s for s in answer.json["status"] if s["text"].startswith("Compromise"))
        assert said["state"] == "doubtful"
    assert millbase("choose", study).status == 0


def test_check_says_why_nothing_can_be_fitted(tmp_path: Path, millbase: Millbase) -> None:
    """Not that readings are missing where they are not."""
    adopted(BLEND, NEGATIVE)(tmp_path)
    lines = [line["text"] for line in millbase("check", tmp_path, "--json").json["status"]]
    (said,) = [line for line in lines if line.startswith("Models")]

    assert "runs 1, 2 and 3" in said


def test_a_fault_of_ours_is_one_line_and_a_file(
    states: Mapping[str, Path], tmp_path: Path, millbase: Millbase, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 3: no traceback on the screen, all of it in the file that the line names."""

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("something of ours")

    monkeypatch.setattr("doe.steps.fit.fit_study", broken)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    before = every_file(states["read"])
    answer = millbase("fit", states["read"], "--json")
    (details,) = tmp_path.glob("millbase-fault-*.txt")

    assert answer.status == 3
    assert "something of ours" not in answer.err
    assert "Traceback" not in answer.err
    (line,) = answer.err.splitlines()[1:]
    assert str(details) in line
    text = details.read_text(encoding="utf-8")
    assert "Traceback" in text
    assert "something of ours" in text
    assert set(answer.json["error"]) == {"where", "what", "allowed", "do"}
    assert every_file(states["read"]) == before
    assert millbase("fit", states["read"]).out == ""

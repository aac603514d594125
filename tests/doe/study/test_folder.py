"""The study folder: what is read, what may be written, and what stays as it was."""

from __future__ import annotations

import errno
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from doe.errors import StudyError
from doe.study.atomic import MANIFEST
from doe.study.choices import Choices, ResponseChoice
from doe.study.disk import Disk
from doe.study.folder import StudyFolder, next_numbers
from doe.study.lock import LOCK_FILE
from doe.study.overwriting import is_free_to_write
from doe.study.plan import Plan, Round
from doe.study.readings import Actual, Reading, Readings
from doe.study.settings import Settings

BRIEF = """format = 1
[study]
title = "Invented brick-red millbase"
[[factor]]
name = "pH"
low = 8.0
high = 9.5
[[factor]]
name = "temps de broyage ²"
low = 15
high = 45
[[response]]
name = "viscosité × 1 %"
"""


class ReadOnlyDisk(Disk):
    """A disk that takes nothing."""

    def make_folder(self, path: Path) -> None:
        """Refuse."""
        raise OSError(errno.EROFS, "Read-only file system", str(path))


class BusyDisk(Disk):
    """A disk on which a file is open in a spreadsheet."""

    def try_open(self, path: Path) -> None:
        """Refuse."""
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    def pause(self, seconds: float) -> None:
        """Lose no time."""


@pytest.fixture
def folder(tmp_path: Path) -> StudyFolder:
    """A study with a brief and nothing else, in a folder with a difficult name."""
    folder = StudyFolder(tmp_path / "étude 1 × ²")
    folder.write_study_text(BRIEF)
    return folder


def _plan(n: int = 2, *, first: int = 1) -> Plan:
    runs = tuple(range(first, first + n))
    return Plan(
        settings=Settings(
            names=("pH", "temps de broyage ²"),
            values=np.column_stack([np.linspace(8.0, 9.5, n), np.linspace(15, 45, n)]),
        ),
        run=runs, round=(1,) * n, day=(None,) * n, batch=runs, sample=(None,) * n,
        panel=(None,) * n, kind=("design",) * n,
        rounds=(Round(number=1, layout="full factorial", models=("linear",), runs=runs),),
    )  # fmt: skip


def _reading(number: int, run: int, value: float) -> Reading:
    return Reading(id=number, run=run, response="viscosité × 1 %", value=value)


def _content(folder: StudyFolder) -> dict[str, bytes]:
    found = folder.path.rglob("*")
    return {
        str(path.relative_to(folder.path)): path.read_bytes() for path in found if path.is_file()
    }


def test_a_new_study_can_be_read(folder: StudyFolder) -> None:
    """Nothing has been done yet, and that is no fault."""
    assert folder.read_study().setting_names == ("pH", "temps de broyage ²")
    assert folder.read_plan() is None
    assert folder.read_readings() == Readings()
    assert folder.read_actuals() == ()
    assert folder.read_choices() == Choices()
    assert folder.read_brief_bytes() == BRIEF.encode()


def test_everything_written_is_read_back(folder: StudyFolder) -> None:
    """Plan, readings, actuals and choices."""
    readings = Readings(rows=(_reading(1, 1, 812.5),))
    actuals = (Actual(unit="batch 1", what="pH", value="8.62"),)
    choices = Choices(responses={"viscosité × 1 %": ResponseChoice(model="linear")})
    folder.write(
        {
            **folder.plan_files(_plan()),
            **folder.readings_file(readings),
            **folder.actuals_file(actuals),
            **folder.choices_file(choices),
        },
        command="demo",
    )
    plan = folder.read_plan()

    assert plan is not None
    np.testing.assert_array_equal(plan.settings.values, _plan().settings.values)
    assert folder.read_readings() == readings
    assert folder.read_actuals() == actuals
    assert folder.read_choices() == choices
    assert not (folder.path / LOCK_FILE).exists()


def test_a_brief_is_not_written_over_a_brief(folder: StudyFolder) -> None:
    """`new` on an existing study must not cost the brief."""
    with pytest.raises(StudyError, match="already"):
        folder.write_study_text("title")

    assert folder.read_brief_bytes() == BRIEF.encode()


@pytest.mark.parametrize("read", ["read_study", "read_plan", "read_readings", "read_choices"])
def test_a_missing_folder_a_file_and_a_folder_without_brief_are_told(
    tmp_path: Path, read: str
) -> None:
    """Each in a sentence of its own."""
    (tmp_path / "file").touch()

    with pytest.raises(StudyError, match="there is no such folder"):
        getattr(StudyFolder(tmp_path / "none"), read)()
    with pytest.raises(StudyError, match="a file, not a study folder"):
        getattr(StudyFolder(tmp_path / "file"), read)()
    if read in ("read_study", "read_plan"):
        with pytest.raises(StudyError, match=r"has no study\.toml.*millbase new"):
            getattr(StudyFolder(tmp_path), read)()


def test_starting_a_study_in_a_file_or_on_a_read_only_disk_is_told(tmp_path: Path) -> None:
    """Nothing is left behind."""
    (tmp_path / "file").touch()
    with pytest.raises(StudyError, match="a file, not a folder"):
        StudyFolder(tmp_path / "file").write_study_text(BRIEF)
    with pytest.raises(StudyError, match="Read-only file system"):
        StudyFolder(tmp_path / "new", disk=ReadOnlyDisk()).write_study_text(BRIEF)

    assert not (tmp_path / "new").exists()


def test_half_a_plan_is_told(folder: StudyFolder) -> None:
    """Somebody deleted one of the two files."""
    folder.write(folder.plan_files(_plan()), command="plan")
    (folder.path / "plan.json").unlink()

    with pytest.raises(StudyError, match=r"plan\.json is missing"):
        folder.read_plan()


def test_nothing_is_overwritten_without_a_word(folder: StudyFolder) -> None:
    """All files in the way are named, and none of the set is written."""
    folder.write({"sheets/a.pdf": b"1", "sheets/b.pdf": b"1"}, command="sheet")
    before = _content(folder)
    with pytest.raises(StudyError) as caught:
        folder.write(
            {"sheets/a.pdf": b"2", "sheets/b.pdf": b"2", "sheets/c.pdf": b"2"}, command="sheet"
        )

    assert "a.pdf" in str(caught.value)
    assert "b.pdf" in str(caught.value)
    assert "--replace" in str(caught.value)
    assert _content(folder) == before


def test_what_is_replaced_stays_beside_the_new_file(folder: StudyFolder) -> None:
    """Each time under the next number."""
    for content in (b"1", b"2", b"3"):
        folder.write({"sheets/a.pdf": content}, command="sheet", replace=True)
    content = _content(folder)

    assert content["sheets/a.pdf"] == b"3"
    assert content["sheets/a.old-1.pdf"] == b"1"
    assert content["sheets/a.old-2.pdf"] == b"2"


def test_a_file_that_holds_the_same_is_left_alone(folder: StudyFolder) -> None:
    """Its time does not change, and nothing is kept beside it."""
    folder.write({"sheets/a.pdf": b"1"}, command="sheet")
    written = folder.write({"sheets/a.pdf": b"1"}, command="sheet", replace=True)

    assert written == ()
    assert set(_content(folder)) == {"study.toml", "sheets/a.pdf"}


def test_results_may_always_be_remade(folder: StudyFolder) -> None:
    """They are made from the inputs."""
    for content in (b"1", b"2"):
        folder.write({"results/fit.json": content}, command="fit")

    assert _content(folder)["results/fit.json"] == b"2"
    assert not (folder.path / "results/fit.old-1.json").exists()


def test_records_may_grow_and_decisions_change_without_a_word(folder: StudyFolder) -> None:
    """Entering more readings, adding a round, deciding anew."""
    readings = Readings(rows=(_reading(1, 1, 812.5),))
    more = Readings(rows=(*readings.rows, _reading(2, 2, 900.0)))
    grown = replace(
        _plan(4),
        round=(1, 1, 2, 2),
        rounds=(*_plan().rounds, Round(number=2, layout="x", models=())),
    )
    whole = replace(grown, settings=Settings(names=_plan().settings.names, values=np.array(
        [[8.0, 15], [9.5, 45], [8.5, 20], [9.0, 30]])))  # fmt: skip
    for choice in ("linear", "quadratic"):
        choices = Choices(responses={"viscosité × 1 %": ResponseChoice(model=choice)})
        folder.write(folder.choices_file(choices), command="fit")
    for one in (readings, more):
        folder.write(folder.readings_file(one), command="enter")
    for plan in (_plan(), whole):
        folder.write(folder.plan_files(plan), command="extend")
    read = folder.read_plan()

    assert read is not None
    assert read.run == (1, 2, 3, 4)
    assert folder.read_readings() == more
    assert not any("old-" in name for name in _content(folder))


@pytest.mark.parametrize(
    "lost",
    [
        Readings(rows=(_reading(1, 1, 812.5),)),
        Readings(rows=(_reading(1, 1, 812.5), _reading(2, 2, 901.0))),
        Readings(),
    ],
)
def test_a_record_never_loses_a_line_without_a_word(folder: StudyFolder, lost: Readings) -> None:
    """Also when two commands worked at once and one did not see the other's readings."""
    whole = Readings(rows=(_reading(1, 1, 812.5), _reading(2, 2, 900.0)))
    folder.write(folder.readings_file(whole), command="enter")
    with pytest.raises(StudyError, match=r"readings\.csv"):
        folder.write(folder.readings_file(lost), command="enter")

    assert folder.read_readings() == whole


def test_a_plan_is_replaced_on_request_only_and_numbers_go_on(folder: StudyFolder) -> None:
    """Cards of the first plan may lie at the bench already."""
    folder.write(folder.plan_files(_plan(3)), command="plan")
    other = _plan(2, first=4)
    with pytest.raises(StudyError, match=r"plan\.csv"):
        folder.write(folder.plan_files(other), command="plan")
    folder.write(folder.plan_files(other), command="plan", replace=True)
    third = _plan(1, first=next_numbers(folder.read_plan(), Readings()).run)
    shorter = replace(third, run=(1,), batch=(1,), rounds=(replace(third.rounds[0], runs=(1,)),))
    folder.write(folder.plan_files(shorter), command="plan", replace=True)

    assert third.run == (6,)
    assert next_numbers(folder.read_plan(), Readings()).run == 6
    assert {"plan.old-1.csv", "plan.old-2.csv", "plan.old-1.json"} <= set(_content(folder))


def test_reading_needs_no_lock(folder: StudyFolder) -> None:
    """A colleague may look while another writes."""
    with folder.lock("enter", "formulator"):
        other = StudyFolder(folder.path)

        assert other.read_study() == folder.read_study()
        assert other.read_plan() is None
        holder = other.holder()
        with pytest.raises(StudyError, match="`millbase enter` as formulator"):
            other.write({"results/a.json": b""}, command="fit")
    assert holder is not None
    assert folder.holder() is None


def test_writing_inside_a_lock_of_ours_needs_no_second(folder: StudyFolder) -> None:
    """Read, compute and write under one lock."""
    with folder.lock("enter"):
        folder.write({"results/a.json": b"1"}, command="enter")
        assert folder.holder() is not None
    assert folder.holder() is None


def test_unlock_tells_whose_lock_it_was(folder: StudyFolder) -> None:
    """At the user's word only."""
    (folder.path / LOCK_FILE).write_text("{}")
    first, second = folder.unlock(), folder.unlock()

    assert first is not None
    assert second is None
    assert folder.write({"results/a.json": b"1"}, command="fit")


def test_a_file_held_by_a_spreadsheet_leaves_the_folder_as_it_was(folder: StudyFolder) -> None:
    """Also the files of the set that nobody holds."""
    folder.write({"results/a.csv": b"1"}, command="fit")
    before = _content(folder)
    busy = StudyFolder(folder.path, disk=BusyDisk())
    with pytest.raises(StudyError, match=r"'a\.csv' is held by another program"):
        busy.write({"results/a.csv": b"2", "results/b.csv": b"2"}, command="fit")

    assert _content(folder) == before


def test_a_declared_set_is_in_force_for_readers_and_finished_by_writers(
    folder: StudyFolder,
) -> None:
    """As a crash between the manifest and the moves leaves it."""
    folder.write(folder.plan_files(_plan()), command="plan")
    for name, data in folder.plan_files(_plan(3)).items():
        (folder.path / f".{name}.millbase-new").write_bytes(data)
        (folder.path / f".{name}.millbase-old").write_bytes((folder.path / name).read_bytes())
    entry = '{{"name": "{}", "is_kept": true, "had_old": true}}'
    files = ", ".join(entry.format(name) for name in ("plan.csv", "plan.json"))
    (folder.path / MANIFEST).write_text(
        f'{{"format": 1, "direction": "forward", "files": [{files}]}}'
    )
    seen = folder.read_plan()
    before = (folder.path / "plan.csv").read_bytes()
    folder.write({"results/a.json": b"1"}, command="fit")

    assert seen is not None
    assert len(seen) == 3
    assert len(before.splitlines()) == 3
    assert len((folder.path / "plan.csv").read_bytes().splitlines()) == 4
    assert (folder.path / "plan.old-1.csv").read_bytes() == before
    assert not (folder.path / MANIFEST).exists()


@pytest.mark.parametrize(
    "name", ["../a", "/a", "a/../b", LOCK_FILE, MANIFEST, "a//b", "a\\b", "x.millbase-new"]
)
def test_places_outside_the_folder_and_our_own_marks_are_our_mistake(
    folder: StudyFolder, name: str
) -> None:
    """The folder writes nowhere else."""
    with pytest.raises(ValueError, match="no place inside"):
        folder.write({name: b""}, command="x")


@pytest.mark.parametrize(
    ("name", "old", "new", "is_free"),
    [
        ("plan.csv", b"run,pH\n1,8\n", b"run,day,pH\n1,,8\n2,1,9\n", True),
        ("plan.csv", b"run;pH\r\n1;8,0\r\n", b"run,pH\n1,8\n2,9\n", True),
        ("plan.csv", b"run,pH\n1,8\n", b"run,pH\n1,8.1\n2,9\n", False),
        ("plan.csv", b"\xff\xfe", b"run,pH\n1,8\n", False),
        ("plan.json", b'{"rounds": [1]}', b'{"rounds": [1, 2]}', True),
        ("plan.json", b'{"rounds": [1]}', b'{"rounds": [2]}', False),
        ("plan.json", b"{", b'{"rounds": [2]}', False),
        ("actuals.csv", b"unit,what\na,b\na,b\n", b"unit,what\na,b\n", False),
        ("study.toml", b"a = 1", b"a = 1\nb = 2", False),
        ("results/a", b"1", b"2", True),
        ("raw/a.csv", b"1", b"2", False),
        ("raw/a.csv", b"1", b"1", True),
        ("raw/a.csv", None, b"1", True),
    ],
)
def test_what_may_take_the_place_of_what(
    name: str, old: bytes | None, new: bytes, is_free: bool
) -> None:
    """Records grow, results are remade, the rest asks."""
    assert is_free_to_write(name, old, new) is is_free

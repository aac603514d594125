"""What comes from the bench: taken as it grows, never erased, corrected only with a reason."""

from __future__ import annotations

import shutil
from pathlib import Path

import openpyxl
import pytest

from tests.journeys.briefs import every_file
from tests.journeys.conftest import Millbase
from tests.journeys.invented_studies import PAINT
from tests.journeys.whole_way import WORKBOOK, done, fill, go_to_the_bench, runs_of


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Take the paint study to the bench; tests work on copies."""
    study = tmp_path_factory.mktemp("planned") / "study"
    go_to_the_bench(study, PAINT)
    return study


@pytest.fixture
def bench(planned: Path, tmp_path: Path) -> Path:
    """Copy the study that waits for readings."""
    return Path(shutil.copytree(planned, tmp_path / "study"))


def test_a_workbook_may_be_entered_as_it_grows(bench: Path, millbase: Millbase) -> None:
    """Each entry takes what is new; the same again changes nothing; blank never erases."""
    runs = sorted(runs_of(bench))
    fill(bench, PAINT, runs[:5], weighed=True)
    first = millbase("enter", bench, bench / WORKBOOK, "--json").json
    assert (first["added"], first["known"], first["actuals_added"]) == (10, 0, 1)
    assert first["waiting"] == {name: len(runs) - 5 for name in PAINT.truths}

    fill(bench, PAINT, runs)
    again = millbase("enter", bench, bench / WORKBOOK, "--json").json
    assert (again["added"], again["known"]) == (2 * len(runs) - 10, 10)
    assert set(again["waiting"].values()) == {0}

    before = every_file(bench)
    same = millbase("enter", bench, bench / WORKBOOK, "--json").json
    assert (same["added"], same["known"], same["corrected"]) == (0, 2 * len(runs), [])
    assert every_file(bench) == before


def test_a_run_that_is_noted_lost_waits_no_more(bench: Path, millbase: Millbase) -> None:
    """Neither for one response alone, nor for any where the note names none."""
    runs = sorted(runs_of(bench))
    fill(bench, PAINT, runs[2:])
    one, other = PAINT.truths
    why = ("--says", "lost", "--because", "spilt")
    done("note", bench, "--run", runs[0], "--response", one, *why)
    done("note", bench, "--run", runs[1], *why)
    answer = millbase("enter", bench, bench / WORKBOOK)

    assert f"Still waiting: {other} of 1 run." in answer.out


def test_a_blank_cell_never_erases(bench: Path, millbase: Millbase) -> None:
    """A workbook with fewer readings than stand takes nothing back."""
    empty = (bench / WORKBOOK).read_bytes()
    fill(bench, PAINT, runs_of(bench))
    done("enter", bench, bench / WORKBOOK)
    stands = (bench / "readings.csv").read_bytes()
    (bench / WORKBOOK).write_bytes(empty)

    assert millbase("enter", bench, bench / WORKBOOK).status == 0
    assert (bench / "readings.csv").read_bytes() == stands


def with_cell(bench: Path, run: int, value: object) -> None:
    """Type another value into the first response of a run."""
    book = openpyxl.load_workbook(bench / WORKBOOK)
    (row,) = [r for r in book["Readings"].iter_rows(min_row=4) if r[0].value == run]
    row[3].value = value
    book.save(bench / WORKBOOK)


def test_a_correction_is_listed_and_taken_only_with_its_reason(
    bench: Path, millbase: Millbase
) -> None:
    """Refused first, old and new named; then taken, and the old reading stays on record."""
    fill(bench, PAINT, runs_of(bench))
    done("enter", bench, bench / WORKBOOK)
    lines = len((bench / "readings.csv").read_text(encoding="utf-8").splitlines())
    with_cell(bench, 3, 777.7)
    before = every_file(bench)

    refused = millbase("enter", bench, bench / WORKBOOK, "--json")
    assert refused.status == 2
    assert "777.7" in refused.json["error"]["what"]
    assert "run 3, viscosity" in refused.json["error"]["what"]
    assert millbase("enter", bench, bench / WORKBOOK, "--correct").status == 2
    assert every_file(bench) == before

    taken = millbase("enter", bench, bench / WORKBOOK, "--correct", "--because", "typo", "--json")
    assert taken.status == 0
    ((old, new),) = taken.json["corrected"]
    assert (old["run"], new["run"], new["value"]) == (3, 3, 777.7)
    after = (bench / "readings.csv").read_text(encoding="utf-8").splitlines()
    assert len(after) == lines + 1
    assert "typo" in after[-1]
    again = every_file(bench)
    assert millbase("enter", bench, bench / WORKBOOK).status == 0
    assert every_file(bench) == again


def test_sheets_are_the_same_bytes(planned: Path, tmp_path: Path) -> None:
    """Workbook, cards and labels as they leave us hold no clock."""
    other = tmp_path / "study"
    go_to_the_bench(other, PAINT)

    assert every_file(other) == every_file(planned)


def test_another_seed_gives_another_order(bench: Path, tmp_path: Path, millbase: Millbase) -> None:
    """The same runs, arranged otherwise, and the seed on record."""
    other = tmp_path / "other"
    other.mkdir()
    (other / "study.toml").write_text(PAINT.brief, encoding="utf-8")
    plan = millbase("plan", other, "--seed", 99, "--json").json

    def rows(study: Path) -> list[tuple[str, str]]:
        return [(row["dose"], row["pH"]) for row in runs_of(study).values()]

    assert plan["seed"] == 99
    assert sorted(rows(other)) == sorted(rows(bench))
    assert rows(other) != rows(bench)

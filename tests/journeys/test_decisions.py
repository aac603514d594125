"""A study with its readings: notes, decisions, predictions, and a brief that changes under it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.journeys.briefs import changed_brief, every_file
from tests.journeys.conftest import Millbase
from tests.journeys.invented_studies import PAINT
from tests.journeys.whole_way import go_on_to_the_decisions, go_to_the_bench


@pytest.fixture(scope="module")
def decided(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Take the paint study to a compromise; tests work on copies."""
    study = tmp_path_factory.mktemp("decided") / "study"
    go_to_the_bench(study, PAINT)
    go_on_to_the_decisions(study, PAINT)
    return study


@pytest.fixture
def finished(decided: Path, tmp_path: Path) -> Path:
    """Copy the study whose models and compromise are kept."""
    return Path(shutil.copytree(decided, tmp_path / "study"))


def test_notes_take_runs_out_and_bring_them_back(finished: Path, millbase: Millbase) -> None:
    """Lost and excluded runs are left out of the fit, by run, batch or reading; back they count."""

    def fitted() -> int:
        fit = millbase("fit", finished, "--only", "viscosity", "--json").json
        return int(fit["responses"]["viscosity"]["n"])

    def note(*options: object) -> None:
        assert millbase("note", finished, *options, "--because", "seen").status == 0

    n = fitted()
    note("--run", 4, "--says", "lost")
    assert fitted() == n - 1
    note("--run", 4, "--says", "back")
    assert fitted() == n
    note("--batch", 5, "--says", "excluded", "--response", "viscosity")
    responses = millbase("fit", finished, "--json").json["responses"]
    assert (responses["viscosity"]["n"], responses["gloss"]["n"]) == (n - 1, n)
    note("--batch", 5, "--says", "back", "--response", "viscosity")
    assert fitted() == n
    rows = (finished / "readings.csv").read_text(encoding="utf-8").splitlines()
    reading = next(row for row in rows if ",6," in row and "viscosity" in row).split(",")[0]
    note("--reading", reading, "--says", "excluded")
    assert fitted() == n - 1


def test_decisions_are_kept_and_obeyed(finished: Path, millbase: Millbase) -> None:
    """Options try out; `--keep` writes; without options every command reads what is kept."""
    tried = millbase("fit", finished, "--drop", PAINT.drop, "--json").json
    plain = millbase("fit", finished, "--json").json
    assert "dose × pH" not in tried["responses"]["gloss"]["terms"]
    assert "dose × pH" in plain["responses"]["gloss"]["terms"]

    options = ("--drop", PAINT.drop, "--only", "gloss", "--keep", "--because", "does nothing")
    assert millbase("fit", finished, *options).status == 0
    kept = millbase("fit", finished, "--json").json["responses"]
    assert "dose × pH" not in kept["gloss"]["terms"]
    assert "dose × pH" in kept["viscosity"]["terms"]
    text = (finished / "choices.toml").read_text(encoding="utf-8")
    assert "does nothing" in text
    assert "agreed" in text, "the settings that were chosen before stay on record"


def test_predictions_at_one_setting_and_from_a_table(
    finished: Path, tmp_path: Path, millbase: Millbase
) -> None:
    """The same settings give the same answer either way; outside the region it says so."""
    at = [f"--at={text}" for text in PAINT.at]
    (one,) = millbase("predict", finished, *at, "--json").json["rows"]
    table = tmp_path / "ask.csv"
    table.write_text("pH;dose;remark\n9;1,4;here\n12,5;1,0;outside\n", encoding="utf-8")
    refused = millbase("predict", finished, "--table", table)
    assert refused.status == 2
    assert "remark" in refused.err
    table.write_text("pH;dose\n9;1,4\n12,5;1,0\n", encoding="utf-8")
    answer = millbase("predict", finished, "--table", table, "--json").json

    assert answer["rows"][0] == one
    assert one["predictions"]["viscosity"]["value_is"] == "median"
    assert [row["predictions"]["gloss"]["inside"] for row in answer["rows"]] == [True, False]
    assert any("row 2" in finding["what"] for finding in answer["findings"])


def test_a_changed_range_is_named_and_leaves_runs_valid(finished: Path, millbase: Millbase) -> None:
    """Coding and search follow the brief as it is now; predictions of a full model stay."""
    at = [f"--at={text}" for text in PAINT.at]
    (before,) = millbase("predict", finished, *at, "--json").json["rows"]
    changed_brief(finished, "high = 2.4", "high = 2.0")
    checked = millbase("check", finished, "--json")
    (after,) = millbase("predict", finished, *at, "--json").json["rows"]

    assert checked.status == 0
    assert any("changed since round 1" in finding["what"] for finding in checked.json["findings"])
    assert after["predictions"]["gloss"]["value"] == pytest.approx(
        before["predictions"]["gloss"]["value"], rel=1e-9
    )
    assert millbase("choose", finished, "--json").json["settings"]["dose"] <= 2.0 + 1e-9


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ('name = "pH"', 'name = "acidity"', "pH"),
        ('[[factor]]\nname = "pH"\nlow = 8.0\nhigh = 9.5\nstep = 0.05\n', "", "pH"),
    ],
)
def test_a_factor_that_runs_need_may_not_leave_the_brief(
    old: str, new: str, word: str, finished: Path, millbase: Millbase
) -> None:
    """A removed or renamed factor is an error of every command that reads the plan."""
    changed_brief(finished, old, new)
    changed_brief(finished, "pH = 8.8, ", "acidity = 8.8, " if new else "")
    before = every_file(finished)

    for command in ("check", "fit", "choose", "report", "sheet"):
        answer = millbase(command, finished)
        assert answer.status == 2, command
        assert word in answer.err
        assert len(answer.err.splitlines()) <= 4
    assert every_file(finished) == before


def test_the_compromise_is_set_against_the_control(finished: Path, millbase: Millbase) -> None:
    """Ratio on a logarithm, difference as read, both with an interval; in words on the screen."""
    told = millbase("choose", finished, "--json").json
    viscosity, gloss = told["against_controls"]
    assert (viscosity["measure"], gloss["measure"]) == ("ratio", "difference")
    for one in (viscosity, gloss):
        assert one["control"] == "present formula"
        assert one["interval"][0] < one["value"] < one["interval"][1]
        assert one["candidates"] == 1 + len(told["alternatives"])
    assert all(len(other["against_controls"]) == 2 for other in told["alternatives"])
    assert "lower viscosity than the present formula (" in millbase("choose", finished).out

"""A study from the first word to the report, twice, its names in letters of every script."""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.journeys.briefs import changed_brief, every_file
from tests.journeys.conftest import Millbase
from tests.journeys.invented_studies import SCRIPTS
from tests.journeys.whole_way import (
    WORKBOOK,
    go_on_to_the_decisions,
    go_to_the_bench,
    make_results,
)

RESULTS = "results/"
# A workbook that a spreadsheet saved bears the time of saving; ours is compared as it leaves us.
CLOCKS = ("readings.csv", "raw/", WORKBOOK)


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Go the whole way once; tests read it or work on copies."""
    study = tmp_path_factory.mktemp("first") / "Étude «красный» 红 ×² 100 %"
    go_to_the_bench(study, SCRIPTS)
    go_on_to_the_decisions(study, SCRIPTS)
    before = without(every_file(study), RESULTS)
    make_results(study)
    assert without(every_file(study), RESULTS) == before, "results are all that they write"
    return study


@pytest.fixture(scope="module")
def second(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Go the same way in another folder, whose results are deleted and made again."""
    study = tmp_path_factory.mktemp("second") / "study"
    go_to_the_bench(study, SCRIPTS)
    go_on_to_the_decisions(study, SCRIPTS)
    shutil.rmtree(study / RESULTS)
    make_results(study)
    return study


@pytest.fixture
def finished(first: Path, tmp_path: Path) -> Path:
    """Copy the study that has a report."""
    return Path(shutil.copytree(first, tmp_path / first.name))


def fit_on_record(study: Path) -> Any:
    """Read what the last `fit` wrote; it is what `fit --json` prints."""
    return json.loads((study / "results" / "fit.json").read_text(encoding="utf-8"))


def without(files: Mapping[str, bytes], *parts: str) -> dict[str, bytes]:
    """Leave files out whose place begins with one of these."""
    return {name: data for name, data in files.items() if not name.startswith(parts)}


def test_the_same_seed_gives_the_same_bytes(first: Path, second: Path) -> None:
    """All but the record of when readings came in, byte for byte, in two folders.

    Results rest on inputs and choices alone: those of the second were deleted and made again.
    """
    one, other = (without(every_file(study), *CLOCKS) for study in (first, second))

    assert "plan.csv" in one
    assert {"results/fit.json", "results/choose.json", "results/report.html"} <= one.keys()
    assert sorted(one) == sorted(other)
    assert [name for name in one if one[name] != other[name]] == []


def test_a_finished_study_is_up_to_date(finished: Path, millbase: Millbase) -> None:
    """`check` ends on what is done, and `check` itself writes nothing."""
    before = every_file(finished)
    answer = millbase("check", finished, "--json")
    lines = [line["text"] for line in answer.json["status"]]

    assert answer.status == 0
    assert "Compromise: up to date." in lines
    assert "Report: up to date." in lines
    assert every_file(finished) == before


def test_changed_goals_leave_runs_valid_and_results_out_of_date(
    finished: Path, millbase: Millbase
) -> None:
    """The goals hash moves, the region hash stays; results are remade, models stay as they are."""
    before = fit_on_record(finished)
    changed_brief(finished, "worst = 900", "worst = 800")
    checked = millbase("check", finished, "--json")
    states = {line["text"]: line["state"] for line in checked.json["status"]}
    old = [text for text in states if "inputs have changed" in text]

    assert checked.status == 0
    assert [text.split(":")[0] for text in old] == ["Compromise", "Report"]
    assert {states[text] for text in old} == {"doubtful"}
    after = millbase("fit", finished, "--json").json
    assert after == fit_on_record(finished), "what is printed is what is written"
    assert after["inputs"]["goals"] != before["inputs"]["goals"]
    assert after["inputs"]["region"] == before["inputs"]["region"]
    assert after["responses"] == before["responses"]
    assert millbase("choose", finished).status == 0
    lines = [line["text"] for line in millbase("check", finished, "--json").json["status"]]
    assert "Compromise: up to date." in lines


def test_names_in_any_script_go_the_whole_way(first: Path, millbase: Millbase) -> None:
    """Cyrillic, Chinese, accents, ×, ², %, quotes and formula signs, from brief to report."""
    study = first
    answer = millbase("fit", study, "--drop", SCRIPTS.drop, "--json")
    assert answer.status == 0, answer.err
    assert set(answer.json["responses"]) == set(SCRIPTS.truths)
    assert answer.json["not_fitted"] == {}
    terms = fit_on_record(study)["responses"]["粘度 @ 50/s"]["terms"]
    assert set(terms) - set(answer.json["responses"]["粘度 @ 50/s"]["terms"]) == {
        '"dose × 1, %" × "pH d\'après m²"'
    }
    at = [f"--at={text}" for text in SCRIPTS.at]
    predicted = millbase("predict", study, *at, "--json")
    assert predicted.status == 0, predicted.err
    assert predicted.json["rows"][0]["settings"]["=диспергатор"] == pytest.approx(0.7)
    seen = millbase("choose", study, "--view", "färber", "--json")
    assert seen.status == 0, seen.err
    page = (study / "results" / "report.html").read_text(encoding="utf-8")
    assert all(name in page for name in ("润湿剂 A²", "=диспергатор", "粘度 @ 50/s", "+контроль"))
    checked = millbase("check", study, "--json")
    assert checked.status == 0
    assert "Report: up to date." in [line["text"] for line in checked.json["status"]]
    kept = json.loads((study / "plan.json").read_text(encoding="utf-8"))
    assert kept["rounds"][0]["seed"] == 5
    # A spreadsheet must not run any of our tables.
    for table in study.rglob("*.csv"):
        if "raw" not in table.parts:
            cells = table.read_text(encoding="utf-8").replace('"', "").replace("\n", ",").split(",")
            assert not [cell for cell in cells if cell.startswith(("=", "@", "+к"))], table

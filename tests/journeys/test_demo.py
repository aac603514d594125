"""The demo: the whole way on the invented study, and the copy of it under studies/."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.journeys.conftest import Millbase

KEPT = Path(__file__).parents[2] / "studies" / "brick-red-millbase"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo, run once."""
    from doe.steps.demo import run_demo

    folder = tmp_path_factory.mktemp("demo") / "brick-red"
    run_demo(folder)
    return folder


def test_the_demo_ends_by_naming_its_report(tmp_path: Path, millbase: Millbase, demo: Path) -> None:
    """Eight steps are told on standard error; a second demo in the same folder is refused."""
    again = millbase("demo", demo)

    assert again.status == 2
    assert "study.toml already" in again.err
    assert (demo / "results" / "report.html").is_file()


def test_the_report_says_that_its_data_are_invented(demo: Path) -> None:
    """Nobody may take the demo for knowledge of a pigment."""
    page = (demo / "results" / "report.html").read_text(encoding="utf-8")

    assert "Invented data" in page


@pytest.mark.parametrize(
    "name", ["study.toml", "plan.csv", "plan.json", "actuals.csv", "choices.toml"]
)
def test_the_study_kept_under_studies_is_the_one_that_the_demo_makes(name: str, demo: Path) -> None:
    """Two copies of one thing must not drift apart."""
    assert (demo / name).read_bytes() == (KEPT / name).read_bytes()


def test_the_kept_readings_are_those_of_the_demo(demo: Path) -> None:
    """All but the time of entry is equal."""
    rows = []
    for folder in (demo, KEPT):
        with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
            rows.append([{**row, "entered": ""} for row in csv.DictReader(file)])

    assert rows[0] == rows[1]


def test_the_demo_is_worth_reading(demo: Path, millbase: Millbase) -> None:
    """A gelled run, an exchanged weighing told by its grams, a reasoned exclusion, a compromise."""
    checked = millbase("check", demo)
    fitted = millbase("fit", demo, "--json").json["responses"]["viscosity"]
    entered = millbase("enter", demo, next((demo / "raw").glob("*.xlsx")), "--json")
    chosen = millbase("choose", demo, "--json").json
    said = " ".join(finding["what"] for finding in fitted["findings"])

    assert checked.status == 0
    assert "gelled" in said
    assert "exchanged" in said
    assert fitted["method"] == "reml", "a gelled control must not cost the surface its strata"
    assert any("look transposed" in finding["what"] for finding in entered.json["findings"])
    assert entered.json["added"] == 0
    assert [test["added"] for test in entered.json["raw"].values()] == [0, 0]
    assert 0 < chosen["desirability"] < 1
    assert chosen["unmet"] == []

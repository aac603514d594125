"""A study from the first word to the report: what grows, what stands, what is refused."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Mapping
from pathlib import Path

import openpyxl
import pytest

from tests.journeys.briefs import every_file
from tests.journeys.conftest import Millbase
from tests.journeys.whole_way import (
    WORKBOOK,
    Invented,
    done,
    fill,
    go_on_to_the_report,
    go_to_the_bench,
    runs_of,
)

PAINT = Invented(
    brief="""\
format = 1
[study]
title = "Invented: dose and pH of a red millbase"
seed = 3
roles = ["formulator", "colourist"]
[pigment]
name = "red iron oxide"
[millbase]
batch_g = 500.0
sample_g = 60.0
pigment_percent = 55.0
[package]
[[package.additive]]
name = "dispersant"
low = 1.0
high = 1.0
active_percent = 40.0
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
low = 0.8
high = 2.4
[[factor]]
name = "pH"
low = 8.0
high = 9.5
step = 0.05
[[control]]
name = "present formula"
every = "day"
settings = { dose = 1.5, pH = 8.8, dispersant = 1.0 }
[[response]]
name = "viscosity"
unit = "mPa·s"
per = "batch"
aim = "low"
best = 200
worst = 900
scale = "log"
accept = { at_most = 600 }
[[response]]
name = "gloss"
per = "batch"
aim = "high"
best = 60
worst = 20
[[view]]
role = "colourist"
importance = { gloss = 3.0 }
""",
    truths={
        "viscosity": lambda run, x: math.exp(
            6 - 0.5 * float(x["dose"]) + 0.3 * (float(x["pH"]) - 8.9) ** 2
            + 0.03 * math.sin(7 * run)
        ),
        "gloss": lambda run, x: 40 + 8 * float(x["dose"]) - 3 * float(x["pH"])
        + 0.5 * math.cos(11 * run),
    },
    at=("dose=1.4", "pH=9"),
    drop="dose*pH",
    role="formulator",
    weighed="dispersant",
)  # fmt: skip

# Letters of several scripts, ×, ², %, accents, quotes, commas, signs that a spreadsheet runs.
SCRIPTS = Invented(
    brief="""\
format = 1
[study]
title = "=1+1 Выдуманный «грунт» 红色, 100 % × m²"
question = "Quelle dose épaissit le moins ?"
seed = 5
roles = ["Färber", "технолог"]
[pigment]
name = "氧化铁红"
[millbase]
batch_g = 500.0
sample_g = 60.0
pigment_percent = 55.0
balance = "eau déminéralisée"
[letdown]
millbase_g = 25.0
[[letdown.ingredient]]
name = "дисперсия"
grams = 75.0
[package]
[[package.additive]]
name = "润湿剂 A²"
low = 0.1
high = 0.5
active_percent = 60.0
[[package.additive]]
name = "=диспергатор"
low = 0.5
high = 0.9
active_percent = 40.0
[[factor]]
name = "dose × 1, %"
role = "dose"
unit = "% на пигмент"
low = 0.8
high = 2.4
[[factor]]
name = "pH d'après m²"
low = 8.0
high = 9.5
[[control]]
name = "+контроль"
every = "day"
settings = { "dose × 1, %" = 1.5, "pH d'après m²" = 8.8, "=диспергатор" = 1.0 }
[[response]]
name = "粘度 @ 50/s"
unit = "mPa·s"
per = "batch"
aim = "low"
best = 200
worst = 900
scale = "log"
accept = { at_most = 600 }
[[response]]
name = "=прочность цвета, %"
unit = "%"
per = "batch"
aim = "high"
best = 101
worst = 85
[[view]]
role = "Färber"
importance = { "=прочность цвета, %" = 3.0 }
""",
    truths={
        "粘度 @ 50/s": lambda run, x: math.exp(
            6 - 0.3 * float(x["dose × 1, %"]) + 0.2 * (float(x["pH d'après m²"]) - 8.7) ** 2
            + float(x["润湿剂 A²"]) + 0.03 * math.sin(7 * run)
        ),
        "=прочность цвета, %": lambda run, x: 90 + 3 * float(x["dose × 1, %"])
        - 10 * float(x["润湿剂 A²"]) + 0.3 * math.cos(11 * run),
    },
    at=("dose × 1, %=1.4", "PH  D'APRÈS M2=9", "=диспергатор=0,7"),
    drop="'dose × 1, %' * \"pH d'après m²\"",
    role="Färber",
    weighed="=диспергатор",
    options=("--layout", "optimal", "--runs", "18", "--starts", "3"),
)  # fmt: skip


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Take the paint study to the bench; tests work on copies."""
    study = tmp_path_factory.mktemp("planned") / "study"
    go_to_the_bench(study, PAINT)
    return study


@pytest.fixture(scope="module")
def twice(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Go the whole way twice, in two folders."""
    places = []
    for name in ("first", "second"):
        folder = tmp_path_factory.mktemp(name)
        go_to_the_bench(folder / "study", PAINT)
        go_on_to_the_report(folder / "study", PAINT)
        places.append(folder / "study")
    return places[0], places[1]


@pytest.fixture
def bench(planned: Path, tmp_path: Path) -> Path:
    """Copy the study that waits for readings."""
    return Path(shutil.copytree(planned, tmp_path / "study"))


@pytest.fixture
def finished(twice: tuple[Path, Path], tmp_path: Path) -> Path:
    """Copy the study that has a report."""
    return Path(shutil.copytree(twice[0], tmp_path / "study"))


def changed_brief(study: Path, old: str, new: str) -> None:
    """Change the brief as an editor would."""
    brief = study / "study.toml"
    text = brief.read_text(encoding="utf-8")
    assert old in text
    brief.write_text(text.replace(old, new), encoding="utf-8")


def without(files: Mapping[str, bytes], *parts: str) -> dict[str, bytes]:
    """Leave files out whose place begins with one of these."""
    return {name: data for name, data in files.items() if not name.startswith(parts)}


def test_a_starting_brief_checks_and_plans(tmp_path: Path, millbase: Millbase) -> None:
    """`new` writes a brief that is ready as it stands, for every kind of study it offers."""
    for like in ("blend", "dose-and-time", "table", "package-and-process"):
        study = tmp_path / like
        assert millbase("new", study, "--like", like).status == 0
        answer = millbase("check", study, "--json")
        assert answer.status == 0, answer.err
        assert [line["state"] for line in answer.json["status"]].count("done") == 1
        # The largest takes its time to plan: the demo does that.
        if like != "package-and-process":
            assert millbase("plan", study).status == 0
            assert millbase("sheet", study).status == 0
    before = every_file(tmp_path)
    assert millbase("new", tmp_path / "blend").status == 2
    assert every_file(tmp_path) == before


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


def test_notes_take_runs_out_and_bring_them_back(finished: Path, millbase: Millbase) -> None:
    """Lost and excluded runs are left out of the fit, by run, batch or reading; back they count."""

    def fitted() -> int:
        return int(millbase("fit", finished, "--json").json["responses"]["viscosity"]["n"])

    def note(*options: object) -> None:
        assert millbase("note", finished, *options, "--because", "seen").status == 0

    n = fitted()
    note("--run", 4, "--says", "lost")
    assert fitted() == n - 1
    note("--run", 4, "--says", "back")
    assert fitted() == n
    note("--batch", 5, "--says", "excluded", "--response", "viscosity")
    assert fitted() == n - 1
    gloss = millbase("fit", finished, "--json").json["responses"]["gloss"]["n"]
    assert gloss == n
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


def test_the_same_seed_gives_the_same_bytes(twice: tuple[Path, Path]) -> None:
    """All but the record of when readings came in, byte for byte, in two folders."""
    # A workbook that a spreadsheet saved bears the time of saving; ours is compared below.
    clocks = ("readings.csv", "raw/", WORKBOOK)
    first, second = (without(every_file(study), *clocks) for study in twice)

    assert "plan.csv" in first
    assert any(name.endswith("report.html") for name in first)
    assert sorted(first) == sorted(second)
    assert [name for name in first if first[name] != second[name]] == []


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
    before = millbase("fit", finished, "--json").json
    changed_brief(finished, "worst = 900", "worst = 800")
    checked = millbase("check", finished, "--json")
    states = {line["text"]: line["state"] for line in checked.json["status"]}
    old = [text for text in states if "inputs have changed" in text]

    assert checked.status == 0
    assert [text.split(":")[0] for text in old] == ["Compromise", "Report"]
    assert {states[text] for text in old} == {"doubtful"}
    after = millbase("fit", finished, "--json").json
    assert after["inputs"]["goals"] != before["inputs"]["goals"]
    assert after["inputs"]["region"] == before["inputs"]["region"]
    assert after["responses"] == before["responses"]
    assert millbase("choose", finished).status == 0
    lines = [line["text"] for line in millbase("check", finished, "--json").json["status"]]
    assert "Compromise: up to date." in lines


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


def test_results_may_be_deleted_and_made_again(finished: Path) -> None:
    """They rest on inputs and choices alone."""
    before = every_file(finished)
    shutil.rmtree(finished / "results")
    done("fit", finished)
    done("choose", finished)
    done("report", finished)
    after = every_file(finished)

    assert before == after


def test_names_in_any_script_go_the_whole_way(tmp_path: Path, millbase: Millbase) -> None:
    """Cyrillic, Chinese, accents, ×, ², %, quotes and formula signs, from brief to report."""
    study = tmp_path / "Étude «красный» 红 ×² 100 %"
    go_to_the_bench(study, SCRIPTS)
    go_on_to_the_report(study, SCRIPTS)
    answer = millbase("fit", study, "--drop", SCRIPTS.drop, "--json")
    assert answer.status == 0, answer.err
    assert set(answer.json["responses"]) == set(SCRIPTS.truths)
    assert answer.json["not_fitted"] == {}
    terms = millbase("fit", study, "--json").json["responses"]["粘度 @ 50/s"]["terms"]
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

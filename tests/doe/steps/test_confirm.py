"""`confirm` as a user runs it: plan, wait, judge, take in, the plant."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from doe.cli.app import run
from doe.errors import PlanError, StudyError
from doe.steps.adopt import adopt_table
from doe.steps.analysis_of import analyse
from doe.steps.confirm import ConfirmOptions, confirm_study
from doe.steps.confirm_findings import doubt_findings
from doe.steps.doubts import StudyDoubts
from doe.steps.enter import enter_files
from doe.steps.model_choice import FitOptions
from doe.steps.session import open_study
from doe.steps.status import study_status

BRIEF = """\
format = 1
[study]
title = "invented"
seed = 3
[[factor]]
name = "dose"
low = 0.8
high = 2.4
[[factor]]
name = "grind time"
unit = "min"
low = 15
high = 45
set_per = "sample"
[[control]]
name = "old"
every = "round"
settings = { dose = 1.0, "grind time" = 30 }
[[response]]
name = "viscosity"
unit = "mPa·s"
scale = "log"
aim = "low"
best = 200
worst = 900
accept = { at_most = 750 }
[[response]]
name = "gloss"
aim = "high"
best = 60
worst = 30
accept = { at_least = 40 }
"""
AT = ("dose=1.8", "grind time=36")


@pytest.fixture(scope="module")
def adopted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight batches of three samples, adopted from a table."""
    folder = tmp_path_factory.mktemp("confirm")
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    rng = np.random.default_rng(3)
    lines = ["run,batch,dose,grind time,viscosity,gloss"]
    for number, dose in enumerate((0.8, 1.6, 2.4, 0.8, 1.6, 2.4, 1.2, 2.0), start=1):
        shift = rng.normal(0, 0.1)
        for time in (15, 30, 45):
            y = np.exp(7.2 - 0.3 * dose - 0.01 * time + shift + rng.normal(0, 0.05))
            gloss = 40 + 5 * dose + rng.normal(0, 1)
            lines.append(f"{len(lines)},{number},{dose},{time},{y:.1f},{gloss:.1f}")
    table = folder / "table.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(table, folder)
    return folder


@pytest.fixture(scope="module")
def planned(adopted: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with two batches planned."""
    folder = tmp_path_factory.mktemp("planned") / "study"
    shutil.copytree(adopted, folder)
    confirm_study(folder, ConfirmOptions(batches=2, at=AT, role="formulator"))
    return folder


def _copy(folder: Path, to: Path) -> Path:
    return Path(shutil.copytree(folder, to / "study"))


def _enter(folder: Path, lines: list[str]) -> None:
    file = folder / "new.csv"
    file.write_text("\n".join(["run,viscosity,gloss", *lines]) + "\n", encoding="utf-8")
    enter_files(folder, [file])


def _confirm_runs(folder: Path) -> tuple[list[int], list[int]]:
    plan = open_study(folder).needed_plan()
    of = [
        (run, kind) for run, kind, r in zip(plan.run, plan.kind, plan.round, strict=True) if r > 1
    ]
    return [r for r, k in of if k == "confirm"], [r for r, k in of if k == "control"]


def test_batches_over_days_that_the_study_does_not_know_are_told_so(
    adopted: Path, tmp_path: Path
) -> None:
    """The table names no day, so that no model holds a scatter between days."""
    folder = _copy(adopted, tmp_path)
    said = "go over 2 days"
    outcome = confirm_study(folder, ConfirmOptions(plant=True, batches=2, days=2, at=AT))
    assert any(said in one.what for one in outcome.findings)
    asked = ConfirmOptions(plant=True, batches=2, days=1, again=True, at=AT)
    assert not any("between days" in one.what for one in confirm_study(folder, asked).findings)


def test_batches_come_after_the_last_day_that_was_worked_on(adopted: Path, tmp_path: Path) -> None:
    """A day of the record, not of the plan: two days of one number would count as one."""
    folder = _copy(adopted, tmp_path)
    (folder / "actuals.csv").write_text("unit,what,value,when\nbatch 8,day,5,\n", "utf-8")
    added = confirm_study(folder, ConfirmOptions(batches=2, days=2, at=AT)).added

    assert added is not None
    assert set(added.day) == {6, 7}


def test_planning_adds_a_round_and_freezes_what_is_foretold(planned: Path) -> None:
    """New numbers, controls as the brief asks, hashes, seed, version and who in the file."""
    runs, controls = _confirm_runs(planned)
    assert len(runs) == 2
    assert len(controls) == 1
    assert min(runs + controls) == 25
    known: dict[str, Any] = json.loads((planned / "confirmation.json").read_text("utf-8"))
    assert known["format"] == 1
    entry = known["entries"][0]
    assert (entry["number"], entry["round"], entry["where"]) == (1, 2, "laboratory")
    assert (entry["seed"], entry["who"]) == (3, "formulator")
    assert {"version", "region", "goals", "readings", "choices"} <= set(entry["inputs"])
    assert entry["settings"] == {"dose": 1.8, "grind time": 36.0}
    rule = entry["rule"]
    assert 0.95 < rule["each_level"] <= 0.975
    assert (rule["shared_by"] == "joint") == (rule["each_level"] < 0.975), "the bound is named"
    viscosity = entry["responses"][0]
    assert viscosity["interval"][0] < viscosity["value"] < viscosity["interval"][1]
    assert viscosity["limits"] == [None, 750]


def test_half_of_the_readings_wait_and_all_are_judged_by_themselves(
    planned: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The fit stays as it was all the while, and says why."""
    folder = _copy(planned, tmp_path)
    before = analyse(open_study(folder), FitOptions()).fits["gloss"].coefficients
    (first, second), (control,) = _confirm_runs(folder)
    _enter(folder, [f"{first},520,49"])
    outcome = confirm_study(folder)
    assert outcome.judged is not None
    assert outcome.judged.state == "waiting"
    assert not outcome.is_no
    with pytest.raises(PlanError, match="still waits"):
        confirm_study(folder, ConfirmOptions(batches=2))
    _enter(folder, [f"{second},560,49.5", f"{control},780,45"])
    assert run(["confirm", str(folder), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["did"], found["verdict"]) == ("judged", "confirmed")
    assert set(found["judged"]["responses"]) == {"viscosity", "gloss"}
    analysis = analyse(open_study(folder), FitOptions())
    assert np.array_equal(analysis.fits["gloss"].coefficients, before)
    said = " ".join(one.what for one in analysis.data["gloss"].findings)
    assert "a confirmation run tests the model and does not build it" in said
    lines, findings = study_status(open_study(folder), analysis)
    assert any(one.text.startswith("Confirmation 1") and one.state == "done" for one in lines)
    assert not any("was planned, these have changed" in one.what for one in findings)


def test_a_failure_says_what_it_says_and_can_be_taken_in_all_the_same(
    planned: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 1, reasons, the best next round; the user's word moves the models."""
    folder = _copy(planned, tmp_path)
    (first, second), (control,) = _confirm_runs(folder)
    _enter(folder, [f"{first},1300,49", f"{second},1250,49.5", f"{control},780,45"])
    assert run(["confirm", str(folder)]) == 1
    shown = capsys.readouterr().out
    assert "NOT confirmed" in shown
    assert "Best next: millbase extend" in shown
    with pytest.raises(StudyError, match="no reason"):
        confirm_study(folder, ConfirmOptions(take_in=True))
    outcome = confirm_study(folder, ConfirmOptions(take_in=True, because="we trust them"))
    assert outcome.moved is not None
    assert outcome.moved.settings
    assert outcome.contract()["did"] == "taken in"
    after = analyse(open_study(folder), FitOptions()).fits["viscosity"]
    assert set(after.runs) == {*range(1, 25), first, second, control}
    assert "we trust them" in (folder / "choices.toml").read_text("utf-8")
    # What was frozen stands, and the verdict with it.
    assert outcome.is_no
    with pytest.raises(PlanError, match="no judged"):
        confirm_study(folder, ConfirmOptions(take_in=True, because="again"))


def test_a_brief_that_changed_afterwards_is_named(planned: Path, tmp_path: Path) -> None:
    """The rule is that of the day it was planned; judge and check say what changed."""
    folder = _copy(planned, tmp_path)
    brief = (folder / "study.toml").read_text("utf-8")
    (folder / "study.toml").write_text(brief.replace("at_most = 750", "at_most = 500"), "utf-8")
    (first, second), (control,) = _confirm_runs(folder)
    _enter(folder, [f"{first},520,49", f"{second},560,49.5", f"{control},780,45"])
    outcome = confirm_study(folder)
    assert not outcome.is_no
    assert any("goals of the brief" in one.what for one in outcome.findings)


def test_batches_of_the_plant_keep_to_themselves(planned: Path, tmp_path: Path) -> None:
    """Own scatter and offset; never in the models, not even on the user's word."""
    folder = _copy(planned, tmp_path)
    with pytest.raises(PlanError, match=r"laboratory.*still waits"):
        confirm_study(folder, ConfirmOptions(plant=True, at=AT))
    outcome = confirm_study(folder, ConfirmOptions(plant=True, batch_kg=800.0, batches=3, at=AT))
    assert outcome.added is not None
    runs = outcome.added.run
    assert len(runs) == 3
    assert set(outcome.added.kind) == {"confirm"}
    _enter(
        folder,
        [f"{r},{v},{g}" for r, v, g in zip(runs, (640, 700, 610), (49, 51, 50), strict=True)],
    )
    outcome = confirm_study(folder, ConfirmOptions(plant=True))
    assert outcome.judged is not None
    assert not outcome.is_no
    viscosity = outcome.judged.plant[0]
    assert viscosity.offset_is == "ratio"
    assert viscosity.offset > 1.0
    said = " ".join(
        one.what for one in analyse(open_study(folder), FitOptions()).data["gloss"].findings
    )
    assert "a batch of the plant" in said
    with pytest.raises(StudyError, match="plant"):
        confirm_study(folder, ConfirmOptions(plant=True, take_in=True, because="x"))


def test_a_plant_round_is_judged_unasked_and_its_failure_is_the_plant_s(
    adopted: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Plain `confirm` plans nothing beside it; an offset is no word against the settings."""
    folder = _copy(adopted, tmp_path)
    assert run(["confirm", str(folder), "--plant", *(f"--at={one}" for one in AT)]) == 0
    assert f"millbase confirm {folder} --plant" in " ".join(capsys.readouterr().out.split())
    runs, _ = _confirm_runs(folder)
    assert len(runs) == 3
    waiting = confirm_study(folder)
    assert waiting.judged is not None
    assert waiting.judged.state == "planned"
    _enter(folder, [f"{r},{v},49" for r, v in zip(runs, (1290, 1310, 1300), strict=True)])
    for asked in (ConfirmOptions(), ConfirmOptions(judge=True)):
        outcome = confirm_study(folder, asked)
        assert outcome.added is None
        assert outcome.judged is not None
        assert outcome.judged.entry.where == "plant"
        assert outcome.is_no
    assert outcome.judged is not None
    reasons = {one.cause: one for one in outcome.judged.reasons}
    assert outcome.judged.reasons[0].title == "The plant lies off the laboratory"
    assert "higher" in reasons["plant"].evidence[0]
    assert "limits" not in reasons
    assert outcome.judged.next is not None
    assert outcome.judged.next.command == "confirm STUDY --plant --again"
    with pytest.raises(StudyError, match="never enter the models"):
        confirm_study(folder, ConfirmOptions(take_in=True, because="x"))


def test_of_two_kinds_of_round_the_one_read_last_is_judged_and_the_other_named(
    planned: Path, tmp_path: Path
) -> None:
    """A laboratory round that waits does not hide what the plant's readings say, nor it theirs."""
    folder = _copy(planned, tmp_path)
    (first, second), (control,) = _confirm_runs(folder)
    outcome = confirm_study(folder, ConfirmOptions(plant=True, batches=2, at=AT))
    assert outcome.added is not None
    _enter(folder, [f"{run},640,49" for run in outcome.added.run])
    outcome = confirm_study(folder)
    assert outcome.judged is not None
    assert outcome.judged.entry.where == "plant"
    assert any("laboratory, round 2) is planned too" in one.what for one in outcome.findings)
    _enter(folder, [f"{first},520,49", f"{second},560,49.5", f"{control},780,45"])
    outcome = confirm_study(folder)
    assert outcome.judged is not None
    assert outcome.judged.entry.where == "laboratory"
    assert any("Beside it: Confirmation 2 (plant" in one.what for one in outcome.findings)


def test_how_many_plans_nothing(adopted: Path) -> None:
    """Only the table and its sentences."""
    before = (adopted / "plan.json").read_bytes()
    outcome = confirm_study(adopted, ConfirmOptions(how_many=True, at=AT))
    assert len(outcome.sizes) == 8
    assert "Recommended" in outcome.size_words[0]
    assert (adopted / "plan.json").read_bytes() == before
    assert not (adopted / "confirmation.json").exists()


def test_a_control_that_gelled_or_waits_holds_no_verdict_up(planned: Path, tmp_path: Path) -> None:
    """It tells the day from the formula, and nothing of the formula alone."""
    folder = _copy(planned, tmp_path)
    (first, second), (control,) = _confirm_runs(folder)
    _enter(folder, [f"{first},520,49", f"{second},560,49.5"])
    waits = confirm_study(folder)
    _enter(folder, [f"{control},gelled,gelled"])
    gelled = confirm_study(folder)

    for outcome in (waits, gelled):
        assert outcome.judged is not None
        assert outcome.judged.outcome.passed is True
        said = " ".join(one.what for one in outcome.findings)
        assert "Some batches gave no value" not in said
        assert f"Controls that give no value (run {control}: viscosity, gloss)" in said


def test_a_run_noted_lost_is_waited_for_no_more(planned: Path, tmp_path: Path) -> None:
    """`check` lists what is still to come."""
    folder = _copy(planned, tmp_path)
    (first, second), (control,) = _confirm_runs(folder)
    _enter(folder, [f"{first},520,49"])
    for number in (second, control):
        noted = ["note", str(folder), "--run", str(number), "--says", "lost", "--because", "spilt"]
        assert run(noted) == 0
    lines, _ = study_status(open_study(folder), None)
    assert not any("runs wait" in one.text for one in lines)


def test_open_doubts_about_the_readings_stand_beside_the_verdict(
    planned: Path, tmp_path: Path
) -> None:
    """A copied reading confirms nothing."""
    folder = _copy(planned, tmp_path)
    (first, second), (control,) = _confirm_runs(folder)
    _enter(folder, [f"{first},520,49", f"{second},560,49.5", f"{control},780,45"])
    judged = confirm_study(folder).judged
    assert judged is not None
    about = StudyDoubts(of_runs=(((first, 3), "The curves are equal."), ((4,), "Another.")))
    (found,) = doubt_findings(judged, about)
    assert found.level == "caution"
    assert "readings that are in doubt: The curves are equal." in found.what
    assert "Another" not in found.what


def test_planning_two_batches_shows_sizes_to_three_and_what_two_find(
    adopted: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """More lines than the choice needs hide it."""
    folder = _copy(adopted, tmp_path)
    assert run(["confirm", str(folder), "--batches", "2", *(f"--at={one}" for one in AT)]) == 0
    shown = capsys.readouterr().out
    table = shown[shown.index("the mean must lie in") : shown.index("Planned: 2 batches")]
    rows = (line.split() for line in table.splitlines()[1:])
    sizes = {row[0] for row in rows if row and row[0].isdigit()}
    assert sizes == {"1", "2", "3"}
    assert "2 batches find a formula that is off by as much as said above so often: viscosity" in (
        " ".join(shown.split())
    )

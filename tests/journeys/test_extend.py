"""A study that goes on: a run is lost, a round is added, and the whole is fitted together."""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from pathlib import Path

import pytest

from tests.journeys.briefs import every_file, factors, package, study_of
from tests.journeys.conftest import Millbase, run_millbase
from tests.journeys.whole_way import WORKBOOK, Invented, done, fill, go_to_the_bench, runs_of

BRIEF = """
format = 1
[study]
title = "Brick-red millbase (invented)"
seed = 5
[millbase]
batch_g = 400
pigment_percent = 50
balance = "water"
[[factor]]
name = "pH"
low = 8.0
high = 9.5
[[factor]]
name = "mill speed"
unit = "m/s"
low = 8.0
high = 14.0
[[response]]
name = "viscosity"
unit = "mPa·s"
per = "batch"
aim = "low"
best = 200
worst = 900
[[response]]
name = "gloss"
per = "batch"
aim = "high"
best = 60
worst = 20
"""
SHIFT = 40.0


def _viscosity(run: int, row: Mapping[str, str]) -> float:
    pH, speed = (float(row["pH"]) - 8.75) / 0.75, (float(row["mill speed"]) - 11) / 3
    later = SHIFT if row["round"] == "2" else 0.0
    return 500 - 60 * pH - 90 * speed + 45 * speed**2 + 30 * pH * speed + later + run * 7 % 5


def _gloss(run: int, row: Mapping[str, str]) -> float:
    return 40 + 6 * (float(row["pH"]) - 8.75) + run * 3 % 4


GRIND = Invented(
    brief=BRIEF,
    truths={"viscosity": _viscosity, "gloss": _gloss},
    at=("pH=9",),
    drop="pH²",
    role="formulator",
    weighed="water",
    options=("--layout", "central composite"),
)


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a study whose first round is read, with one run lost."""
    study = tmp_path_factory.mktemp("extend") / "s"
    go_to_the_bench(study, GRIND)
    fill(study, GRIND, runs_of(study))
    done("enter", study, study / WORKBOOK)
    done("note", study, "--run", 2, "--says", "lost", "--because", "the batch was spilt")
    return study


@pytest.fixture
def study(read: Path, tmp_path: Path) -> Path:
    """Give a copy of it."""
    return Path(shutil.copytree(read, tmp_path / "s"))


def test_a_lost_run_is_repaired_and_the_whole_is_fitted(study: Path, millbase: Millbase) -> None:
    """Plan, readings, a loss, a repair, its sheets and readings, models over both rounds."""
    before = runs_of(study)
    readings = (study / "readings.csv").read_bytes()
    repair = done("extend", study, "--for", "repair", "--json").json
    after = runs_of(study)
    done("sheet", study, "--replace")
    fill(study, GRIND, set(after) - set(before))
    done("enter", study, study / WORKBOOK)
    fit = done("fit", study, "--json").json["responses"]["viscosity"]

    assert {run: after[run] for run in before} == before
    assert repair["for"] == "repair"
    assert repair["details"]["repairs"] == [2]
    assert {row["round"] for run, row in after.items() if run not in before} == {"2"}
    assert (study / "readings.csv").read_bytes().startswith(readings)
    assert fit["n"] == len(after) - 1
    assert fit["runs"][-1]["run"] == max(after)
    status = done("check", study).out
    assert "round 2: extension for repair" in status


def test_rounds_enter_the_fit_as_fixed_blocks(study: Path) -> None:
    """The second round reads higher by a shift, and no term takes it up."""
    done("extend", study, "--for", "model", "--model", "quadratic", "--runs", "6")
    new = [run for run, row in runs_of(study).items() if row["round"] == "2"]
    done("sheet", study, "--replace")
    fill(study, GRIND, new)
    done("enter", study, study / WORKBOOK)
    fit = done("fit", study, "--model", "quadratic", "--only", "viscosity", "--json").json
    one = fit["responses"]["viscosity"]
    terms = {c["term"]: c["estimate"] for c in one["coefficients"]}

    assert "blocks" in {row["source"] for row in one["anova"]}
    assert terms["pH × mill speed"] == pytest.approx(30, abs=3)
    assert terms["mill speed²"] == pytest.approx(45, abs=6)


def test_what_was_repaired_is_not_repaired_twice(study: Path, millbase: Millbase) -> None:
    """The run stays lost, and the round that made up for it stays enough."""
    done("extend", study, "--for", "repair")

    assert millbase("extend", study, "--for", "repair").status == 1


def test_days_go_on_and_the_next_larger_model_is_taken(tmp_path: Path) -> None:
    """A linear plan of two days is extended for interactions from day 3 on."""
    days = "[plan]\nbatches_per_day = 4\n"
    study = study_of(tmp_path / "s", factors(2), '[[response]]\nname = "y"\nper = "batch"\n', days)
    done("plan", study, "--layout", "full factorial", "--model", "linear", "--runs", 7)
    (study / "y.csv").write_text("run,y\n" + "".join(f"{i},{i % 4}\n" for i in runs_of(study)))
    done("enter", study, study / "y.csv")
    told = done("extend", study, "--for", "model", "--json").json

    assert told["models"] == ["interactions"]
    assert {row["day"] for row in told["runs"]} == {3, 4}


def test_nothing_failed_is_said_and_changes_nothing(study: Path, millbase: Millbase) -> None:
    """Exit 1, a sentence, no byte written."""
    done("note", study, "--run", 2, "--says", "back", "--because", "found again")
    before = every_file(study)
    answer = millbase("extend", study, "--for", "repair", "--json")

    assert answer.status == 1
    assert "nothing to repair" in answer.json["why_not"]
    assert every_file(study) == before


def test_runs_that_were_never_made_can_be_taken_out(tmp_path: Path) -> None:
    """Their numbers stay issued, the old plan stays beside the new one, data are untouched."""
    study = study_of(tmp_path / "s", factors(2), '[[response]]\nname = "y"\nper = "batch"\n')
    done("plan", study, "--runs", "10")
    (study / "y.csv").write_text("run,y\n" + "".join(f"{i},{i % 3}\n" for i in range(1, 8)))
    done("enter", study, study / "y.csv")
    before = runs_of(study)
    told = done("extend", study, "--for", "replicates", "--drop-unrun", "--json").json
    after = runs_of(study)

    assert told["dropped"] == [8, 9, 10]
    assert set(after) == {*range(1, 8), *range(11, 15)}
    assert {run: after[run] for run in range(1, 8)} == {run: before[run] for run in range(1, 8)}
    assert any(path.name.startswith("plan") and path.name != "plan.csv"
               for path in study.glob("plan*.csv"))  # fmt: skip
    assert json.loads((study / "plan.json").read_text())["issued"]["run"] == 14
    # A second round that drops those of the first again starts behind them, too.
    again = done("extend", study, "--for", "replicates", "--drop-unrun", "--json").json
    assert again["dropped"] == [11, 12, 13, 14]
    assert again["number"] == 3
    assert min(row["run"] for row in again["runs"]) == 15


def test_the_blocks_of_a_round_are_numbered_on(tmp_path: Path) -> None:
    """Mill 1 of the second round is not mill 1 of the first; all enter the fit."""
    mills = '[[block]]\nname = "mill"\nsize = 6\n'
    study = study_of(tmp_path / "s", factors(2), '[[response]]\nname = "y"\nper = "batch"\n', mills)
    done("plan", study, "--layout", "central composite")
    for number in ("1", "2"):
        new = [run for run, row in runs_of(study).items() if row["round"] == number]
        (study / "y.csv").write_text("run,y\n" + "".join(f"{i},{i * i % 7}\n" for i in new))
        done("enter", study, study / "y.csv")
        if number == "1":
            done("extend", study, "--for", "replicates", "--runs", "8")
    rounds = json.loads((study / "plan.json").read_text())["rounds"]
    first, second = (set(entry["details"]["blocks"].values()) for entry in rounds)
    fit = done("fit", study, "--json").json["responses"]["y"]

    assert first == {"1", "2"}
    assert second == {"3", "4"}
    assert next(row["df"] for row in fit["anova"] if row["source"] == "blocks") == 3


def test_the_same_seed_gives_the_same_round(study: Path, tmp_path: Path) -> None:
    """Byte for byte."""
    other = Path(shutil.copytree(study, tmp_path / "other"))
    for folder in (study, other):
        done("extend", folder, "--for", "check", "--seed", 3)

    assert (study / "plan.csv").read_bytes() == (other / "plan.csv").read_bytes()
    assert (study / "plan.json").read_bytes() == (other / "plan.json").read_bytes()


@pytest.mark.parametrize("purpose", ["model", "replicates", "check", "compromise"])
def test_every_answer_says_what_it_buys_and_costs(study: Path, purpose: str) -> None:
    """Variance and degrees of freedom before and after, batches, next command, cautions."""
    more = ("--model", "quadratic") if purpose == "model" else ()
    said = done("extend", study, "--for", purpose, *more).out

    assert "What it buys" in said
    assert "Error degrees of freedom" in said
    assert "mill batches" in said
    assert "safety data sheets" in said
    assert f"Next: millbase sheet {study} --replace" in said


BLEND = package(((0.1, 0.9), (0.1, 0.9)))
Y = '[[response]]\nname = "y"\nper = "batch"\n'
WRONG: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "too few runs": (("--for", "replicates", "--runs", "0"), ("--runs",)),
    "too few for links": (("--for", "model", "--model", "quadratic", "--runs", "1"), ("or more",)),
    "runs and batches": (("--for", "check", "--runs", "5", "--batches", "3"), ("--batches", "5")),
    "no such model": (("--for", "model", "--model", "cubicc"), ("--model", "quadratic")),
    "no mirror of these": (("--for", "foldover"), ("no two-level layout", "--for model")),
    "not factorial": (("--for", "axial",), ("no two-level layout", "--for model")),
    "largest model": (("--for", "model"), ("largest model",)),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_done_is_refused_with_what_can(
    name: str, study: Path, millbase: Millbase
) -> None:
    """Exit 2, the words help, nothing is written."""
    options, words = WRONG[name]
    before = every_file(study)
    answer = millbase("extend", study, *options, "--json")

    assert answer.status == 2, answer.out
    assert set(answer.json["error"]) == {"where", "what", "allowed", "do"}
    assert every_file(study) == before
    for word in words:
        assert word in answer.err


def test_a_study_without_data_is_to_be_planned_anew(tmp_path: Path, millbase: Millbase) -> None:
    """There is nothing to build on yet; neither is there without a plan."""
    study = study_of(tmp_path / "s", factors(2), Y)
    answer = millbase("extend", study, "--for", "check")
    assert answer.status == 2
    assert "no runs yet" in answer.err
    done("plan", study)
    answer = millbase("extend", study, "--for", "check")

    assert answer.status == 2
    assert f"plan {study} --replace" in answer.err


@pytest.fixture(scope="module")
def fraction(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a study with a half fraction of four factors, all read."""
    study = study_of(tmp_path_factory.mktemp("fraction") / "s", factors(4), Y)
    done("plan", study, "--layout", "fractional factorial", "--model", "linear", "--centre", 0)
    runs = runs_of(study)
    (study / "y.csv").write_text("run,y\n" + "".join(f"{i},{i % 5}\n" for i in runs))
    done("enter", study, study / "y.csv")
    return study


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--factor", "dose"), ("--factor", "z1, z2, z3, z4")),
        (("--runs", "9"), ("8 of the layout and 2 that link", "10 or more")),
    ],
)
def test_a_mirror_image_that_cannot_be_is_refused(
    options: tuple[str, ...], words: tuple[str, ...], fraction: Path, millbase: Millbase
) -> None:
    """An unknown factor; a budget without room for the links."""
    before = every_file(fraction)
    answer = millbase("extend", fraction, "--for", "foldover", *options)

    assert answer.status == 2
    assert every_file(fraction) == before
    for word in words:
        assert word in answer.err


def test_both_rounds_of_a_mirrored_fraction_are_fitted(fraction: Path, tmp_path: Path) -> None:
    """The interactions, mixed up before, are told; then nothing is left to mirror."""
    study = Path(shutil.copytree(fraction, tmp_path / "s"))
    told = done("extend", study, "--for", "foldover", "--json").json
    runs = runs_of(study)
    (study / "z.csv").write_text(
        "run,y\n" + "".join(f"{i},{i % 5}\n" for i, row in runs.items() if row["round"] == "2")
    )
    done("enter", study, study / "z.csv")
    fit = done("fit", study, "--model", "interactions", "--json").json["responses"]["y"]
    again = run_millbase("extend", study, "--for", "foldover")

    assert told["details"]["words left"] == []
    assert told["buys"]["variance"][0] is None
    assert told["buys"]["untold"] == []
    assert len(fit["coefficients"]) == 11
    assert again.status == 2
    assert "told apart already" in again.err


def test_a_package_takes_no_axial_runs(tmp_path: Path, millbase: Millbase) -> None:
    """Shares sum to 1."""
    study = study_of(tmp_path / "s", BLEND, Y)
    done("plan", study)
    runs = runs_of(study)
    (study / "y.csv").write_text("run,y\n" + "".join(f"{i},{i % 4}\n" for i in runs))
    done("enter", study, study / "y.csv")
    answer = millbase("extend", study, "--for", "axial")

    assert answer.status == 2
    assert "sum to 1" in answer.err
    assert "--for model" in answer.err

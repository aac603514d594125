"""Each doubt planted once in what comes from the bench, found once, and noted away."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.journeys.conftest import Answer, run_millbase

BRIEF = """
format = 1
[study]
title = "Which pH and mill temperature keep the film dry"
seed = 11
[pigment]
name = "red iron oxide"
[millbase]
batch_g = 500.0
pigment_percent = 55.0
[[factor]]
name = "mill temperature"
unit = "°C"
low = 25
high = 45
[[factor]]
name = "pH"
low = 8.0
high = 9.5
set_by = "ammonia"
[[control]]
name = "present formula"
every = "day"
settings = { "mill temperature" = 30, pH = 8.8 }
[[response]]
name = "viscosity"
unit = "mPa·s"
scale = "log"
repeatability_sd = 0.04
[[response]]
name = "uptake"
from = "water uptake"
per = "sample"
[[response]]
name = "strength"
from = "colour strength"
per = "sample"
[plan]
batches_per_day = 4
"""
NM = tuple(range(400, 710, 20))
WEIGHED = {"water": 200.0, "ammonia for pH": 6.0, "red iron oxide": 275.0, "water made up": 19.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """Slips of the pen, by the run or day that they happen to; none in a clean study."""

    torn: int = 0
    copied: tuple[int, int] = (0, 0)
    copied_curve: tuple[int, int] = (0, 0)
    below_zero: int = 0
    lighter_when_wet: int = 0
    ph_off: int = 0
    not_closed: int = 0
    drift: float = 0.0
    weak_standard_of_day: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A study folder with its plan, and what was planted."""

    study: Path
    plan: list[dict[str, str]]
    entered: Any
    planted: Planted = field(default_factory=Planted)


def plan_of(study: Path) -> list[dict[str, str]]:
    """Read the runs in bench order."""
    with (study / "plan.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def viscosity(row: dict[str, str], planted: Planted, place: int) -> tuple[float, float]:
    """Two repeats within repeatability, but for the run that is torn."""
    if row["kind"] == "control":
        first = 500.0 * math.exp(planted.drift * place) * (1 + 0.002 * (place % 3))
    else:
        ph, warm = float(row["pH"]) - 8.75, float(row["mill temperature"]) - 35
        first = 450 * math.exp(0.3 * ph**2 - 0.01 * warm) * (1 + 0.004 * (place % 4))
    second = first * (1.31 if int(row["run"]) == planted.torn else 1.02)
    return round(first, 1), round(second, 1)


def masses(place: int) -> tuple[float, float]:
    """A film and the same film wet, to 0.1 mg."""
    before = 4.0 + (0.3719 * place) % 1.3
    return round(before, 4), round(before * (1.08 + 0.013 * ((7 * place) % 5)), 4)


def write_readings(study: Path, plan: list[dict[str, str]], planted: Planted) -> Path:
    """Write one table of viscosities and masses, a second line a run for the repeat."""
    film = {int(row["run"]): masses(i) for i, row in enumerate(plan)}
    film[planted.copied[1]] = film.get(planted.copied[0], (0.0, 0.0))
    lines = ["run,viscosity,mass before,mass wet"]
    for i, row in enumerate(plan):
        run = int(row["run"])
        before, wet = film[run]
        before = -before if run == planted.below_zero else before
        wet = round(0.97 * before, 4) if run == planted.lighter_when_wet else wet
        first, second = viscosity(row, planted, i)
        lines += [f"{run},{first},{before},{wet}", f"{run},{second},,"]
    file = study.parent / f"{study.name}-readings.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def tint(strength: float, wobble: int) -> list[float]:
    """A reflectance curve, %, of a tint that absorbs blue and green."""
    values = []
    for i, nm in enumerate(NM):
        q = strength * (0.05 + 0.9 / (1 + math.exp((nm - 560) / 25)))
        r = 1 + q - math.sqrt(q * q + 2 * q)
        values.append(round(100 * r * (1 + 0.0004 * ((wobble * (i + 3)) % 7)), 3))
    return values


def write_curves(study: Path, plan: list[dict[str, str]], planted: Planted) -> Path:
    """Write the standard of each day and a curve of each run, one a line."""
    rows: dict[str, list[float]] = {}
    for day in sorted({int(row["day"]) for row in plan}):
        weak = 0.92 if day == planted.weak_standard_of_day else 1.0
        rows[f"standard day {day}"] = tint(weak, day)
    for i, row in enumerate(plan):
        rows[f"run {row['run']}"] = tint(0.97 + 0.01 * (i % 6), 11 + i)
    if planted.copied_curve[0]:
        rows[f"run {planted.copied_curve[1]}"] = rows[f"run {planted.copied_curve[0]}"]
    file = study.parent / f"{study.name}-curves.csv"
    lines = [",".join(["label", *map(str, NM)])]
    lines += [",".join([label, *map(str, values)]) for label, values in rows.items()]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def fill_weighing(study: Path, plan: list[dict[str, str]], planted: Planted) -> Path:
    """Fill in grams that close and the pH that was reached."""
    path = study / "sheets" / "bench.xlsx"
    book = openpyxl.load_workbook(path)
    settings = {f"batch {row['batch']}": row for row in plan}
    for row in book["Weigh-out"].iter_rows(min_row=4):
        unit, what = row[0].value, row[1].value
        if unit not in settings:
            continue
        run = int(settings[unit]["run"])
        if what in WEIGHED:
            extra = 16.0 if what == "water made up" and run == planted.not_closed else 0.0
            row[5].value = WEIGHED[what] + extra
        elif what == "pH":
            row[5].value = float(settings[unit]["pH"]) + (0.31 if run == planted.ph_off else 0.02)
    book.save(path)
    return path


def done(*words: object) -> Answer:
    """Run a command that must succeed."""
    answer = run_millbase(*words)
    assert answer.status == 0, answer.err
    return answer


def entered(folder: Path, plants: bool) -> Bench:
    """Plan a study, fill in what the bench gives, and enter it."""
    folder.mkdir()
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    done("plan", folder, "--layout", "central composite")
    done("sheet", folder)
    plan = plan_of(folder)
    own = [int(row["run"]) for row in plan if row["kind"] != "control"]
    planted = Planted()
    if plants:
        planted = Planted(
            torn=own[0], copied=(own[1], own[2]), copied_curve=(own[3], own[4]),
            below_zero=own[5], lighter_when_wet=own[6], ph_off=own[7], not_closed=own[8],
            drift=0.02, weak_standard_of_day=3,
        )  # fmt: skip
    files = [make(folder, plan, planted) for make in (fill_weighing, write_readings, write_curves)]
    answer = done("enter", folder, *files, "--json")
    return Bench(study=folder, plan=plan, entered=answer.json, planted=planted)


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """A bench that made no mistake."""
    return entered(tmp_path_factory.mktemp("clean") / "study", plants=False)


@pytest.fixture(scope="module")
def doubtful(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """A bench that made each mistake once."""
    return entered(tmp_path_factory.mktemp("doubtful") / "study", plants=True)


def expected(bench: Bench) -> dict[str, tuple[dict[str, Any], tuple[object, ...]]]:
    """Give words of each doubt, what its evidence must name, and what a note must name."""
    p = bench.planted
    batch = {int(row["run"]): row["batch"] for row in bench.plan}
    controls = [int(row["run"]) for row in bench.plan if row["kind"] == "control"]
    pair, curves = sorted(p.copied), sorted(p.copied_curve)
    return {
        "lie further apart than repeatability": ({"run": p.torn}, ("--run", p.torn)),
        "have equal water uptake": (
            {"runs": f"{pair[0]}, {pair[1]}"}, ("--run", pair[1], "--response", "uptake"),
        ),
        "are equal at all 16 places": (
            {"runs": f"{curves[0]}, {curves[1]}"}, ("--run", curves[0]),
        ),
        "is below 0, the least that is possible": ({"run": p.below_zero}, ("--run", p.below_zero)),
        "has no logarithm": ({"run": p.lighter_when_wet}, ("--run", p.lighter_when_wet)),
        "came out more than 0.2 off the plan": (
            {"run": p.ph_off}, ("--batch", batch[p.ph_off]),
        ),
        "than the batch of 500 g": ({"run": p.not_closed}, ("--batch", batch[p.not_closed])),
        "of the control 'present formula' rises": (
            {"run": controls[-1]}, ("--run", controls[-1], "--response", "viscosity"),
        ),
        "The standard of day 3 has 92": ({"day": 3}, ("--day", 3)),
    }  # fmt: skip


def told(answer: Any) -> list[dict[str, Any]]:
    """Give the findings that are cautions."""
    return [one for one in answer["findings"] if one["level"] == "caution"]


def test_a_clean_bench_raises_no_doubt(clean: Bench) -> None:
    """Else nobody would read them."""
    check = done("check", clean.study, "--json").json

    assert told(clean.entered) == []
    assert not any("Doubts" in line["text"] for line in check["status"])


def test_each_doubt_is_told_once_when_it_comes_in(doubtful: Bench) -> None:
    """With its run, and the file and cell that it stands in."""
    cautions = told(doubtful.entered)

    for words, (evidence, _) in expected(doubtful).items():
        found = [one for one in cautions if words in one["what"]]
        assert len(found) == 1, (words, [one["what"] for one in cautions])
        assert evidence.items() <= found[0]["evidence"].items()
        assert found[0]["evidence"]["source"]
    assert len(cautions) == len(expected(doubtful))


def test_a_cell_is_named_where_there_is_one(doubtful: Bench) -> None:
    """The line and column of the table that it was entered from."""
    repeats = next(one for one in told(doubtful.entered) if "repeatability" in one["what"])

    assert "study-readings.csv" in repeats["evidence"]["source"]
    assert "viscosity" in repeats["evidence"]["source"]


@pytest.mark.parametrize("command", ["check", "fit"])
def test_check_and_fit_tell_each_once_more(doubtful: Bench, command: str) -> None:
    """Whoever did not enter the readings must see them, too."""
    findings = done(command, doubtful.study, "--json").json["findings"]

    for words in expected(doubtful):
        assert sum(words in one["what"] for one in findings) == 1, words


def test_notes_settle_them_all_and_change_no_number(doubtful: Bench) -> None:
    """Nothing is left out of a fit by it, and `back` opens the doubt again."""
    only = ("--only", "viscosity", "--json")
    fit = done("fit", doubtful.study, *only).json["responses"]["viscosity"]["runs"]
    for _, named in expected(doubtful).values():
        done("note", doubtful.study, *named, "--says", "stands", "--because", "looked up")
    check = done("check", doubtful.study)
    after = done("fit", doubtful.study, "--json").json
    torn = doubtful.planted.torn
    done("note", doubtful.study, "--run", torn, "--says", "back", "--because", "not sure")
    again = done("check", doubtful.study, "--json").json

    assert f"Doubts: {len(expected(doubtful))} settled by note." in check.out
    assert not any(
        words in one["what"] for words in expected(doubtful) for one in after["findings"]
    )
    assert after["responses"]["viscosity"]["runs"] == fit
    assert sum("repeatability" in one["what"] for one in again["findings"]) == 1

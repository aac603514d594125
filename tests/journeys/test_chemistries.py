"""Choosing among chemistries: each with its own dose range, or without a dose, all the way.

Everything is invented: additives by chemistry and function, truths, scatter.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from tests.journeys.conftest import Millbase
from tests.journeys.whole_way import WORKBOOK, done, runs_of

HEAD = """\
format = 1
[study]
title = "Invented: which chemistry, at which dose?"
seed = 11
[pigment]
name = "red iron oxide"
[millbase]
batch_g = 500.0
sample_g = 60.0
pigment_percent = 55.0
"""
RESPONSES = """\
[[response]]
name = "viscosity"
unit = "mPa·s"
per = "batch"
aim = "low"
best = 300
worst = 2500
scale = "log"
accept = { at_most = 1800 }
[[response]]
name = "gloss"
per = "batch"
aim = "high"
best = 75
worst = 25
"""
ENDS: Mapping[str, tuple[float, float] | None] = {
    "none": None, "sodium polyacrylate": (0.3, 0.9), "ammonium polyacrylate": (0.4, 1.2),
    "electrosteric": (0.8, 2.4), "multi-anchor": (1.0, 3.0),
}  # fmt: skip
HEIGHT = {
    "none": 7.6, "sodium polyacrylate": 6.5, "ammonium polyacrylate": 6.6, "electrosteric": 6.1,
    "multi-anchor": 6.45,
}  # fmt: skip
Row = Mapping[str, str]
Truth = Callable[[Row], tuple[float, float]]


def chemistries(levels: tuple[str, ...], *, spacing: str = "even") -> str:
    """Write the choice and the dose with a range at each chemistry that has one."""
    text = f'[[factor]]\nname = "chemistry"\nlevels = {list(levels)!r}\n'
    text += (
        f'[[factor]]\nname = "dose"\nrole = "dose"\nunit = "% on pigment"\nspacing = "{spacing}"\n'
    )
    text += "step = 0.01\n" if spacing == "even" else "step = 0.05\n"
    for level in levels:
        ends = ENDS[level]
        if ends is not None:
            text += f'[[factor.range]]\nwhen = {{ chemistry = "{level}" }}\n'
            text += f"low = {ends[0]}\nhigh = {ends[1]}\n"
    return text


PROCESS = """\
[[factor]]
name = "pH"
low = 8.0
high = 9.5
step = 0.05
[[factor]]
name = "grind time"
unit = "min"
low = 15
high = 45
"""


def by_chemistry(row: Row) -> tuple[float, float]:
    """Give ln viscosity and gloss: each chemistry is best at four fifths of its own range."""
    chemistry, pH, time = row["chemistry"], float(row["pH"]), float(row["grind time"])
    P, T = (pH - 8.75) / 0.75, (time - 30) / 15
    ends = ENDS[chemistry]
    viscosity = HEIGHT[chemistry] - 0.2 * T + 0.15 * (P - 0.2) ** 2
    gloss = 45.0 + 5 * T
    if ends is not None:
        D = (float(row["dose"]) - sum(ends) / 2) / ((ends[1] - ends[0]) / 2)
        viscosity += 0.3 * (D - 0.6) ** 2
        gloss += 6 * D - 4 * D * D
    return viscosity, gloss


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """A study that went all the way, and its truth."""

    folder: Path
    truth: Truth


def walk(
    folder: Path,
    brief: str,
    truth: Truth,
    *options: object,
    then: tuple[str, ...] = ("fit", "choose", "report"),
) -> Walk:
    """Go from the brief to the report, readings from a truth with a seeded scatter."""
    folder.mkdir()
    (folder / "study.toml").write_text(brief, encoding="utf-8")
    done("check", folder)
    done("plan", folder, *options)
    done("sheet", folder)
    rng = np.random.default_rng(5)
    lines = ["run,viscosity,gloss"]
    for run, row in runs_of(folder).items():
        viscosity, gloss = truth(row)
        noise = rng.standard_normal(2)
        lines.append(
            f"{run},{math.exp(viscosity + 0.03 * noise[0]):.6g},{gloss + 0.5 * noise[1]:.5g}"
        )
    bench = folder / "bench.csv"
    bench.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done("enter", folder, bench)
    for command in then:
        done(command, folder)
    return Walk(folder=folder, truth=truth)


@pytest.fixture(scope="module")
def lacking(tmp_path_factory: pytest.TempPathFactory) -> Walk:
    """Four chemistries, one of them no additive at all, × pH × grind time."""
    levels = ("none", "sodium polyacrylate", "electrosteric", "multi-anchor")
    folder = tmp_path_factory.mktemp("chemistries") / "study"
    return walk(
        folder, HEAD + chemistries(levels) + PROCESS + RESPONSES, by_chemistry,
        "--layout", "central composite",
    )  # fmt: skip


def _hand_made_matrix(rows: list[dict[str, str]], levels: tuple[str, ...]) -> np.ndarray:
    """Write the quadratic model out by hand: every chemistry has a curve of its own in dose."""
    X = []
    for row in rows:
        P, T = (float(row["pH"]) - 8.75) / 0.75, (float(row["grind time"]) - 30) / 15
        at = [float(row["chemistry"] == level) for level in levels]
        ends = ENDS[row["chemistry"]]
        D = 0.0
        if ends is not None:
            D = (float(row["dose"]) - sum(ends) / 2) / ((ends[1] - ends[0]) / 2)
        dosed = [a for a, level in zip(at, levels, strict=True) if ENDS[level] is not None]
        X.append([*at, *(a * P for a in at), *(a * T for a in at), P * T, P * P, T * T,
                  *(a * D for a in dosed), *(a * D * P for a in dosed),
                  *(a * D * T for a in dosed), *(a * D * D for a in dosed)])  # fmt: skip
    return np.array(X)


def test_each_chemistry_runs_over_its_own_range_and_none_without_a_dose(lacking: Walk) -> None:
    """The plan holds blanks where the level lacks the dose, and nowhere else."""
    for row in runs_of(lacking.folder).values():
        ends = ENDS[row["chemistry"]]
        assert (row["dose"] == "") == (ends is None)
        if ends is not None:
            assert ends[0] <= float(row["dose"]) <= ends[1]


def test_the_bench_weighs_each_chemistry_by_name_and_none_at_all(lacking: Walk) -> None:
    """Grams of active matter under the name of the chemistry, on 275 g of pigment."""
    sheet = openpyxl.load_workbook(lacking.folder / WORKBOOK)["Weigh-out"]
    runs = runs_of(lacking.folder)
    weighed: dict[str, dict[str, float]] = {}
    for cells in sheet.iter_rows(min_row=4, values_only=True):
        if isinstance(cells[1], str) and cells[1].endswith("(active matter)"):
            weighed.setdefault(str(cells[0]), {})[cells[1]] = float(str(cells[3]))

    for number, row in runs.items():
        lines = weighed.get(f"batch {number}", {})
        if row["dose"]:
            name = f"{row['chemistry']} (active matter)"
            assert lines == {name: pytest.approx(2.75 * float(row["dose"]))}
        else:
            assert lines == {}


def test_the_fit_agrees_with_least_squares_on_a_matrix_made_by_hand(
    lacking: Walk, millbase: Millbase
) -> None:
    """Another parametrisation of the same surface: fitted values agree to rounding."""
    fitted = millbase("fit", lacking.folder, "--json").json["responses"]["viscosity"]
    runs = runs_of(lacking.folder)
    levels = ("none", "sodium polyacrylate", "electrosteric", "multi-anchor")
    rows = [runs[entry["run"]] for entry in fitted["runs"]]
    X = _hand_made_matrix(rows, levels)
    y = np.array([entry["observed"] for entry in fitted["runs"]])
    b, rss, rank, _ = np.linalg.lstsq(X, y, rcond=None)

    assert rank == X.shape[1] == len(fitted["coefficients"])
    np.testing.assert_allclose([r["fitted"] for r in fitted["runs"]], X @ b, rtol=1e-9)
    assert fitted["residual_sd"] == pytest.approx(math.sqrt(rss[0] / (len(y) - rank)))
    # Levels at their range middles are the first columns: their differences are the comparisons.
    for one in fitted["comparisons"]:
        if one["value"] is None and one["estimate"] is not None:
            i, j = (levels.index(level) for level in one["levels"])
            assert one["estimate"] == pytest.approx(b[i] - b[j], rel=1e-7)


def test_comparisons_at_equal_real_value_stand_beside_the_range_middles(
    lacking: Walk, millbase: Millbase
) -> None:
    """At the shared middle of both ranges, as two predictions say it; or why there is none."""
    out = millbase("fit", lacking.folder)
    fitted = millbase("fit", lacking.folder, "--json").json["responses"]["gloss"]
    found = {(*one["levels"], one["setting"]): one for one in fitted["comparisons"]}
    shared = found["electrosteric", "multi-anchor", "dose"]
    values = [
        millbase("predict", lacking.folder, "--json", "--at", f"chemistry={level}",
                 "--at", "dose=1.7", "--at", "pH=8.75", "--at", "grind time=30")
        .json["rows"][0]["predictions"]["gloss"]["value"]
        for level in ("electrosteric", "multi-anchor")
    ]  # fmt: skip

    assert shared["value"] == pytest.approx(1.7)
    assert shared["values"] == pytest.approx(values)
    assert shared["estimate"] == pytest.approx(values[0] - values[1])
    assert found["none", "electrosteric", "dose"]["why_not"] == "none without dose"
    assert "no dose" in found["sodium polyacrylate", "multi-anchor", "dose"]["why_not"]
    assert "between the range middles of 'dose' (none: without it)" in " ".join(out.out.split())


def test_predict_takes_a_level_without_its_dose_and_says_what_is_wrong(
    lacking: Walk, millbase: Millbase
) -> None:
    """No dose where there is none; a dose where one is due, inside its range or named."""
    at = ("--at", "pH=9", "--at", "grind time=30")
    none = millbase("predict", lacking.folder, *at, "--at", "chemistry=none", "--json")
    dosed = millbase("predict", lacking.folder, *at, "--at", "chemistry=none", "--at", "dose=1")
    open_ = millbase("predict", lacking.folder, *at, "--at", "chemistry=multi-anchor")
    far = millbase(
        "predict", lacking.folder, *at, "--at", "chemistry=multi-anchor", "--at", "dose=0.5"
    )
    truth = by_chemistry({"chemistry": "none", "pH": "9", "grind time": "30"})[0]

    assert none.json["rows"][0]["settings"]["dose"] is None
    value = none.json["rows"][0]["predictions"]["viscosity"]["value"]
    assert value == pytest.approx(math.exp(truth), rel=0.05)
    assert (dosed.status, open_.status, far.status) == (2, 2, 0)
    assert "chemistry 'none' lacks it" in dosed.err
    assert "dose 1 to 3 % on pigment at multi-anchor" in open_.err
    assert "dose of multi-anchor runs from 1 to 3" in " ".join(far.out.split())


def _truth_at_best(level: str) -> float:
    """Search the truth itself over a fine grid: the best overall desirability of a chemistry."""
    ends = ENDS[level]
    doses = [math.nan] if ends is None else np.linspace(*ends, 61)
    best = 0.0
    for dose, pH, time in product(doses, np.linspace(8, 9.5, 31), (15.0, 30.0, 45.0)):
        row = {"chemistry": level, "dose": str(dose), "pH": str(pH), "grind time": str(time)}
        viscosity, gloss = by_chemistry(row)
        each = ((2500 - math.exp(viscosity)) / 2200, (gloss - 25) / 50)
        best = max(best, math.sqrt(math.prod(min(max(d, 0.0), 1.0) for d in each)))
    return best


def test_choose_finds_the_best_of_the_truth_and_ranks_every_chemistry(
    lacking: Walk, millbase: Millbase
) -> None:
    """Against the truth on a grid: scatter moves desirability by a hundredth or two."""
    found = millbase("choose", lacking.folder, "--json").json
    shown = millbase("choose", lacking.folder)
    by_level = {one["level"]: one for one in found["by_level"]}
    truth = {level: _truth_at_best(level) for level in by_level}

    assert found["settings"]["chemistry"] == max(truth, key=lambda level: truth[level])
    for level, one in by_level.items():
        assert one["desirability"] == pytest.approx(truth[level], abs=0.02)
        assert ("dose" in one["settings"]) == (ENDS[level] is not None)
    assert "Each chemistry at its best:" in shown.out


def test_settings_in_json_lie_cleanly_on_their_steps(lacking: Walk, millbase: Millbase) -> None:
    """10.000000000000002 is no setting of a bench."""
    found = millbase("choose", lacking.folder, "--json").json
    for recipe in (found, *found["by_level"], *found["alternatives"]):
        for name, step in (("dose", 0.01), ("pH", 0.05)):
            value = recipe["settings"].get(name)
            assert value is None or len(repr(value)) <= 6
            assert value is None or value == pytest.approx(round(value / step) * step)


def test_the_report_names_every_chemistry_with_its_own_range(lacking: Walk) -> None:
    """Pairs of levels, each level at its best, and its own −1 and +1."""
    tables = {path.stem for path in (lacking.folder / "results" / "tables").glob("*.csv")}
    coding = (lacking.folder / "results" / "tables" / "coding.csv").read_text(encoding="utf-8")
    page = (lacking.folder / "results" / "report.html").read_text(encoding="utf-8")

    assert {"viscosity-levels", "gloss-levels", "chemistry-each-at-its-best"} <= tables
    assert '"dose, chemistry none",the level lacks it' in coding
    assert "1 % on pigment,3 % on pigment" in coding
    assert "between the range middles" in page


def test_grams_of_a_chemistry_become_its_dose(
    lacking: Walk, millbase: Millbase, tmp_path: Path
) -> None:
    """The workbook comes back with 10 % too much of one chemistry: the fit takes the dose made."""
    book = openpyxl.load_workbook(lacking.folder / WORKBOOK)
    runs = runs_of(lacking.folder)
    number = next(n for n, row in runs.items() if row["chemistry"] == "electrosteric")
    for row in book["Weigh-out"].iter_rows(min_row=4):
        if row[0].value == f"batch {number}" and str(row[1].value).startswith("electrosteric"):
            row[5].value = round(float(str(row[3].value)) * 1.1, 4)
    filled = tmp_path / "weighed.xlsx"
    book.save(filled)
    before = millbase("fit", lacking.folder, "--json").json["responses"]["viscosity"]
    answer = millbase("enter", lacking.folder, filled)
    after = millbase("fit", lacking.folder, "--json").json["responses"]["viscosity"]

    assert answer.status == 0, answer.err
    leverage = [next(r for r in f["runs"] if r["run"] == number) for f in (before, after)]
    assert leverage[0]["fitted"] != leverage[1]["fitted"]


OTHERS: Mapping[str, tuple[str, Truth, tuple[object, ...]]] = {
    "package by neutraliser": (
        HEAD
        + """\
[package]
[[package.additive]]
name = "wetting agent"
low = 0.10
high = 0.40
active_percent = 60.0
[[package.additive]]
name = "dispersant"
low = 0.40
high = 0.80
active_percent = 40.0
[[package.additive]]
name = "hydrophobic co-additive"
low = 0.00
high = 0.30
active_percent = 30.0
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
[[factor.range]]
when = { neutraliser = "ammonia" }
low = 1.0
high = 2.4
[[factor.range]]
when = { neutraliser = "sodium hydroxide" }
low = 0.6
high = 1.6
[[factor]]
name = "neutraliser"
levels = ["ammonia", "sodium hydroxide"]
[[factor]]
name = "pH"
low = 8.0
high = 9.5
"""
        + RESPONSES,
        lambda row: (
            7 * float(row["wetting agent"]) + 6 * float(row["dispersant"])
            + 6.5 * float(row["hydrophobic co-additive"]) + 0.1 * (float(row["pH"]) - 8.75) ** 2
            + (0.2 if row["neutraliser"] == "ammonia" else 0.0),
            40 + 10 * float(row["dispersant"]) + 3 * float(row["dose"]),
        ),
        ("--layout", "optimal", "--starts", "2"),
    ),
    "resin in the grind": (
        HEAD
        + """\
[[factor]]
name = "grind type"
levels = ["resin-free", "resin-containing"]
[[factor]]
name = "resin share"
unit = "% of millbase"
[[factor.range]]
when = { "grind type" = "resin-containing" }
low = 2.0
high = 8.0
[[factor]]
name = "order of addition"
levels = ["dispersant first", "pigment first"]
"""
        + RESPONSES,
        lambda row: (
            6.3 + (0.05 * float(row["resin share"]) if row["resin share"] else 0.0)
            + (0.2 if row["order of addition"] == "pigment first" else 0.0),
            45 + (12.0 if row["resin share"] else 0.0),
        ),
        ("--layout", "full factorial", "--replicates", "4"),
    ),
    "steps, logs, a limit, a forbid": (
        HEAD
        + chemistries(("sodium polyacrylate", "electrosteric", "none"), spacing="log")
        + """\
[[factor]]
name = "bead diameter"
unit = "mm"
levels = [0.6, 0.8, 1.2]
[[factor]]
name = "grind time"
unit = "min"
low = 15
high = 45
step = 5
[[limit]]
sum = { dose = 1.0, "grind time" = 0.04 }
at_most = 4.0
because = "foam"
[[forbid]]
settings = { chemistry = "electrosteric", "bead diameter" = 1.2 }
"""
        + RESPONSES,
        lambda row: (
            HEIGHT[row["chemistry"]] - 0.01 * float(row["grind time"])
            - (0.2 * math.log(float(row["dose"])) if row["dose"] else 0.0),
            50 - 3 * float(row["bead diameter"]) + 0.1 * float(row["grind time"]),
        ),
        ("--layout", "optimal", "--starts", "2"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OTHERS)
def test_other_studies_go_the_whole_way(name: str, tmp_path: Path, millbase: Millbase) -> None:
    """From the brief to a compromise that lies inside what the brief allows."""
    brief, truth, options = OTHERS[name]
    made = walk(tmp_path / "study", brief, truth, *options, then=("fit",))
    found = millbase("choose", made.folder, "--json").json
    again = [f"{n}={v}" for n, v in found["settings"].items()]
    at = [word for one in again for word in ("--at", one)]
    predicted = millbase("predict", made.folder, "--json", *at)

    assert predicted.status == 0, predicted.err
    assert predicted.json["rows"][0]["predictions"]["gloss"]["inside"]
    assert not [f for f in predicted.json["findings"] if "Outside" in f["what"]]


def test_a_table_with_chemistries_is_adopted_with_blanks_and_zeros(
    tmp_path: Path, millbase: Millbase
) -> None:
    """A table writes 0 where there is no additive; a dose there would be left aside, and said."""
    brief = HEAD + chemistries(("none", "electrosteric", "multi-anchor")) + PROCESS + RESPONSES
    study = tmp_path / "study"
    study.mkdir()
    (study / "study.toml").write_text(brief, encoding="utf-8")
    rng = np.random.default_rng(9)
    rows = []
    for level in ("none", "electrosteric", "multi-anchor"):
        ends = ENDS[level]
        for dose, pH, time in product(
            [0.0] if ends is None else np.linspace(*ends, 3), (8.0, 8.75, 9.5), (15, 30, 45)
        ):
            row = {
                "chemistry": level,
                "dose": f"{dose:g}",
                "pH": f"{pH:g}",
                "grind time": f"{time}",
            }
            viscosity, gloss = by_chemistry(row)
            row["viscosity"] = f"{math.exp(viscosity + 0.03 * rng.standard_normal()):.5g}"
            row["gloss"] = f"{gloss + 0.5 * rng.standard_normal():.5g}"
            rows.append(row)
    table = tmp_path / "old table.csv"
    with table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    adopted = millbase("adopt", table, study, "--json")
    fitted = millbase("fit", study, "--json").json["responses"]["viscosity"]
    labels = {row["label"]: row["estimate"] for row in fitted["coefficients"]}

    assert adopted.status == 0, adopted.err
    said = [f for f in adopted.json["findings"] if "the level lacks 'dose'" in f["what"]]
    assert [f["level"] for f in said] == ["note"]
    assert all(row["dose"] == "" for row in runs_of(study).values() if row["chemistry"] == "none")
    # (7.6 + 0.3·0.36 …): the truth's height of none over the mean of the three at their middles.
    heights = {level: HEIGHT[level] + (0.108 if ENDS[level] else 0.0)
               for level in ("none", "electrosteric", "multi-anchor")}  # fmt: skip
    mean = sum(heights.values()) / 3
    assert labels["chemistry (none)"] == pytest.approx(heights["none"] - mean, abs=0.03)

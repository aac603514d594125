"""Choosing among chemistries: each with its own dose range, or without a dose, all the way.

Everything is invented: additives by chemistry and function, truths, scatter.
"""

from __future__ import annotations

import math
import shutil
from itertools import product
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from tests.journeys.chemistry_studies import (
    ENDS,
    HEAD,
    PROCESS,
    RESPONSES,
    Walk,
    by_chemistry,
    chemistries,
    walk,
)
from tests.journeys.conftest import Millbase
from tests.journeys.whole_way import WORKBOOK, runs_of


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


def test_the_fit_agrees_with_least_squares_on_a_matrix_made_by_hand(lacking: Walk) -> None:
    """Another parametrisation of the same surface: fitted values agree to rounding."""
    fitted = lacking.record("fit")["responses"]["viscosity"]
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
    fitted = lacking.record("fit")["responses"]["gloss"]
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
    assert "between the range middles of 'dose' (none: without it)" in " ".join(
        lacking.said["fit"].split()
    )


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


def test_choose_finds_the_best_of_the_truth_and_ranks_every_chemistry(lacking: Walk) -> None:
    """Against the truth on a grid: scatter moves desirability by a hundredth or two."""
    found = lacking.record("choose")
    by_level = {one["level"]: one for one in found["by_level"]}
    truth = {level: _truth_at_best(level) for level in by_level}

    assert found["settings"]["chemistry"] == max(truth, key=lambda level: truth[level])
    for level, one in by_level.items():
        assert one["desirability"] == pytest.approx(truth[level], abs=0.02)
        assert ("dose" in one["settings"]) == (ENDS[level] is not None)
    assert "Each chemistry at its best:" in lacking.said["choose"]


def test_settings_in_json_lie_cleanly_on_their_steps(lacking: Walk) -> None:
    """10.000000000000002 is no setting of a bench."""
    found = lacking.record("choose")
    for recipe in (found, *found["by_level"], *found["alternatives"]):
        for name, step in (("dose", 0.01), ("pH", 0.05)):
            value = recipe["settings"].get(name)
            assert value is None or len(repr(value)) <= 6
            assert value is None or value == pytest.approx(round(value / step) * step)


def test_grams_of_a_chemistry_become_its_dose(
    lacking: Walk, millbase: Millbase, tmp_path: Path
) -> None:
    """The workbook comes back with 10 % too much of one chemistry: the fit takes the dose made."""
    study = Path(shutil.copytree(lacking.folder, tmp_path / "study"))
    book = openpyxl.load_workbook(study / WORKBOOK)
    runs = runs_of(study)
    number = next(n for n, row in runs.items() if row["chemistry"] == "electrosteric")
    for row in book["Weigh-out"].iter_rows(min_row=4):
        if row[0].value == f"batch {number}" and str(row[1].value).startswith("electrosteric"):
            row[5].value = round(float(str(row[3].value)) * 1.1, 4)
    filled = tmp_path / "weighed.xlsx"
    book.save(filled)
    before = lacking.record("fit")["responses"]["viscosity"]
    answer = millbase("enter", study, filled)
    after = millbase("fit", study, "--only", "viscosity", "--json").json["responses"]["viscosity"]

    assert answer.status == 0, answer.err
    leverage = [next(r for r in f["runs"] if r["run"] == number) for f in (before, after)]
    assert leverage[0]["fitted"] != leverage[1]["fitted"]

"""Confirmation batches of ratings and counts: held against their limits, as they are read."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from doe.steps.adopt import adopt_table
from doe.steps.agree import AgreeOptions, agree_study
from doe.steps.check import check_study
from doe.steps.confirm import ConfirmOptions, confirm_study
from doe.steps.enter import enter_files

BRIEF = """\
format = 1
[study]
title = "invented"
seed = 3
[[factor]]
name = "dose"
low = 0.8
high = 2.4
[[response]]
name = "viscosity"
unit = "mPa·s"
aim = "low"
best = 200
worst = 900
[[response]]
name = "settling"
kind = "rating"
aim = "low"
best = 0
worst = 4
[[response]]
name = "craters"
kind = "count"
aim = "low"
best = 0
worst = 30
"""
AT = ("dose=2.2",)


@pytest.fixture(scope="module")
def adopted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twenty-four runs of one setting."""
    folder = tmp_path_factory.mktemp("as-read")
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    rng = np.random.default_rng(4)
    lines = ["run,dose,viscosity,settling,craters"]
    for run, dose in enumerate(np.tile(np.linspace(0.8, 2.4, 8), 3), start=1):
        y = 800 - 200 * dose + rng.normal(0, 10)
        rating = int(np.clip(round(4 - 1.5 * dose + rng.normal(0, 0.8)), 0, 4))
        lines.append(f"{run},{dose:.3f},{y:.1f},{rating},{rng.poisson(12 / dose)}")
    (folder / "table.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(folder / "table.csv", folder)
    return folder


def _confirmed(adopted: Path, to: Path, limits: str, rows: tuple[str, str]) -> Path:
    """Plan two batches at one dose and enter what they gave."""
    folder = Path(shutil.copytree(adopted, to / "study"))
    brief = BRIEF.replace('kind = "rating"', f'kind = "rating"\n{limits}')
    (folder / "study.toml").write_text(brief, encoding="utf-8")
    confirm_study(folder, ConfirmOptions(batches=2, days=1, at=AT))
    file = folder / "new.csv"
    heads = "run,viscosity,settling,craters"
    file.write_text("\n".join((heads, f"25,{rows[0]}", f"26,{rows[1]}")) + "\n", "utf-8")
    enter_files(folder, [file])
    return folder


@pytest.mark.parametrize("limits", ["", "accept = { at_most = 2 }"])
def test_classes_and_counts_of_nought_are_taken_as_read(
    limits: str, adopted: Path, tmp_path: Path
) -> None:
    """A rating of 0 and a count of 0 lie on no logit and no log; every command goes on."""
    folder = _confirmed(adopted, tmp_path, limits, ("360,0,0", "363,1,3"))
    told = confirm_study(folder, ConfirmOptions(judge=True)).contract()
    settling, craters = (told["judged"]["responses"][name] for name in ("settling", "craters"))

    assert told["verdict"] == "confirmed"
    assert (settling["mean"], craters["mean"]) == (0.5, 1.5)
    assert settling["inside"] is None, "no interval judges it"
    (entry,) = json.loads((folder / "confirmation.json").read_text("utf-8"))["entries"]
    classes = next(one for one in entry["responses"] if one["response"] == "settling")
    assert 0.2 < classes["value"] < 2.0, "a class, which the truth puts at 0.7, not a chance"
    assert classes["value_is"] == "mean"
    check_study(folder)
    agree_study(folder, AgreeOptions(propose=True, at=AT, because="thin"), today=date(2026, 3, 2))


def test_a_class_beyond_its_limit_fails_the_round(adopted: Path, tmp_path: Path) -> None:
    """The limit is in classes; one batch beyond it is enough."""
    folder = _confirmed(adopted, tmp_path, "accept = { at_most = 2 }", ("360,0,2", "363,3,3"))
    told = confirm_study(folder, ConfirmOptions(judge=True)).contract()

    assert told["verdict"] == "not confirmed"
    assert told["judged"]["responses"]["settling"]["within"] is False

"""Curves off an instrument through the real command: entered, kept, computed, fitted."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from tests.journeys.conftest import Millbase

BRIEF = """
format = 1
[study]
title = "Curves (invented)"
[[factor]]
name = "dose"
low = 0.8
high = 2.4
[[factor]]
name = "pH"
low = 8.0
high = 9.5
[[response]]
name = "yield stress"
from = "yield stress"
with = { model = "Bingham" }
scale = "identity"
[[response]]
name = "colour strength"
from = "colour strength"
scale = "identity"
"""
NM = np.arange(400, 701, 20)


@pytest.fixture
def study(tmp_path: Path, millbase: Millbase) -> Path:
    """A planned study with flow curves of yield 1 + run / 10, and tints equal to the standard."""
    folder = tmp_path / "curves"
    folder.mkdir()
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    assert millbase("plan", folder, "--layout", "central composite").status == 0
    return folder


def _runs(folder: Path) -> list[int]:
    with (folder / "plan.csv").open(encoding="utf-8", newline="") as file:
        return [int(row["run"]) for row in csv.DictReader(file)]


def _flow_file(folder: Path) -> Path:
    rates = (1, 5, 10, 50, 100, 200)
    lines = ["run,shear rate (1/s),shear stress (Pa)"]
    lines += [f"{run},{g},{1 + run / 10 + 0.2 * g:.6f}" for run in _runs(folder) for g in rates]
    file = folder.parent / "flow.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def _colour_file(folder: Path) -> Path:
    reflectance = 8 + 55 / (1 + np.exp(-(NM - 590) / 18))
    cells = ";".join(f"{value:.3f}".replace(".", ",") for value in reflectance)
    names = ["standard", *(f"run {run}" for run in _runs(folder))]
    lines = ["name;" + ";".join(f"{nm} nm" for nm in NM), *(f"{name};{cells}" for name in names)]
    file = folder.parent / "colour.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def test_curves_are_kept_and_give_their_responses(study: Path, millbase: Millbase) -> None:
    """A study with both kinds of curve can be read again, and the numbers are those that made it.

    A tint that reflects as the standard does is 100 % strong by definition.
    """
    entered = millbase("enter", study, _flow_file(study), _colour_file(study), "--json")
    again = millbase("enter", study, _flow_file(study), "--json")
    fitted = millbase("fit", study, "--json").json["responses"]
    made = {one["run"]: one["observed"] for one in fitted["yield stress"]["runs"]}

    assert entered.status == 0
    assert again.json["curves"]["flow curve"]["added"] == 0
    assert millbase("check", study).status == 0
    assert made == pytest.approx({run: 1 + run / 10 for run in _runs(study)}, rel=1e-4)
    assert [one["observed"] for one in fitted["colour strength"]["runs"]] == pytest.approx(
        [100.0] * len(_runs(study))
    )


def test_another_curve_of_a_run_waits_for_a_word(study: Path, millbase: Millbase) -> None:
    """A correction is listed and taken only on request."""
    file = _flow_file(study)
    millbase("enter", study, file)
    file.write_text(
        file.read_text(encoding="utf-8").replace("1,1,1.3", "1,1,1.4"), encoding="utf-8"
    )
    refused = millbase("enter", study, file)
    taken = millbase("enter", study, file, "--correct", "--because", "read off wrongly", "--json")

    assert refused.status == 2
    assert "another curve of run 1" in refused.err
    assert taken.json["curves"]["flow curve"]["corrected"] == 1

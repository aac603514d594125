"""`fit` and `predict` of a study whose samples share mill batches."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from doe.cli.app import run
from doe.steps.adopt import adopt_table

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
[[response]]
name = "viscosity"
unit = "mPa·s"
scale = "log"
aim = "low"
best = 200
worst = 900
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight batches of three samples, adopted from a table."""
    folder = tmp_path_factory.mktemp("batches")
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    rng = np.random.default_rng(3)
    lines = ["run,batch,dose,grind time,viscosity"]
    for number, dose in enumerate((0.8, 1.6, 2.4, 0.8, 1.6, 2.4, 1.2, 2.0), start=1):
        shift = rng.normal(0, 0.1)
        for time in (15, 30, 45):
            y = np.exp(7 - 0.3 * dose - 0.01 * time + shift + rng.normal(0, 0.05))
            lines.append(f"{len(lines)},{number},{dose},{time},{y:.1f}")
    table = folder / "table.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(table, folder)
    return folder


def _printed(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert run(list(words)) == 0
    return capsys.readouterr().out


def test_the_contract_names_strata_and_components(
    study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every test with its stratum and the df of its error; NaN nowhere."""
    text = _printed(capsys, "fit", str(study), "--model", "quadratic", "--json")
    found: dict[str, Any] = json.loads(text)["responses"]["viscosity"]
    rows = {row["source"]: row for row in found["anova"] if row["kind"] == "partial"}

    assert found["method"] == "reml"
    assert found["strata"] == ["batch", "residual"]
    assert [row["stratum"] for row in found["variance_components"]] == ["batch", "residual"]
    wanted = {"stratum", "variance", "sd", "interval", "df", "is_zero"}
    assert wanted <= set(found["variance_components"][0])
    assert rows["dose"]["stratum"] == "batch"
    assert rows["dose"]["den_df"] == pytest.approx(5)
    assert rows["grind time"]["den_df"] == pytest.approx(13)
    assert [row["stratum"] for row in found["lack_of_fit"]] == ["batch", "residual"]


def test_the_screen_shows_what_scatters(study: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In words and in a table, with df and stratum of each term."""
    text = _printed(capsys, "fit", str(study), "--model", "quadratic")

    assert "Batches differ by ± 8.5 %, runs of one batch by ± 5.1 %." in text
    assert "told by" in text
    assert "predicted with each batch left out" in " ".join(text.split())


def test_a_prediction_says_what_a_new_run_is(
    study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A new batch."""
    text = _printed(
        capsys, "predict", str(study), "--at", "dose=1.6", "--at", "grind time=30", "--json"
    )
    found = json.loads(text)["rows"][0]["predictions"]["viscosity"]

    assert found["predict_for"] == "one new run in a new batch"
    low, high = found["run_interval"]
    assert low < found["mean_interval"][0] < found["mean_interval"][1] < high

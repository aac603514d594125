"""A split-plot whose samples gel, a rating and a count: adopt, fit, predict, choose, report."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from doe.cli.show_models import show_fit
from doe.steps.fit import FitOutcome, fit_study
from doe.steps.model_choice import FitOptions
from doe.steps.results import json_bytes
from tests.journeys.conftest import Millbase, run_millbase

BRIEF = """format = 1
[study]
title = "off the scale"
[[factor]]
name = "dose"
unit = "%"
low = 0.8
high = 2.4
[[factor]]
name = "pH"
low = 8.0
high = 9.5
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
best = 300
worst = 3000
[[response]]
name = "specks"
kind = "rating"
aim = "low"
best = 1
worst = 4
accept = { at_most = 2 }
[[response]]
name = "craters"
kind = "count"
aim = "low"
best = 2
worst = 20
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve batches, three grind times each; the instrument ends at 1100 mPa·s."""
    home = tmp_path_factory.mktemp("off")
    rng = np.random.default_rng(3)
    rows: list[list[object]] = []
    for batch, (dose, ph) in enumerate([(d, p) for p in (8.0, 9.5) for d in (0.8, 2.4)] * 3):
        shift = rng.normal(0, 0.3)
        for time in (15, 30, 45):
            z = 6.5 + 0.625 * (dose - 1.6) + 0.4 * (ph - 8.75) - 0.02 * (time - 30)
            z += shift + rng.normal(0, 0.15)
            read = ">1100" if z > np.log(1100) else round(float(np.exp(z)), 1)
            rating = int(np.digitize(2 * (z - 6.5) + rng.logistic(), [-1.5, 0, 1.5])) + 1
            rows.append(
                [len(rows) + 1, batch + 1, dose, ph, time, read, rating, rng.poisson(np.exp(z - 4))]
            )
    with (home / "table.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(
            ["run", "batch", "dose", "pH", "grind time", "viscosity", "specks", "craters"]
        )
        writer.writerows(rows)
    (home / "study").mkdir()
    (home / "study" / "study.toml").write_text(BRIEF, encoding="utf-8")
    assert run_millbase("adopt", home / "table.csv", home / "study").status == 0
    return home / "study"


@pytest.fixture(scope="module")
def fitted(study: Path) -> FitOutcome:
    """What `fit --model linear` prints, with `--json` and without, from one fit."""
    return fit_study(study, FitOptions(model="linear"))


def test_fit_says_family_method_strata_and_what_was_off_the_scale(fitted: FitOutcome) -> None:
    """DESIGN.md, section 4, with what only a likelihood knows beside it."""
    found = json.loads(json_bytes(fitted.contract()))["responses"]
    told = {name: (one["family"], one["method"]) for name, one in found.items()}
    assert told == {
        "viscosity": ("censored", "ml"), "specks": ("ordinal", "ml"), "craters": ("count", "ml"),
    }  # fmt: skip
    assert found["viscosity"]["strata"] == ["batch", "residual"]
    strata = [row["stratum"] for row in found["viscosity"]["variance_components"]]
    assert strata == ["batch", "residual"]
    off = found["viscosity"]["likelihood"]["off_scale"]
    assert len(off) > 4
    assert all(one["flag"] == "above" and one["ends"] == [[1100.0, None]] for one in off)
    assert found["specks"]["likelihood"]["classes"]["accepted"] == [True, True, False, False]
    assert found["craters"]["likelihood"]["more_scatter"]["p"] <= 0.5


def test_the_screen_shows_what_scatters_and_what_would_mislead(fitted: FitOutcome) -> None:
    """In the words of the bench."""
    said = " ".join(show_fit(fitted).split())
    assert "Batches differ by ±" in said
    assert "A fit that leaves these runs out would mislead" in said
    assert "probability of the classes 1, 2" in said
    assert "as Poisson" in said or "as negative binomial" in said


def test_choose_takes_the_probability_of_a_rating_as_its_desirability(study: Path) -> None:
    """DESIGN.md, section 5, "Desirability"."""
    chosen = run_millbase("choose", study, "--json").json
    specks = chosen["predictions"]["specks"]
    assert 0.0 < specks["value"] < 1.0
    assert specks["desirability"] == pytest.approx(specks["value"], rel=1e-9)
    low, high = chosen["predictions"]["craters"]["run_interval"]
    assert low == int(low)
    assert high == int(high)


def test_smaller_models_and_the_report_go_on(study: Path, millbase: Millbase) -> None:
    """Nothing after the fit stops at another family."""
    assert millbase("fit", study, "--model", "linear", "--reduce", "--json").status == 0
    assert millbase("report", study).status == 0

"""Cost and VOC from the recipe, beside responses that are read, from the brief to the report."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest

from analysis.choice.desirability import aims_of, desirability, overall_desirability
from doe.recipe.composition import compose
from doe.steps.session import open_study
from tests.journeys.conftest import Millbase, run_millbase

BRIEF = """
format = 1
[study]
title = "What thins the mill base without making the paint dear"
seed = 7
[pigment]
name = "red iron oxide"
density_g_per_ml = 5.0
price_per_kg = 2.4
[millbase]
batch_g = 500.0
pigment_percent = 55.0
balance_price_per_kg = 0.002
[[millbase.ingredient]]
name = "defoamer"
percent = 0.3
active_percent = 100.0
voc_percent = 0.0
density_g_per_ml = 0.95
price_per_kg = 6.0
kind = "other"
[letdown]
millbase_g = 25.0
[[letdown.ingredient]]
name = "acrylic dispersion"
grams = 75.0
active_percent = 48.0
voc_percent = 0.5
density_g_per_ml = 1.05
price_per_kg = 1.6
kind = "binder"
[package]
[[package.additive]]
name = "wetting agent"
low = 0.1
high = 0.4
active_percent = 70.0
solvent_percent = 15.0
density_g_per_ml = 1.03
price_per_kg = 5.5
step = 0.1
[[package.additive]]
name = "dispersant"
low = 0.3
high = 0.8
active_percent = 40.0
voc_percent = 2.0
density_g_per_ml = 1.08
price_per_kg = 3.8
step = 0.1
[[package.additive]]
name = "hydrophobic co-additive"
low = 0.1
high = 0.4
active_percent = 35.0
voc_percent = 8.0
density_g_per_ml = 1.04
price_per_kg = 9.0
step = 0.1
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
low = 0.8
high = 3.2
spacing = "log"
step = 0.4
[[factor]]
name = "pH"
low = 8.0
high = 9.5
step = 0.5
[[factor]]
name = "mill temperature"
unit = "°C"
low = 25
high = 45
noise = true
production = { mean = 35, sd = 4 }
[[response]]
name = "viscosity"
unit = "mPa·s"
aim = "low"
best = 300
worst = 600
scale = "log"
[[response]]
name = "water uptake"
unit = "%"
aim = "low"
best = 4
worst = 18
[[response]]
name = "cost"
unit = "EUR/L"
from = "cost per litre"
aim = "low"
best = 1.80
worst = 1.95
accept = { at_most = 1.828 }
[[response]]
name = "VOC"
from = "VOC of the recipe"
aim = "low"
best = 4.5
worst = 7.0
"""
SHARES = ("wetting agent", "dispersant", "hydrophobic co-additive")


def truth(w: float, d: float, h: float, dose: float, ph: float, temperature: float) -> list[float]:
    """Give readings: more additive thins and takes up water, the hydrophobe keeps it out."""
    viscosity = 420 * np.exp(
        0.8 * (np.log(dose / 2.2)) ** 2 - 0.9 * (w - 0.2) + 0.5 * (h - 0.25)
        + 0.25 * (ph - 8.9) ** 2 - 0.01 * (temperature - 35)
    )  # fmt: skip
    return [float(viscosity), 5 + 2.2 * dose + 9 * w - 6 * h + 0.02 * (temperature - 35)]


def write_study(folder: Path, brief: str = BRIEF, *, without: Collection[str] = ()) -> Path:
    """Write the brief and take in forty runs with small scatter, without some columns."""
    rng = np.random.default_rng(5)
    names = [*SHARES, "dose", "pH", "mill temperature", "viscosity", "water uptake"]
    kept = [i for i, name in enumerate(names) if name not in without]
    lines = [",".join(names[i] for i in kept)]
    for w, h, dose, ph, t in zip(
        rng.uniform(0.1, 0.3, 40), rng.uniform(0.1, 0.4, 40), rng.uniform(0.8, 3.2, 40),
        rng.uniform(8, 9.5, 40), rng.uniform(25, 45, 40), strict=True,
    ):  # fmt: skip
        w, h = round(w, 3), round(h, 3)
        thick, uptake = truth(w, 1 - w - h, h, dose, ph, t)
        row = [w, round(1 - w - h, 3), h, round(dose, 3), round(ph, 2), round(t, 1)]
        row += [round(thick * np.exp(rng.normal(0, 0.03)), 1)]
        row += [round(uptake + rng.normal(0, 0.2), 2)]
        lines.append(",".join(str(row[i]) for i in kept))
    folder.mkdir()
    (folder / "study.toml").write_text(brief, encoding="utf-8")
    (folder.parent / "table.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert run_millbase("adopt", folder.parent / "table.csv", folder).status == 0
    return folder


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One folder that only reading commands and results touch."""
    return write_study(tmp_path_factory.mktemp("computed") / "study")


@pytest.fixture(scope="module")
def chosen(study: Path) -> Mapping[bool, Any]:
    """Search the compromise once free and once, under True, within limits."""
    return {
        bound: run_millbase("choose", study, *options, "--json").json
        for bound, options in ((False, ()), (True, ("--within-limits",)))
    }


def every_mark() -> list[dict[str, float]]:
    """List every recipe on the bench's steps."""
    marks = []
    for i, j, k, m in product(range(1, 5), range(1, 5), range(7), range(4)):
        d = 10 - i - j
        if 3 <= d <= 8:
            marks.append(dict(zip(SHARES, (i / 10, d / 10, j / 10), strict=True)))
            marks[-1] |= {"dose": round(0.8 + 0.4 * k, 1), "pH": 8 + 0.5 * m}
    return marks


def predicted(study: Path, rows: list[dict[str, float]], tmp_path: Path) -> dict[str, np.ndarray]:
    """Predict rows with the real command, averaged over the mill temperature as drift has it."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(5)
    table = tmp_path / "grid.csv"
    names = [*SHARES, "dose", "pH"]
    lines = [",".join([*names, "mill temperature"])]
    lines += [
        ",".join(map(repr, [*(row[name] for name in names), float(35 + 4 * node)]))
        for row in rows
        for node in nodes
    ]
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    answer = run_millbase("predict", study, "--table", table, "--json")
    found = [one["predictions"] for one in answer.json["rows"]]
    return {
        name: np.array([one[name]["value"] for one in found]).reshape(len(rows), -1)
        @ (weights / weights.sum())
        for name in ("viscosity", "water uptake", "cost", "VOC")
    }


@pytest.mark.parametrize("within_limits", [False, True])
def test_no_recipe_on_the_steps_beats_the_compromise(
    study: Path, chosen: Mapping[bool, Any], tmp_path: Path, within_limits: bool
) -> None:
    """Every mark of the grid, through predict and Derringer's formula."""
    rows = every_mark()
    values = predicted(study, rows, tmp_path)
    aims = aims_of(open_study(study).study)
    each = np.stack([desirability(aim, values[aim.response]) for aim in aims], axis=1)
    overall = overall_desirability(each, [aim.importance for aim in aims])
    if within_limits:
        overall = np.where(values["cost"] <= 1.828, overall, 0.0)
    found = chosen[within_limits]

    assert 0.05 < overall.max() < 0.95
    assert found["desirability"] == pytest.approx(overall.max(), abs=1e-9)
    assert not within_limits or found["predictions"]["cost"]["value"] <= 1.828 + 1e-9


def test_the_limit_on_cost_binds(chosen: Mapping[bool, Any]) -> None:
    """Else the test above would say nothing of limits."""
    free, bound = chosen[False], chosen[True]

    assert free["predictions"]["cost"]["value"] > 1.828
    assert free["desirability"] > bound["desirability"]


def test_predicted_cost_is_the_arithmetic_of_the_recipe(study: Path) -> None:
    """To the last digits, with intervals of no width."""
    row: dict[str, Any] = dict(zip(SHARES, (0.15, 0.6, 0.25), strict=True))
    row |= {"dose": 1.7, "pH": 9.0, "mill temperature": 30}
    at = [word for name, value in row.items() for word in ("--at", f"{name}={value}")]
    cost = run_millbase("predict", study, *at, "--json").json["rows"][0]["predictions"]["cost"]
    paint = compose(open_study(study).study, row)
    by_hand = 1000 * paint.total("cost") / paint.total("volume_ml")

    assert cost["value"] == pytest.approx(by_hand, rel=1e-12)
    assert cost["mean_interval"] == cost["run_interval"] == [cost["value"]] * 2
    assert cost["predict_for"].startswith("computed, no error")


def test_fit_lists_them_apart_from_the_models(study: Path) -> None:
    """There is no model of them, and nothing waits for readings."""
    fit = run_millbase("fit", study, "--json").json

    assert set(fit["responses"]) == {"viscosity", "water uptake"}
    assert set(fit["computed"]) == {"cost", "VOC"}
    assert not fit["not_fitted"]
    assert "cost" not in fit["waiting"]
    assert len(fit["computed"]["cost"]["runs"]) == 40


def test_fit_of_a_computed_response_alone_gives_its_values(study: Path) -> None:
    """Nothing has to be modelled for it."""
    answer = run_millbase("fit", study, "--only", "cost", "--json")

    assert answer.status == 0
    assert not answer.json["responses"]
    assert set(answer.json["computed"]) == {"cost"}


def test_check_waits_for_no_readings_of_them(study: Path) -> None:
    """They are done from the start."""
    out = run_millbase("check", study).out

    assert "cost: computed from the recipe" in out
    assert "Readings of cost" not in out


def test_the_sheet_has_no_column_for_them(study: Path) -> None:
    """Nobody reads them."""
    assert run_millbase("sheet", study).status == 0
    book = openpyxl.load_workbook(study / "sheets" / "bench.xlsx")
    words = {str(cell.value) for page in book for row in page.iter_rows() for cell in row}

    assert any(word.startswith("viscosity") for word in words)
    assert not any(word.startswith(("cost", "VOC")) for word in words)


def smaller_brief() -> str:
    """Leave out the pH, the water uptake and the VOC: a report draws every one of them."""
    head, *factors = BRIEF.split("[[factor]]\n")
    last, *responses = factors.pop().split("[[response]]\n")
    kept = [one for one in factors if 'name = "pH"' not in one]
    brief = "[[factor]]\n".join([head, *kept, last])
    return "[[response]]\n".join(
        [
            brief,
            *(one for one in responses if 'name = "viscosity"' in one or 'name = "cost"' in one),
        ]
    )


def test_the_report_draws_them_without_checks_of_a_model(tmp_path: Path) -> None:
    """Contours and effects, but no residuals."""
    study = write_study(tmp_path / "study", smaller_brief(), without=("pH", "water uptake"))
    assert run_millbase("report", study).status == 0
    names = [path.name for path in (study / "results" / "figures").iterdir()]

    assert any("viscosity" in name and "residual" in name for name in names)
    assert any("cost" in name and "contour" in name for name in names)
    assert any("cost" in name and "effects" in name for name in names)
    assert not any("cost" in name and ("residual" in name or "coeff" in name) for name in names)


def test_a_missing_datum_is_named_with_its_key(tmp_path: Path, millbase: Millbase) -> None:
    """And the responses that are read go on without it."""
    brief = BRIEF.replace("price_per_kg = 3.8\n", "")
    brief = brief.replace('name = "pH"\n', 'name = "pH"\nset_by = "base"\n')
    study = write_study(tmp_path / "study", brief)
    fit = millbase("fit", study, "--model", "linear", "--json").json
    told = json.dumps(fit["findings"], ensure_ascii=False)

    assert set(fit["responses"]) == {"viscosity", "water uptake"}
    assert set(fit["computed"]) == {"VOC"}
    assert "[[package.additive]] 'dispersant': price_per_kg is missing" in told
    assert "price_per_kg" in fit["not_computed"]["cost"]
    assert "'pH' with base) counts as the balance that it replaces in VOC" in told

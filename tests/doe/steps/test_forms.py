"""Forms from `fit --form` to `choices.toml`, and from there to every other command."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from doe.cli.app import run
from doe.errors import FitError
from doe.steps.adopt import adopt_table
from doe.steps.choose import choose_study
from doe.steps.fit import FitOptions, fit_study
from doe.steps.predict import predict_study
from doe.study.choices import decode_choices

BRIEF = """\
format = 1
[study]
title = "invented"
seed = 3
[[factor]]
name = "dose"
unit = "%"
role = "dose"
low = 0.8
high = 3.2
[[factor]]
name = "grind time"
unit = "min"
low = 5
high = 60
set_per = "sample"
[[response]]
name = "strength"
unit = "%"
aim = "high"
best = 100
worst = 60
"""
FIRST_ORDER = "grind time: first order"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirty runs, each a batch of its own, adopted from a table; no form is kept."""
    folder = tmp_path_factory.mktemp("forms")
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    rng = np.random.default_rng(3)
    lines = ["dose,grind time,strength"]
    for dose in (0.8, 1.6, 3.2):
        for time in (5, 10, 20, 40, 60) * 2:
            y = 100 - 45 * np.exp(-0.07 * time) - 20 / (1 + dose) + rng.normal(0, 0.6)
            lines.append(f"{dose},{time},{y:.2f}")
    (folder / "table.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(folder / "table.csv", folder)
    return folder


@pytest.fixture(scope="module")
def kept(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with the form kept."""
    folder = tmp_path_factory.mktemp("kept") / "study"
    shutil.copytree(made, folder)
    fit_study(
        folder,
        FitOptions(form=FIRST_ORDER, only=("strength",), keep=True, because="kinetics", role="lab"),
    )
    return folder


def _form(contract: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = contract["responses"]["strength"]["form"]
    return found


def test_fit_compares_by_itself_and_changes_nothing(made: Path) -> None:
    """The contract has the comparison, the model is the polynomial, nothing is kept."""
    outcome = fit_study(made)
    contract = outcome.contract()
    form = _form(contract)

    assert form["name"] is None
    assert form["better"] == FIRST_ORDER
    assert form["factor"] == "grind time"
    assert form["left_out"] == "run"
    (rate,) = form["shape"]
    assert (rate["name"], rate["unit"]) == ("rate", "1/min")
    assert rate["interval"][0] < rate["value"] < rate["interval"][1]
    first, *others = form["compared"]
    assert first["form"] == "polynomial"
    assert all(set(one) == {"form", "aicc", "left_out_rmse", "why_not"} for one in others)
    (dose,) = {one["why_not"] for one in others if one["form"] == "dose: coverage"}
    assert dose == "the runs have 3 different settings of dose, and this form needs 4"
    assert contract["responses"]["strength"]["model"] == "quadratic"
    assert not (made / "choices.toml").exists()
    said = [one["what"] for one in contract["responses"]["strength"]["findings"]]
    assert any("first-order approach" in what for what in said)
    assert any("bias" in one.what for one in outcome.findings)


def test_a_form_that_is_tried_is_not_kept(made: Path) -> None:
    """As with every other option of fit."""
    outcome = fit_study(made, FitOptions(form=FIRST_ORDER))

    assert _form(outcome.contract())["name"] == "first order"
    assert not (made / "choices.toml").exists()


def test_a_kept_form_is_on_record_with_the_whole_polynomial(kept: Path) -> None:
    """The square that it replaces is not counted as left out."""
    found = decode_choices((kept / "choices.toml").read_bytes()).response("strength")

    assert found.form == FIRST_ORDER
    assert found.model == "quadratic"
    assert found.dropped == ()
    assert (found.because, found.role) == ("kinetics", "lab")


def test_polynomial_takes_a_kept_form_back(kept: Path, tmp_path: Path) -> None:
    """Kept again without it, the model is the polynomial's."""
    folder = tmp_path / "study"
    shutil.copytree(kept, folder)
    fit_study(folder, FitOptions(form="polynomial", keep=True))

    assert decode_choices((folder / "choices.toml").read_bytes()).response("strength").form is None
    assert _form(fit_study(folder).contract())["name"] is None


def test_predict_and_choose_give_the_same_numbers_by_a_form(kept: Path) -> None:
    """Value and both intervals at the settings chosen."""
    chosen = choose_study(kept).compromise.best
    at = [f"{name}={value}" for name, value in chosen.settings.items()]
    prediction = predict_study(kept, at=at).predictions["strength"]
    (expected,) = chosen.expected

    assert float(prediction.value[0]) == pytest.approx(expected.value, rel=1e-12)
    assert tuple(prediction.mean_interval[0]) == pytest.approx(expected.mean_interval, rel=1e-12)
    assert tuple(prediction.run_interval[0]) == pytest.approx(expected.run_interval, rel=1e-12)


def test_the_screen_shows_the_table_and_the_shape(
    kept: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Rate with unit and interval, why no landscape is told, what is in use."""
    assert run(["fit", str(kept)]) == 0
    shown = " ".join(capsys.readouterr().out.split())

    assert "quadratic model, grind time bent by first order" in shown
    assert "grind time: rate" in shown
    assert "strength: polynomial and forms." in shown
    assert "1/min (" in shown
    assert "Landscape: The surface is bent along grind time" in shown


def test_reduce_leaves_a_form_alone_and_says_so(kept: Path) -> None:
    """Terms are looked through for polynomials only."""
    outcome = fit_study(kept, FitOptions(reduce=True))
    fitted = outcome.analysis.fitted["strength"]

    assert fitted.fit.model.bend is not None
    assert any("holds a form of grind time" in one.what for one in fitted.findings)


def test_an_unknown_form_is_refused(made: Path) -> None:
    """With the forms that there are."""
    with pytest.raises(FitError, match="there is no form 'grind time: bell'"):
        fit_study(made, FitOptions(form="grind time: bell"))


def test_results_on_record_hold_the_comparison(kept: Path) -> None:
    """`results/fit.json` is the contract's object."""
    fit_study(kept)
    found = json.loads((kept / "results" / "fit.json").read_text(encoding="utf-8"))

    assert _form(found)["formula"].startswith("y = ")

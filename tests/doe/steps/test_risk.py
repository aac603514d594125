"""`risk` of a study whose samples share mill batches, as a user runs it."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.surface.noise import production_of
from doe.cli.app import run
from doe.cli.show_risk import show_risk
from doe.errors import StudyError
from doe.steps.adopt import adopt_table
from doe.steps.nominal import FRESH, KEPT
from doe.steps.results import write_choices
from doe.steps.risk import RiskOptions, RiskOutcome, assess_study_risk
from doe.steps.risk_beside_predict import wider_than_predicted
from doe.steps.session import open_study
from doe.study.choices import ChosenSettings

BRIEF = """\
format = 1
[study]
title = "invented"
seed = 3
[[factor]]
name = "dose"
low = 0.8
high = 2.4
scatter_sd = 0.05
[[factor]]
name = "grind time"
unit = "min"
low = 15
high = 45
set_per = "sample"
tolerance = 2
[[factor]]
name = "mill temperature"
unit = "°C"
low = 25
high = 45
noise = true
production = { mean = 35, sd = 3 }
[[response]]
name = "viscosity"
unit = "mPa·s"
scale = "log"
aim = "low"
best = 200
worst = 900
accept = { at_most = 700 }
[[response]]
name = "gloss"
aim = "high"
best = 60
worst = 30
"""
AT = ("dose=1.8", "grind time=40")


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight batches of three samples, adopted from a table."""
    folder = tmp_path_factory.mktemp("risk")
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    rng = np.random.default_rng(3)
    lines = ["run,batch,dose,grind time,mill temperature,viscosity,gloss"]
    heats = (25, 45, 35, 45, 25, 25, 45, 35)
    for number, dose in enumerate((0.8, 1.6, 2.4, 0.8, 1.6, 2.4, 1.2, 2.0), start=1):
        heat, shift = heats[number - 1], rng.normal(0, 0.1)
        for time in (15, 30, 45):
            level = 7.2 - 0.3 * dose - 0.01 * time - 0.008 * (heat - 35) + shift
            y = np.exp(level + rng.normal(0, 0.05))
            gloss = 40 + 5 * dose + rng.normal(0, 1)
            lines.append(f"{len(lines)},{number},{dose},{time},{heat},{y:.1f},{gloss:.1f}")
    table = folder / "table.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(table, folder)
    return folder


@pytest.fixture(scope="module")
def outcome(study: Path) -> RiskOutcome:
    """What is found at settings that were given."""
    return assess_study_risk(study, RiskOptions(at=AT, draws=1024, at_least=0.999, probability=0.6))


def test_the_contract_has_every_key_that_it_promises(outcome: RiskOutcome) -> None:
    """DESIGN.md, section 4; noise is drawn and is no setting; what has no limit is said."""
    found = json.loads(json.dumps(outcome.contract(), allow_nan=False))
    promised = {
        "settings", "probability", "probability_error", "probability_true", "per_response",
        "contributions", "robust", "window",
    }  # fmt: skip
    assert promised <= set(found)
    assert found["settings"] == {"dose": 1.8, "grind time": 40.0}
    assert set(found["per_response"]) == {"viscosity"}
    assert "no limit" in found["left_out"]["gloss"]
    assert 0.3 < found["probability"] <= found["probability_true"] < 1.0
    kinds = {one["source"]: one["kind"] for one in found["contributions"]}
    assert kinds == {
        "setting of dose": "setting", "setting of grind time": "setting",
        "mill temperature": "noise", "batch": "batch", "test": "test", "models": "models",
    }  # fmt: skip
    gains = [one["gain"] for one in found["contributions"]]
    assert gains == sorted(gains, reverse=True)
    assert any("form of the models" in one["what"] for one in found["findings"])


def test_a_probability_that_is_not_reached_is_a_no(
    study: Path, outcome: RiskOutcome, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 1 where a stated probability is missed, 0 where it is met."""
    at = [word for text in AT for word in ("--at", text)]
    words = [
        "risk",
        str(study),
        *at,
        "--draws",
        "1024",
        "--at-least",
        "0.999",
        "--only-here",
        "--json",
    ]
    assert run(words) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["probability"] == outcome.risk.probability.value
    assert outcome.is_no
    assert not replace(outcome, at_least=0.3).is_no


def test_the_screen_says_it_in_a_sentence_first(outcome: RiskOutcome) -> None:
    """The number of batches in a hundred, then the reasons."""
    said = " ".join(show_risk(outcome).split())
    assert said.startswith("Of 100 production batches ")
    assert "drift of mill temperature" in said
    assert "Most would be gained without" in said
    assert "NOT reached" in said


def test_robust_choice_and_box_are_in_contract_and_on_screen(outcome: RiskOutcome) -> None:
    """Side by side, the box with its least probability, the window over both settings."""
    found = json.loads(json.dumps(outcome.contract(), allow_nan=False))
    robust, window = found["robust"], found["window"]
    assert robust["probability_wanted"] == 0.6
    assert robust["these_settings"]["settings"] == found["settings"]
    assert robust["these_settings"]["probability"] == pytest.approx(found["probability"], abs=0.03)
    assert robust["most_probable"]["probability"] >= robust["these_settings"]["probability"] - 1e-3
    assert robust["best_at_probability"]["desirability"] > 0
    assert window["over"] == ["dose", "grind time"]
    assert window["box"]["around"] == "these settings"
    assert window["box"]["least_probability"] >= 0.6
    assert [side["setting"] for side in window["box"]["sides"]] == ["dose", "grind time"]
    said = " ".join(show_risk(outcome).split())
    assert "Side by side" in said
    (headline,) = re.findall(r"^Of 100 production batches (\S+) meet", said)
    assert re.search(rf"meet every limit, of 100 batches {re.escape(headline)} ", said)
    assert "Tolerance box around these settings" in said


@pytest.mark.parametrize("pair", [("dose", "dose"), ("dose", "colour"), ("dose", "viscosity")])
def test_a_window_over_what_has_no_range_is_refused(study: Path, pair: tuple[str, str]) -> None:
    """The settings that can be taken are named, before anything is searched."""
    with pytest.raises(StudyError, match="there is no window over"):
        assess_study_risk(study, RiskOptions(at=AT, draws=64, window=pair))


def test_the_compromise_is_judged_where_nothing_was_kept(study: Path) -> None:
    """And what was kept where something was; nothing is written of what is only tried out."""
    found = assess_study_risk(study, RiskOptions(draws=256, only_here=True))
    assert found.of == FRESH
    assert not found.files
    session = open_study(study)
    chosen = ChosenSettings(settings={"dose": 1.75, "grind time": 38.0})
    write_choices(session, replace(session.choices, chosen=chosen), command="choose")
    kept = assess_study_risk(study, RiskOptions(draws=256, only_here=True))
    assert kept.of == KEPT
    assert kept.settings == {"dose": 1.75, "grind time": 38.0}


def test_without_a_limit_there_is_no_risk_and_the_mend_is_named(
    study: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An error names the key to add."""
    for name in ("plan.csv", "plan.json", "readings.csv"):
        (tmp_path / name).write_bytes((study / name).read_bytes())
    bare = BRIEF.replace("accept = { at_most = 700 }\n", "")
    (tmp_path / "study.toml").write_text(bare, encoding="utf-8")
    assert run(["risk", str(tmp_path), "--json"]) == 2
    fault = json.loads(capsys.readouterr().out)["error"]
    assert "accept" in fault["do"]


def test_a_spread_wider_than_the_interval_of_one_run_is_explained(outcome: RiskOutcome) -> None:
    """Wider by far, and no wider, whatever the draws gave."""
    production = production_of(outcome.analysis.session.study, outcome.analysis.coding)

    def told(half: float) -> list[str]:
        rows = tuple(
            replace(one, production_interval=(one.expected - half, one.expected + half))
            for one in outcome.risk.per_response
        )
        risk = replace(outcome.risk, per_response=rows)
        return [one.what for one in wider_than_predicted(risk, outcome.analysis, production)]

    (wide,) = told(1e6)
    assert "variances themselves are drawn" in wide
    assert told(1e-6) == []

"""The output contract, version 1: what it turns values into, and that every key is there."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from doe.cli.app import run
from doe.cli.show_deciding import show_choose
from doe.steps.choose import ChooseOptions, choose_study
from doe.steps.contract import envelope, plain
from doe.steps.fit import fit_study
from doe.steps.plan import PlanOptions, plan_study
from doe.steps.predict import predict_study
from doe.steps.trade_off_contract import KEYS
from doe.study.finding import Finding

BRIEF = """\
format = 1
[study]
title = "invented"
seed = 4
[package]
[[package.additive]]
name = "wetting agent"
low = 0.1
high = 0.5
[[package.additive]]
name = "dispersant"
low = 0.5
high = 0.9
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
low = 0.8
high = 2.4
spacing = "log"
[[factor]]
name = "neutraliser"
levels = ["ammonia", "sodium hydroxide"]
[[response]]
name = "viscosity"
unit = "mPa·s"
per = "batch"
aim = "low"
best = 100
worst = 900
scale = "log"
accept = { at_most = 150 }
[[response]]
name = "gloss"
per = "batch"
"""
# What the design of the project promises, by command; keys are added, never renamed.
ROUND = {"number", "layout", "models", "criterion", "criterion_value", "seed", "version",
         "region_hash", "goals_hash", "runs"}  # fmt: skip
RESPONSE = {
    "model", "family", "method", "strata", "scale", "value_is", "per", "n", "coding",
    "coefficients", "level", "residual_sd", "total_sd", "r2", "r2_adjusted", "r2_predicted",
    "press", "aicc", "anova", "lack_of_fit", "variance_components", "checks", "runs",
}  # fmt: skip
COEFFICIENT = {"term", "powers", "estimate", "std_error", "df", "t", "p", "interval"}
ANOVA = {"source", "kind", "stratum", "df", "den_df", "ss", "ms", "f", "p"}
LACK_OF_FIT = {"stratum", "f", "df", "den_df", "p"}
CHECKS = {"vif", "box_cox", "outliers", "order"}
RUN = {"run", "observed", "fitted", "residual", "studentised", "leverage", "cook"}
PREDICTION = {"value", "value_is", "mean_interval", "run_interval", "predict_for"}
RECIPE = {"settings", "desirability", "predictions"}


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Adopt an invented table: two shares, a log dose and a choice."""
    folder = tmp_path_factory.mktemp("contract")
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    lines = ["wetting agent,dispersant,dose,neutraliser,viscosity,gloss"]
    rng = np.random.default_rng(8)
    for share in (0.1, 0.3, 0.5):
        for dose in (0.8, 1.4, 2.4):
            for base in ("ammonia", "sodium hydroxide"):
                for _ in range(2):
                    y = math.exp(5 - 0.4 * math.log(dose) + share + 0.02 * rng.normal())
                    gloss = 60 + dose + rng.normal()
                    lines.append(f"{share},{1 - share},{dose},{base},{y:.4f},{gloss:.3f}")
    (folder / "table.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert run(["adopt", str(folder / "table.csv"), str(folder)]) == 0
    return folder


def assert_envelope(told: Any) -> None:
    """Hold an object to what every answer has."""
    assert told["contract"] == 1
    assert {"region", "goals", "readings", "choices", "version"} <= set(told["inputs"])
    for finding in told["findings"]:
        assert set(finding) == {"level", "what", "evidence", "advice", "source"}
    json.dumps(told, allow_nan=False)


def test_fit_has_every_key(study: Path) -> None:
    """For each response, each coefficient, each line of variance, each run."""
    told = fit_study(study).contract()
    assert_envelope(told)
    assert set(told["responses"]) == {"viscosity", "gloss"}
    for response in told["responses"].values():
        assert set(response) >= RESPONSE
        assert (response["family"], response["method"]) == ("gaussian", "ols")
        assert all(set(row) >= COEFFICIENT for row in response["coefficients"])
        assert all(set(row) >= ANOVA for row in response["anova"])
        assert {row["kind"] for row in response["anova"]} == {"sequential", "partial"}
        assert response["lack_of_fit"]
        assert all(set(row) >= LACK_OF_FIT for row in response["lack_of_fit"])
        assert set(response["checks"]) >= CHECKS
        assert len(response["runs"]) == response["n"] == 36
        assert response["control_drift"] == []
        assert all(set(row) >= RUN for row in response["runs"])
    together = told["together"]["residual"]
    assert together["responses"] == ["viscosity", "gloss"]
    assert together["n"] == [[36, 36], [36, 36]]
    assert abs(together["correlation"][0][1]) < 1.0


def test_terms_and_powers_name_the_same(study: Path) -> None:
    """A linear blending term has no p of its own; a choice carries its levels apart."""
    response = fit_study(study).contract()["responses"]["viscosity"]
    rows = {row["term"]: row for row in response["coefficients"]}

    assert rows["dispersant"]["powers"] == {"dispersant": 1}
    assert rows["dispersant"]["p"] is None
    assert rows["dose²"]["powers"] == {"dose": 2}
    crossed = next(row for row in response["coefficients"] if row.get("levels"))
    assert crossed["levels"] == {"neutraliser": "ammonia"}
    assert "ammonia" not in crossed["term"]


def test_predict_has_every_key(study: Path) -> None:
    """Each row has its settings, each response its value and both intervals."""
    at = ("dispersant=0.7", "dose=1.4", "neutraliser=ammonia")
    told = predict_study(study, at=at).contract()
    assert_envelope(told)
    (row,) = told["rows"]
    assert list(row["settings"]) == ["wetting agent", "dispersant", "dose", "neutraliser"]
    assert row["settings"]["neutraliser"] == "ammonia"
    for prediction in row["predictions"].values():
        assert set(prediction) >= PREDICTION
        low, high = prediction["run_interval"]
        inner_low, inner_high = prediction["mean_interval"]
        assert low < inner_low < prediction["value"] < inner_high < high


def test_choose_has_every_key(study: Path) -> None:
    """Recipe, what it breaks, alternatives; a response without an aim has no desirability."""
    told = choose_study(study, ChooseOptions()).contract()
    assert_envelope(told)
    assert set(told) >= RECIPE | {"unmet", "alternatives", "against_controls"}
    assert 0 < told["desirability"] < 1
    assert all(set(one) >= PREDICTION | {"desirability"} for one in told["predictions"].values())
    assert told["predictions"]["gloss"]["desirability"] is None
    assert all(set(recipe) >= RECIPE for recipe in told["alternatives"])
    kept = json.loads((study / "results" / "choose.json").read_text(encoding="utf-8"))
    assert kept == json.loads(json.dumps(told))


def test_choose_has_the_trade_offs_on_request(study: Path) -> None:
    """Every key is there always, null until asked for; none is printed without its unit."""
    bare = choose_study(study, ChooseOptions(seed=3)).contract()
    outcome = choose_study(study, ChooseOptions(trade_offs=True, seed=3))
    told = outcome.contract()
    screen = show_choose(outcome)

    assert all(bare[key] is None for key in KEYS)
    assert told["frontier"] is None, "one response with an aim has no frontier"
    assert told["weights"] == told["views"] == []
    assert told["least_regret"] is None
    (price, *_) = told["limit_prices"]["prices"]
    assert (price["kind"], price["response"]) == ("acceptance", "viscosity")
    assert set(price) >= RECIPE - {"predictions"} | {"relaxed_by", "unit", "gain", "changes"}
    assert "The price of each limit" in screen


def test_plan_has_every_key(tmp_path: Path) -> None:
    """The entry of plan.json, and the runs."""
    (tmp_path / "study.toml").write_text(BRIEF, encoding="utf-8")
    told = plan_study(tmp_path, PlanOptions(model="linear", runs=8, seed=77)).contract()
    assert_envelope(told)
    assert set(told) >= ROUND
    assert told["seed"] == 77, "the option beats the brief, and is stored"
    (entry,) = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))["rounds"]
    # The record names its runs by number, the answer gives them in full.
    assert [one["run"] for one in told["runs"]] == entry.pop("runs")
    known = {key: told[key] for key in entry if key in told}
    assert json.loads(json.dumps(known)) == {key: entry[key] for key in known}
    assert {"layout", "models", "seed", "region_hash", "goals_hash"} <= set(known)
    assert len(told["runs"]) == 8
    assert all({"run", "round", "batch", "kind", "settings"} <= set(one) for one in told["runs"])


def test_what_json_does_not_know_becomes_null() -> None:
    """NaN and infinities, however deep, of whatever make."""
    value = {
        "a": float("nan"), "b": [np.float64("inf"), -math.inf, np.nan], "c": np.array([1.0, np.nan])
    }  # fmt: skip

    assert plain(value) == {"a": None, "b": [None, None, None], "c": [1.0, None]}


@pytest.mark.parametrize(
    ("value", "wanted"),
    [
        (np.int64(3), 3),
        (np.bool_(True), True),
        (True, True),
        (None, None),
        ("粘度", "粘度"),
        ((1, (2.5, "x")), [1, [2.5, "x"]]),
        (np.array([[1, 2], [3, 4]]), [[1, 2], [3, 4]]),
        ({3: "run"}, {"3": "run"}),
        (frozenset({1}), [1]),
    ],
)
def test_values_become_what_json_has(value: object, wanted: object) -> None:
    """And equal types, so that true stays true and 3 stays whole."""
    made = plain(value)

    assert made == wanted
    assert type(made) is type(wanted)


def test_an_envelope_wraps_any_answer() -> None:
    """Contract, inputs and findings stand in front of the body."""
    finding = Finding(level="note", what="So.", evidence={"f": float("nan")})
    told = envelope({"rows": ()}, inputs={"region": "0"}, findings=[finding])

    assert list(told) == ["contract", "inputs", "findings", "rows"]
    assert told["findings"][0]["evidence"] == {"f": None}
    assert told["rows"] == []

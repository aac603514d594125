"""Plans at the edge of what can be asked for: refused with what is possible, or made as asked."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.journeys.briefs import RESPONSE, factors, package, study_of
from tests.journeys.conftest import Millbase

SAMPLED = (
    factors(2)
    + '[[factor]]\nname = "grind time"\nlow = 15\nhigh = 45\nset_per = "sample"\nstep = 1\n'
)
THIN = "[[limit]]\nsum = { z1 = 1.0, z2 = 1.0 }\nat_least = 0\nat_most = 0.00001\n"
CONTROL = '[[control]]\nname = "present formula"\nevery = "day"\nsettings = { z1 = 0, z2 = 0 }\n'


@pytest.mark.parametrize(
    ("brief", "options", "says"),
    [
        (factors(40), [], "861 terms"),
        (factors(40), ["--layout", "Plackett-Burman"], "2 to 31"),
        (factors(24), ["--layout", "full factorial"], "282429536481 combinations"),
        (factors(2), ["--model", "linear", "--replicates", 500], "up to 400"),
        (factors(2), ["--variance-ratio", "1e12"], "0 to 1e+06"),
        (factors(2) + THIN, ["--model", "linear", "--runs", 6], "can tell the terms"),
        (package([(0.0, 1.0)]), ["--layout", "optimal"], "one setting only"),
        (package([(0.2, 0.2), (0.3, 0.3), (0.5, 0.5)]) + factors(1), ["--runs", 14], "cannot vary"),
        (factors(2) + CONTROL + "[plan]\nbatches_per_day = 1\n", ["--runs", 9], "2 or more"),
        (SAMPLED, ["--batches", 40, "--runs", 30], "up to 30, or 40 runs"),
        (SAMPLED, ["--batches", 7, "--runs", 30], "28 or 35"),
        (factors(2), ["--runs", 5, "--replicates", 20], "26 or more."),
    ],
)
def test_what_cannot_be_planned_is_refused_with_what_can(
    brief: str, options: list[object], says: str, tmp_path: Path, millbase: Millbase
) -> None:
    """Exit 2 and a sentence; never a fault of ours, never an endless wait."""
    answer = millbase("plan", study_of(tmp_path / "s", brief, RESPONSE), *options)

    assert answer.status == 2, answer.err
    assert says in answer.err
    assert not (tmp_path / "s" / "plan.csv").exists()


def test_days_are_held_where_the_brief_says_nothing_of_them(
    tmp_path: Path, millbase: Millbase
) -> None:
    """Twelve runs over three days: four a day."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    plan = millbase("plan", study, "--layout", "optimal", "--runs", 12, "--days", 3, "--json").json
    days = [run["day"] for run in plan["runs"]]

    assert plan["costs"]["days"] == 3
    assert [days.count(day) for day in (1, 2, 3)] == [4, 4, 4]


def test_replicates_may_leave_just_the_settings_that_the_model_needs(
    tmp_path: Path, millbase: Millbase
) -> None:
    """Twelve runs, nine of them repeats: three settings for three terms."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    options = ["--layout", "optimal", "--model", "linear", "--runs", 12, "--replicates", 9]
    plan = millbase("plan", study, *options, "--json").json
    settings = {tuple(run["settings"].values()) for run in plan["runs"]}

    assert len(settings) == 3
    assert sum(run["kind"] == "replicate" for run in plan["runs"]) == 9


def test_a_sample_drawn_twice_from_one_batch_is_called_a_replicate(
    tmp_path: Path, millbase: Millbase
) -> None:
    """A linear model asks for both ends of the grind alone; the third sample repeats one."""
    study = study_of(tmp_path / "s", SAMPLED, RESPONSE)
    plan = millbase(
        "plan", study, "--layout", "optimal", "--model", "linear", "--batches", 8, "--runs", 24,
        "--json",
    ).json  # fmt: skip
    seen: set[tuple[object, ...]] = set()
    for run in plan["runs"]:
        key = (run["batch"], *run["settings"].values())
        assert run["kind"] == "replicate" or key not in seen
        seen.add(key)
    samples = [run["sample"] for run in plan["runs"]]

    assert len(seen) < 24
    assert len(set(samples)) == 24


def test_appraise_takes_the_ratio_that_the_plan_was_made_for(
    tmp_path: Path, millbase: Millbase
) -> None:
    """Both name the same average prediction variance."""
    study = study_of(tmp_path / "s", SAMPLED, RESPONSE)
    plan = millbase(
        "plan", study, "--layout", "optimal", "--batches", 9, "--runs", 27, "--variance-ratio", "4",
        "--starts", 12, "--json",
    ).json  # fmt: skip
    (told,) = millbase(
        "appraise", study, "--model", "quadratic", "--no-sizes", "--no-figures", "--json"
    ).json["plans"]

    assert told["variance_ratio"] == 4.0
    assert told["average_prediction_variance"] == pytest.approx(plan["criterion_value"], rel=1e-6)


def test_appraise_leaves_lost_runs_out(tmp_path: Path, millbase: Millbase) -> None:
    """And says so."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    assert millbase("plan", study, "--layout", "optimal", "--runs", 12).status == 0
    options = ("--no-sizes", "--no-figures", "--json")
    before = millbase("appraise", study, *options).json["plans"][0]
    assert millbase("note", study, "--run", 3, "--says", "lost", "--because", "spilt").status == 0
    answer = millbase("appraise", study, *options).json
    after = answer["plans"][0]

    assert (before["runs"], after["runs"]) == (12, 11)
    assert after["average_prediction_variance"] > before["average_prediction_variance"]
    assert any("left out" in finding["what"] for finding in answer["findings"])


@pytest.mark.parametrize(
    ("options", "ratio"),
    [([], 20.0), (["--sd", 0.2], 10.0), (["--effect", 1], 10.0), (["--effect", 1, "--sd", 2], 0.5)],
)
def test_what_is_not_asked_for_stays_the_briefs(
    options: list[object], ratio: float, tmp_path: Path, millbase: Millbase
) -> None:
    """An effect of 2 and a scatter of 0.1 in the brief."""
    wishes = "[plan]\nsd = { y = 0.1 }\neffect = { y = 2.0 }\n"
    study = study_of(tmp_path / "s", factors(2), RESPONSE, wishes)
    assert millbase("plan", study, "--layout", "optimal", "--runs", 8).status == 0
    answer = millbase("appraise", study, *options, "--no-sizes", "--no-figures", "--json").json
    (sought,) = answer["plans"][0]["sought"]

    assert sought["effect"] / sought["sd"] == pytest.approx(ratio)


def test_what_extend_says_is_what_appraise_says(tmp_path: Path, millbase: Millbase) -> None:
    """One measure of a plan, before and after a round."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    assert millbase("plan", study, "--layout", "optimal", "--runs", 9).status == 0
    plan = json.loads((study / "plan.json").read_text(encoding="utf-8"))
    rows = ["run,y", *(f"{run},{run % 4}" for run in plan["rounds"][0]["runs"][:-1])]
    (tmp_path / "y.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert millbase("enter", study, tmp_path / "y.csv").status == 0
    options = ("--model", "quadratic", "--no-sizes", "--no-figures", "--json")
    first = millbase("appraise", study, *options).json["plans"][0]
    round_ = millbase("extend", study, "--for", "replicates", "--runs", 5, "--json").json
    second = millbase("appraise", study, *options).json["plans"][0]

    assert round_["buys"]["variance"] == pytest.approx(
        [first["average_prediction_variance"], second["average_prediction_variance"]], rel=1e-9
    )
    assert round_["buys"]["df"] == {
        name: [first["residual_df"].get(name, 0), df] for name, df in second["residual_df"].items()
    }


def test_runs_that_must_be_in_are_in_and_the_rest_is_best_beside_them(
    tmp_path: Path, millbase: Millbase
) -> None:
    """Three runs off the corners; with the others placed freely the plan is no better."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    (tmp_path / "must.csv").write_text("z1,z2\n0.5,0.5\n0.5,-0.25\n-0.5,0.5\n", encoding="utf-8")
    options = ("--criterion", "D", "--model", "linear", "--runs", 7)
    free = millbase("plan", study, *options, "--json").json
    held = millbase(
        "plan", study, *options, "--include", tmp_path / "must.csv", "--replace", "--json"
    ).json
    settings = [tuple(run["settings"].values()) for run in held["runs"]]

    assert {(0.5, 0.5), (0.5, -0.25), (-0.5, 0.5)} <= set(settings)
    # The four that are free stand at the four corners, as they would without the others.
    assert {(-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)} <= set(settings)
    assert held["criterion_value"] < free["criterion_value"]


def test_included_runs_outside_the_region_are_refused(tmp_path: Path, millbase: Millbase) -> None:
    """A plan is inside the brief, whoever made a part of it."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    (tmp_path / "must.csv").write_text("z1,z2\n3,0\n", encoding="utf-8")
    answer = millbase("plan", study, "--runs", 9, "--include", tmp_path / "must.csv")

    assert answer.status == 2
    assert "leave the region" in answer.err

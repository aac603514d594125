"""`millbase appraise` as a user calls it, over briefs of every kind."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.journeys.briefs import RESPONSE, factors, package, study_of
from tests.journeys.conftest import Millbase, run_millbase

# DESIGN.md, section 4.
KEYS = {
    "runs", "batches", "model", "parameters", "d_efficiency", "average_prediction_variance",
    "max_prediction_variance", "residual_df", "terms", "aliases", "condition", "vif",
}  # fmt: skip
SAMPLES = factors(2) + '[[factor]]\nname = "time"\nlow = 15\nhigh = 45\nset_per = "sample"\n'
RANGED = """[[factor]]
name = "chemistry"
levels = ["acrylate", "comb", "none"]
[[factor]]
name = "dose"
[[factor.range]]
when = { chemistry = "acrylate" }
low = 0.3
high = 1.2
[[factor.range]]
when = { chemistry = "comb" }
low = 1.0
high = 3.0
"""
LIMITED = "[[limit]]\nsum = { z1 = 1.0, z2 = 1.0 }\nat_most = 1.0\n"
SHARES = package([(0.1, 0.4), (0.4, 0.8), (0.0, 0.3)])
CONTROLLED = """[[block]]
name = "day"
size = 5
[[control]]
name = "present formula"
every = "day"
settings = { z1 = 0, z2 = 0 }
"""
HEAVY = ("matplotlib", "pandas", "statsmodels", "scipy.stats", "pyDOE3", "openpyxl", "reportlab")

KINDS = {
    "factors": ([factors(3)], []),
    "shares": ([SHARES], []),
    "shares and factors": ([SHARES, factors(1)], ["--layout", "optimal", "--starts", "2"]),
    "a limit": ([factors(2), LIMITED], []),
    "ranges by level": ([RANGED, factors(1)], []),
    "samples of a batch": ([SAMPLES], ["--from-batch", "--runs", "36"]),
    "days and controls": ([factors(2), CONTROLLED], ["--runs", "20", "--layout", "optimal"]),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_plan_is_appraised(kind: str, tmp_path: Path, millbase: Millbase) -> None:
    """The contract's keys, leverages that add up, and numbers that a plan must have."""
    parts, options = KINDS[kind]
    study = study_of(tmp_path / "s", *parts, RESPONSE)
    assert run_millbase("plan", study, *options).status == 0
    answer = millbase("appraise", study, "--no-figures", "--no-sizes", "--json")

    assert answer.status == 0, answer.err
    assert answer.json["contract"] == 1
    (plan,) = answer.json["plans"]
    assert plan.keys() >= KEYS
    assert all(entry.keys() >= {"term", "std_error", "power"} for entry in plan["terms"])
    assert sum(entry["leverage"] for entry in plan["leverage"]) == pytest.approx(plan["parameters"])
    assert 0 < plan["average_prediction_variance"] < plan["max_prediction_variance"]
    assert 3 <= len(plan["summary"]) <= 6
    assert sum(plan["residual_df"].values()) == (
        plan["runs"] + plan["controls"] - plan["parameters"] - (plan["controls"] > 0)
        - sum(s["units"] - 1 for s in plan["strata"] if s["effect"] == "fixed")
    )  # fmt: skip


def test_the_screen_speaks_plainly(tmp_path: Path, millbase: Millbase) -> None:
    """Sentences first, then the tables; every factor by its own name."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    run_millbase("plan", study, "--layout", "central composite")

    answer = millbase("appraise", study)

    assert answer.status == 0
    assert "the mean of a response is known to within ±" in " ".join(answer.out.split())
    assert "One more run would make" in " ".join(answer.out.split())
    for heading in ("effect over the range", "if this fails", "average variance"):
        assert heading in answer.out
    assert max(len(line) for line in answer.out.splitlines()) <= 110
    files = sorted(path.name for path in (study / "results" / "appraisal").iterdir())
    assert files == sorted(
        f"{name}.{ending}"
        for name in (
            "variance-over-region", "power", "correlation-of-estimates", "leverage-and-losses",
            "number-of-runs",
        )
        for ending in ("svg", "png")
    )  # fmt: skip


def test_a_plan_that_cannot_estimate_the_model_ends_with_status_1(
    tmp_path: Path, millbase: Millbase
) -> None:
    """Nulls where there is nothing to say, and a finding that stops."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    run_millbase("plan", study, "--layout", "full factorial", "--model", "linear")

    shown = millbase("appraise", study, "--model", "quadratic")
    answer = millbase("appraise", study, "--model", "quadratic", "--json")

    assert (shown.status, answer.status) == (1, 1)
    (plan,) = answer.json["plans"]
    assert plan["average_prediction_variance"] is None
    assert plan["d_efficiency"] == 0.0
    assert any(finding["level"] == "stop" for finding in answer.json["findings"])
    assert "can't estimate this model" in " ".join(shown.out.split())


def test_two_plans_side_by_side(tmp_path: Path, millbase: Millbase) -> None:
    """A table that somebody made, one of its settings outside the brief."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    run_millbase("plan", study, "--layout", "central composite")
    rows = "z1,z2\n" + "".join(f"{a},{b}\n" for a in (-1, 0, 1) for b in (-1, 0, 1.25))
    (tmp_path / "hers.csv").write_text(rows, encoding="utf-8")

    against = ("appraise", study, "--against", tmp_path / "hers.csv", "--no-sizes")
    answer = millbase(*against, "--no-figures", "--json")
    shown = millbase(*against)

    assert answer.status == 0
    first, second = answer.json["plans"]
    assert (first["plan"], second["plan"]) == ("this plan", "hers.csv")
    assert second["runs_outside_region"] == [3, 6, 9]
    assert 0 <= answer.json["comparison"]["better_share"] <= 1
    assert "Side by side" in shown.out


@pytest.mark.parametrize(
    ("options", "where"),
    [
        (["--model", "fifth"], "--model"),
        (["--alpha", "2"], "--alpha"),
        (["--effect", "-1"], "--effect"),
        (["--against", "nowhere.csv"], "nowhere.csv"),
    ],
)
def test_wrong_input_ends_with_status_2(
    options: list[str], where: str, tmp_path: Path, millbase: Millbase
) -> None:
    """Where, what and what to do."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    run_millbase("plan", study, "--layout", "central composite")

    answer = millbase("appraise", study, *options, "--json")

    assert answer.status == 2
    assert where in answer.json["error"]["where"]
    assert answer.json["error"]["what"]


def test_the_quick_answer_loads_nothing_heavy(tmp_path: Path) -> None:
    """Neither drawing nor tables nor the slow half of scipy."""
    study = study_of(tmp_path / "s", factors(5), RESPONSE)
    run_millbase("plan", study, "--layout", "central composite")
    script = (
        "import sys, json\nfrom doe.cli.app import run\n"
        f"run({['appraise', str(study), '--no-figures', '--no-sizes']!r})\n"
        f"print(json.dumps([n for n in {HEAVY!r} if n in sys.modules]))"
    )

    done = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True,
                          encoding="utf-8")  # fmt: skip

    assert json.loads(done.stdout.splitlines()[-1]) == []

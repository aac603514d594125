"""Every starting brief goes from `new` to bench sheets as it stands."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from doe.study.templates import LIKES
from tests.journeys.conftest import Millbase

# TRADE practice: 8 to 24 mill batches are one campaign. The first brief asks for more than others.
LEAST_BATCHES, MOST_BATCHES = 8, 24
SHORT_SEARCH = ("--starts", "1")
# Small enough to be planned without any option, as a newcomer would.
SMALL = ("blend", "dose-and-time", "table")


@pytest.mark.parametrize("like", LIKES)
def test_a_starting_brief_checks_as_it_stands(
    like: str, tmp_path: Path, millbase: Millbase
) -> None:
    """Nothing stops, and the brief is the one thing that is done."""
    study = tmp_path / like
    assert millbase("new", study, "--like", like).status == 0

    checked = millbase("check", study, "--json")
    assert checked.status == 0, checked.err
    told = checked.json["findings"] + checked.json["chemistry"]
    assert not [one for one in told if one["level"] == "stop"]
    assert [line["state"] for line in checked.json["status"]].count("done") == 1


@pytest.mark.parametrize("like", [like for like in LIKES if like != "package-and-process"])
def test_a_starting_brief_goes_to_the_bench_as_it_stands(
    like: str, tmp_path: Path, millbase: Millbase
) -> None:
    """A newcomer's first ten minutes; the largest brief is the demo's, and walked there."""
    study = tmp_path / like
    assert millbase("new", study, "--like", like).status == 0

    options = () if like in SMALL else SHORT_SEARCH
    planned = millbase("plan", study, *options, "--json")
    assert planned.status == 0, planned.err
    assert not [one for one in planned.json["findings"] if one["level"] == "stop"]
    assert LEAST_BATCHES <= _batches(planned.json["runs"]) <= MOST_BATCHES

    assert millbase("sheet", study).status == 0
    assert list((study / "sheets").glob("*.xlsx"))


def _batches(runs: list[dict[str, Any]]) -> int:
    return len({run["batch"] for run in runs})

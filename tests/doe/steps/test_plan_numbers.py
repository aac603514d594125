"""Numbers that `plan` is asked for: refused at once where no plan can have them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from doe.errors import PlanError
from doe.layouts.checking import make_layout
from doe.steps.plan import PlanOptions, plan_study
from tests.doe.layouts.briefs import RANGES, a_request, a_study
from tests.journeys.briefs import RESPONSE, factors, study_of

TIME = '[[factor]]\nname = "time"\nlow = 10\nhigh = 60\nset_per = "sample"\n'


@pytest.mark.parametrize(
    ("asked", "where", "allowed"),
    [
        ({"runs": 10**14}, "--runs", "up to 4096"),
        ({"runs": 10**9, "layout": "optimal"}, "--runs", "up to 400 "),
        ({"runs": 1000, "criterion": "D"}, "--runs", "up to 400 "),
        ({"batches": 10**6}, "--batches", "up to 4096"),
        ({"replicates": 10**6}, "--replicates", "up to 4096"),
        ({"lack_of_fit": 10**6}, "--lack-of-fit", "up to 4096"),
        ({"centre": 10**6}, "--centre", "up to 4096"),
        (
            {"replicates": 300, "lack_of_fit": 200, "layout": "optimal"},
            "--replicates", "up to 194, for 400 runs",
        ),
        ({"days": 10**6}, "--days", "up to 4096"),
        ({"days": 11, "runs": 10}, "--days", "up to 10"),
        ({"starts": 10**8, "layout": "optimal"}, "--starts", "up to 4800"),
        ({"runs": 30, "batches": 10}, "--batches", "30, or leave it out"),
        ({"runs": 10, "batches": 30}, "--batches", "up to 10"),
    ],
)  # fmt: skip
def test_numbers_that_no_plan_can_have_are_refused_with_those_it_can(
    asked: dict[str, Any], where: str, allowed: str, tmp_path: Path
) -> None:
    """Under the option itself, and before a layout is tried: 10^14 runs would never end."""
    study = study_of(tmp_path / "s", factors(2), RESPONSE)
    with pytest.raises(PlanError) as caught:
        plan_study(study, PlanOptions(**asked))

    assert caught.value.faults[0].where == where
    assert allowed in caught.value.faults[0].allowed


def test_batches_are_counted_where_samples_share_them(tmp_path: Path) -> None:
    """Six batches of two samples; every factor set per batch, twelve batches."""
    sampled = study_of(tmp_path / "s", factors(1), TIME, RESPONSE)
    asked = PlanOptions(layout="optimal", model="linear", batches=6, runs=12, starts=12)
    alone = study_of(tmp_path / "t", factors(2), RESPONSE)

    assert len(set(plan_study(sampled, asked).plan.batch)) == 6
    twelve = PlanOptions(layout="optimal", model="linear", batches=12, runs=12, starts=12)
    assert len(plan_study(alone, twelve).plan) == 12


def test_a_table_that_would_mostly_repeat_itself_is_not_recommended() -> None:
    """A layout that does not fit, with 300 runs: no table of this region has so many."""
    request = a_request(a_study(RANGES[:3]), models=("quadratic",), runs=300)
    with pytest.raises(PlanError) as caught:
        make_layout("Plackett-Burman", request)

    assert "(300 runs)" not in caught.value.faults[0].do.split("optimal")[0]

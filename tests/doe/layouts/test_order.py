"""Bench order: numbers, days, blocks, controls, samples."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest

from doe.layouts.checking import make_layout
from doe.layouts.order import RoundStart, arrange, costs
from doe.study.brief import Study
from doe.study.plan import Plan
from tests.doe.layouts.briefs import CUT_SIMPLEX, RANGES, a_request, a_study

CONTROL: dict[str, Any] = {
    "name": "present formula",
    "every": "day",
    "settings": {"dose": 1.5, "dispersant": 1.0},
}


def _plan(study: Study, layout: str, seed: int = 7, **wishes: Any) -> Plan:
    runs = make_layout(layout, a_request(study, models=("quadratic",), **wishes))
    return arrange(runs, study, np.random.default_rng(seed))


def test_numbers_run_in_bench_order_from_where_the_study_stands() -> None:
    """Run and batch numbers are issued once a study."""
    study = a_study(RANGES[:2])
    runs = make_layout("central composite", a_request(study, models=("quadratic",)))

    plan = arrange(runs, study, np.random.default_rng(1), start=RoundStart(number=2, run=21,
                                                                           batch=14))  # fmt: skip

    assert plan.run == tuple(range(21, 32))
    assert plan.batch == tuple(range(14, 25))
    assert set(plan.round) == {2}
    assert plan.sample == (None,) * 11


def test_every_day_holds_no_more_than_it_can_and_its_control() -> None:
    """Four batches a day, one of them the control."""
    plan = _plan(a_study(RANGES[:2], plan={"batches_per_day": 4}, control=[CONTROL]),
                 "central composite")  # fmt: skip
    days = Counter(plan.day)
    controls = Counter(d for d, k in zip(plan.day, plan.kind, strict=True) if k == "control")

    assert max(days.values()) <= 4
    assert dict(controls) == dict.fromkeys(days, 1)
    assert costs(plan)["runs"] == 11
    assert list(plan.day) == sorted(d for d in plan.day if d is not None)


def test_centre_runs_are_spread_over_the_days() -> None:
    """Three centre runs on four days never share one."""
    plan = _plan(a_study(RANGES[:3], plan={"batches_per_day": 5}), "central composite")
    days = [d for d, k in zip(plan.day, plan.kind, strict=True) if k == "centre"]

    assert len(set(days)) == len(days) == 3


def test_centre_runs_open_halve_and_close_a_plan_without_days() -> None:
    """Drift shows best at the ends."""
    plan = _plan(a_study(RANGES[:3]), "central composite")

    assert [i for i, kind in enumerate(plan.kind) if kind == "centre"] == [0, 8, 16]


def test_a_control_takes_its_settings_from_the_brief() -> None:
    """Unnamed shares are 0, an unnamed factor is open."""
    study = a_study(RANGES[:2], CUT_SIMPLEX, control=[CONTROL], plan={"batches_per_day": 8})
    runs = make_layout("crossed", a_request(study, models=("linear",)))

    plan = arrange(runs, study, np.random.default_rng(3))

    row = plan.settings.row(plan.kind.index("control"))
    assert row == {
        "wetting agent": 0.0, "dispersant": 1.0, "co-additive": 0.0, "dose": 1.5, "pH": None,
    }  # fmt: skip
    assert set(plan.control_names.values()) == {"present formula"}


def test_controls_without_days_are_spread_over_the_plan() -> None:
    """At least two, and apart."""
    plan = _plan(a_study(RANGES[:3], control=[CONTROL]), "central composite")
    places = [i for i, kind in enumerate(plan.kind) if kind == "control"]

    assert len(places) >= 2
    assert max(places) - min(places) > len(plan) / 3


def test_blocks_of_another_name_are_kept_for_the_record() -> None:
    """A mill of four runs: the plan has no days, the round tells the block of each run."""
    study = a_study(RANGES[:2], block=[{"name": "mill", "size": 4}])
    plan = _plan(study, "central composite")

    blocks = plan.rounds[0].details["blocks"]
    assert set(plan.day) == {None}
    assert sorted(Counter(blocks.values()).values()) == [3, 4, 4]


def test_samples_ascend_within_a_batch_that_they_share() -> None:
    """Grind time is drawn from the running batch."""
    factors = [*RANGES[:2], {**RANGES[2], "set_per": "sample"}]
    plan = _plan(a_study(factors), "central composite", sample_from_batch=True)
    time = plan.settings.column("grind time")

    for batch in set(plan.batch):
        rows = [i for i, own in enumerate(plan.batch) if own == batch]
        assert rows == list(range(rows[0], rows[0] + 3))
        assert list(time[rows]) == [15.0, 30.0, 45.0]
    assert plan.sample == tuple(range(1, len(plan) + 1))
    assert costs(plan)["mill batches"] == 11


def test_by_default_each_run_is_a_batch_of_its_own_and_that_is_said() -> None:
    """Also where a factor is set per sample."""
    factors = [*RANGES[:2], {**RANGES[2], "set_per": "sample"}]
    plan = _plan(a_study(factors), "central composite")

    assert len(set(plan.batch)) == len(plan)
    assert any("batch of its own" in reason for reason in plan.rounds[0].reasons)


@pytest.mark.parametrize("factors", [3, 4, 5])
def test_factorial_blocks_balance_every_main_effect(factors: int) -> None:
    """Days of a two-level layout are confounded with interactions only."""
    study = a_study(RANGES[:factors], plan={"batches_per_day": 2 ** (factors - 1) + 2})
    runs = make_layout("full factorial", a_request(study, models=("interactions",)))
    plan = arrange(runs, study, np.random.default_rng(5))
    day = np.array(plan.day)
    design = np.array([kind == "design" for kind in plan.kind])

    assert len(set(plan.day)) == 2
    for name in plan.settings.names:
        column = plan.settings.column(name)
        means = [column[design & (day == d)].mean() for d in (1, 2)]
        assert means[0] == pytest.approx(means[1])

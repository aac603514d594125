"""Strata: who shares a batch, a day or a block, and what that leaves for the error.

Degrees of freedom: the split-plot of Montgomery (2013), Design and Analysis of Experiments, 8th
ed., section 14.4 (three replicates as blocks, three preparations a replicate, four temperatures in
each): 4 between preparations within replicates, 18 below, as Table 14.17 pools to.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from doe.model.coding import coding_of, settings_table
from doe.model.strata import (
    Stratum,
    days_are_random,
    fixed_columns,
    make_strata,
    moving_units,
    precision,
    residual_df,
    strata_of_plan,
)
from doe.study.brief import Study
from doe.study.plan import Plan, Round
from tests.doe.layouts.briefs import RANGES, a_study

STUDY = a_study([RANGES[0], {**RANGES[2], "set_per": "sample"}])
BATCHES = Stratum(name="batch", unit=np.repeat([1, 2, 3, 4], 2))


def _plan(study: Study = STUDY, **stages: Any) -> Plan:
    n = len(next(iter(stages.values())))
    values = np.tile([1.6, 30.0], (n, 1))
    empty = (None,) * n
    columns = {name: stages.get(name, empty) for name in ("day", "batch", "sample", "panel")}
    return Plan(
        settings=settings_table(values, coding_of(study)),
        run=tuple(range(1, n + 1)),
        round=stages.get("round", (1,) * n),
        kind=("design",) * n,
        rounds=(Round(number=1, layout="adopted", models=(), details=stages.get("details", {})),),
        **columns,
    )


def test_a_stage_whose_units_hold_one_run_each_is_no_stratum() -> None:
    """Every run a batch of its own: least squares."""
    assert strata_of_plan(_plan(batch=(1, 2, 3, 4)), STUDY).above == ()


def test_batches_that_hold_several_runs_are_a_random_stratum() -> None:
    """Samples of a batch share its scatter."""
    (batch,) = strata_of_plan(_plan(batch=(1, 1, 2, 2)), STUDY).above

    assert (batch.name, batch.is_fixed, batch.size) == ("batch", False, 2)


def test_a_stage_that_repeats_the_one_above_says_nothing() -> None:
    """One batch a day: the day is told, the batch is not."""
    strata = strata_of_plan(_plan(day=(1, 1, 2, 2), batch=(5, 5, 6, 6)), STUDY)

    assert [stratum.name for stratum in strata.above] == ["day"]


def test_three_days_are_fixed_and_four_are_random() -> None:
    """DESIGN.md, section 5: random from four days on."""
    three = strata_of_plan(_plan(day=(1, 1, 2, 2, 3, 3)), STUDY)
    four = strata_of_plan(_plan(day=(1, 1, 2, 2, 3, 3, 4, 4)), STUDY)

    assert [stratum.is_fixed for stratum in three.above] == [True]
    assert [stratum.is_fixed for stratum in four.above] == [False]


@pytest.mark.parametrize(("effect", "is_random"), [("random", True), ("fixed", False)])
def test_the_brief_decides_what_days_are(effect: str, is_random: bool) -> None:
    """Whatever their number."""
    study = a_study(RANGES[:1], block=[{"name": "day", "size": 4, "effect": effect}])

    assert days_are_random(study, 2) is is_random
    assert days_are_random(study, 9) is is_random


def test_a_factor_set_once_a_day_makes_days_random() -> None:
    """Its effect has no other error to be judged by."""
    study = a_study([RANGES[0], {**RANGES[4], "set_per": "day"}])

    assert days_are_random(study, 2)


def test_blocks_of_the_brief_are_read_off_the_record() -> None:
    """Two mills, fixed unless the brief says random."""
    blocks = {"blocks": {1: "north", 2: "south", 3: "north", 4: "south"}}
    study = a_study([RANGES[0], RANGES[2]], block=[{"name": "mill"}])

    (mill,) = strata_of_plan(_plan(study, batch=(1, 2, 3, 4), details=blocks), study).above

    assert (mill.name, mill.is_fixed) == ("mill", True)
    assert mill.unit.tolist() == [1, 2, 1, 2]


def test_rounds_without_days_are_fixed_blocks() -> None:
    """Rounds are as days are, and without any there are too few of them."""
    plan = _plan(batch=(1, 2, 3, 4), round=(1, 1, 2, 2))
    (rounds,) = strata_of_plan(plan, STUDY).above

    assert (rounds.name, rounds.is_fixed) == ("round", True)


def test_rows_may_be_chosen() -> None:
    """Without the runs that share it, a batch is no stratum."""
    plan = _plan(batch=(1, 1, 2, 2))

    assert strata_of_plan(plan, STUDY, rows=[0, 2]).above == ()


def test_precision_is_the_inverse_covariance_of_random_strata() -> None:
    """V = I + ρ ZZ', written out for two samples a batch."""
    strata = make_strata(8, [BATCHES])
    V = np.kron(np.eye(4), np.array([[3.5, 2.5], [2.5, 3.5]]))

    np.testing.assert_allclose(precision(strata, 2.5) @ V, np.eye(8), atol=1e-12)


def test_each_stratum_may_have_a_ratio_of_its_own() -> None:
    """By name; `batch` stands for those that are not named."""
    day = Stratum(name="day", unit=np.repeat([1, 2], 4))
    strata = make_strata(8, [day, BATCHES])
    shared = np.kron(np.eye(2), np.ones((4, 4)))
    V = np.eye(8) + 0.5 * shared + 2.0 * np.kron(np.eye(4), np.ones((2, 2)))

    found = precision(strata, {"day": 0.5, "batch": 2.0})

    np.testing.assert_allclose(found @ V, np.eye(8), atol=1e-12)
    np.testing.assert_allclose(
        precision(strata, {"batch": 2.0}), precision(strata, 2.0), atol=1e-12
    )


def test_fixed_blocks_are_estimated_beside_the_model() -> None:
    """X'PX is the information on the model when X and the blocks are fitted together."""
    rng = np.random.default_rng(1)
    X = np.column_stack([np.ones(8), rng.normal(size=(8, 2))])
    strata = make_strata(8, [replace(BATCHES, is_fixed=True)])
    B = fixed_columns(strata)

    both = np.hstack([X, B])
    whole = np.linalg.inv(both.T @ both)[:3, :3]

    np.testing.assert_allclose(np.linalg.inv(X.T @ precision(strata, 1.0) @ X), whole, atol=1e-10)
    assert B.shape == (8, 3)
    np.testing.assert_allclose(B.sum(axis=0), 0.0)


def test_residual_degrees_of_freedom_of_a_split_plot_are_those_of_the_book() -> None:
    """Three replicates as fixed blocks: 4 between preparations, 18 for temperatures below."""
    rep, prep, temp = (one.ravel() for one in np.meshgrid(range(3), range(3), range(4)))
    cells = (prep[:, None] * 4 + temp[:, None] == np.arange(12)[None, :]).astype(np.float64)
    strata = make_strata(
        36,
        [
            Stratum(name="day", unit=rep, is_fixed=True),
            Stratum(name="batch", unit=rep * 3 + prep),
        ],
    )

    assert residual_df(strata, cells) == {"batch": 4, "residual": 18}


def test_degrees_of_freedom_do_not_hang_on_rounding() -> None:
    """A column that differs from another in the thirteenth digit is no direction of its own."""
    x = np.linspace(-1.0, 1.0, 8)
    noise = 1e-13 * np.random.default_rng(2).normal(size=8)
    X = np.column_stack([np.ones(8), 1e6 * x, 1e6 * (x + noise)])

    assert residual_df(make_strata(8, []), X) == {"residual": 6}


def test_units_of_a_search_hold_what_is_set_for_them() -> None:
    """The dose moves with its batch, the grind time with its sample; held runs never move."""
    strata = make_strata(8, [BATCHES])
    units = moving_units(strata, ("batch", "sample"), held=2)

    told = [(runs.tolist(), columns.tolist()) for runs, columns in units]
    assert told == [
        ([2, 3], [0]), ([4, 5], [0]), ([6, 7], [0]),
        *[([run], [1]) for run in range(2, 8)],
    ]  # fmt: skip

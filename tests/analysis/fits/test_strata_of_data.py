"""Which rows are made together, as read off the data of a response."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.fits.fitted_response import fit_response
from analysis.fits.strata_of_data import strata_of_data
from analysis.lab.response_data import BlockEffect, Blocking
from analysis.surface.predict import predict_response
from doe.model.strata import strata_of_plan
from doe.study.plan import Plan, Round
from tests.analysis.fits.adopted_table import range_factor, study_of
from tests.analysis.fits.batches import split_plot


def test_batches_that_hold_several_runs_are_a_stratum() -> None:
    """One run a batch ties nothing together."""
    data, _ = split_plot()
    alone = replace(data, batch=tuple(range(1, len(data) + 1)))

    assert strata_of_data(data).names == ("batch",)
    assert strata_of_data(alone).names == ()


def test_runs_without_a_batch_number_are_their_own() -> None:
    """They share nothing with each other."""
    data, _ = split_plot()
    some = replace(data, batch=tuple(b if b != 2 else None for b in data.batch))
    unit = strata_of_data(some).strata.random[0].unit

    assert len(np.unique(unit)) == 7 + 3


def test_sample_numbers_that_start_again_in_each_batch_are_told_apart() -> None:
    """Sample 1 of batch 1 is not sample 1 of batch 2."""
    data, _ = split_plot(times=(15.0, 15.0, 45.0, 45.0))
    some = replace(data, sample=(1, 1, 2, 2) * 8)
    found = strata_of_data(some)

    assert found.names == ("batch", "sample")
    assert found.strata.random[1].size == 16


@pytest.mark.parametrize(("effect", "names"), [("random", ("day", "batch")), ("fixed", ("batch",))])
def test_days_are_a_stratum_only_where_they_are_random(
    effect: BlockEffect, names: tuple[str, ...]
) -> None:
    """Fixed days are columns of the model."""
    data, _ = split_plot()
    labels = tuple(f"{(b or 1) // 2}" for b in data.batch)
    blocking = Blocking(name="day", of=labels, effect=effect, planned=False)

    assert strata_of_data(replace(data, block=labels, blocking=blocking)).names == names


def test_a_card_across_batches_is_a_crossed_stratum() -> None:
    """Fitted beside the batches, and named in what a new run is."""
    data, coding = split_plot()
    labels = tuple("abc"[i % 3] if i % 2 else "abc"[i // 8] for i in range(len(data)))
    blocking = Blocking(name="card", of=labels, effect="random", planned=True)
    fitted = fit_response(replace(data, block=labels, blocking=blocking), coding, model="linear")

    assert list(fitted.fit.components) == ["card", "batch", "residual"]
    words = predict_response(fitted.fit, np.array([[1.0, 20.0]])).predict_for
    assert words == "one new run in a new batch, with a new card"


def test_unequal_readings_make_the_run_a_stratum() -> None:
    """Rows are then readings; a batch of one run is that run."""
    data, _ = split_plot()
    twice = replace(data, repeats=tuple((*y, y[0] * 1.1) if i % 2 else y
                                        for i, y in enumerate(data.repeats)))  # fmt: skip
    found = strata_of_data(twice)

    assert found.by_reading
    assert found.names == ("batch", "run")
    assert len(found.rows) == len(data) * 3 // 2


def test_planning_assumes_the_strata_that_fitting_finds() -> None:
    """Same stages, same units, in days, batches and samples."""
    data, _ = split_plot(times=(15.0, 15.0, 45.0, 45.0))
    day = tuple((b or 1) // 2 + 1 for b in data.batch)
    sample = tuple((b or 1) * 10 + i for b, i in zip(data.batch, (1, 1, 2, 2) * 8, strict=True))
    study = study_of(
        factors=[range_factor("dose", 0.8, 2.4), range_factor("time", 15, 45, set_per="sample")]
    )
    n = len(data)
    plan = Plan(
        settings=data.planned, run=data.run, round=(1,) * n, day=day, batch=data.batch,
        sample=sample, panel=(None,) * n, kind=("design",) * n,
        rounds=(Round(number=1, layout="table", models=()),),
    )  # fmt: skip
    labels = tuple(str(number) for number in day)
    blocking = Blocking(name="day", of=labels, effect="random", planned=False)
    made = strata_of_data(replace(data, sample=sample, block=labels, blocking=blocking))
    planned = strata_of_plan(plan, study)

    assert [one.name for one in planned.random] == list(made.names)
    for one, other in zip(planned.random, made.strata.random, strict=True):
        np.testing.assert_array_equal(
            one.unit[:, None] == one.unit, other.unit[:, None] == other.unit
        )

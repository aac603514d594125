"""Repair, larger model, replicates, check runs, and runs near the compromise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from doe.errors import PlanError
from doe.layouts.extending.frame import links_needed, make_frame
from doe.layouts.extending.measure import average_variance, n_links, row_key, yardstick
from doe.layouts.extending.registry import find_purpose
from doe.layouts.extending.request import Extension, Failure
from doe.layouts.request import LayoutRuns
from doe.model.coding import code
from doe.study.brief import Study
from doe.study.plan import Plan
from doe.study.settings import FloatArray
from tests.doe.layouts.briefs import CUT_SIMPLEX, RANGES, WHOLE_SIMPLEX, a_study
from tests.doe.layouts.extending.studies import ask_for, failed, plan_of, planned

TWO = a_study(RANGES[:2])
COMPOSITE = planned(TWO, "central composite", models=("quadratic",))
SAMPLED = a_study((*RANGES[:2], {**RANGES[2], "set_per": "sample"}))


def make(ask: Extension, purpose: str) -> LayoutRuns:
    """Make a round."""
    return find_purpose(purpose).make(ask)


def of_kind(runs: LayoutRuns, kind: str) -> FloatArray:
    """Give the settings of the runs of one kind."""
    return runs.values[[i for i, one in enumerate(runs.kind) if one == kind]]


def whole_batches(study: Study) -> Plan:
    """Make a plan of six batches with two samples each."""
    batches = np.array([[0.8, 8.0], [2.4, 8.0], [0.8, 9.5], [2.4, 9.5], [1.6, 8.75], [1.6, 8.75]])
    values = np.vstack([[*row, time] for row in batches for time in (15.0, 45.0)])
    return plan_of(study, values, batch=tuple(b for b in range(1, 7) for _ in range(2)))


def corner(plan: Plan, dose: float, pH: float) -> int:
    """Find the run at some settings."""
    rows = plan.settings.values
    return plan.run[int(np.argmin(np.abs(rows - [dose, pH]).sum(axis=1)))]


# Repair


def test_the_same_settings_are_made_again_where_nothing_predicts_better() -> None:
    """A corner of a face-centred layout has no better place."""
    lost = corner(COMPOSITE, 2.4, 9.5)
    made = make(ask_for(TWO, COMPOSITE, model="quadratic", failures=failed(lost)), "repair")

    np.testing.assert_allclose(of_kind(made, "repair"), [[2.4, 9.5]])
    assert made.details["repairs"] == [lost]
    assert "same settings are made again" in " ".join(made.reasons)
    assert made.kind.count("replicate") == 2


def test_better_settings_are_taken_where_the_failed_ones_told_little() -> None:
    """Four centre runs are lost for a linear model: corners tell more."""
    values = np.array([[0.8, 8.0], [2.4, 8.0], [0.8, 9.5], [2.4, 9.5], *([[1.6, 8.75]] * 4)])
    plan = plan_of(TWO, values)
    made = make(ask_for(TWO, plan, failures=failed(5, 6, 7, 8)), "repair")
    new = code(of_kind(made, "repair"), ask_for(TWO, plan).coding)

    assert "Other settings than the failed ones" in " ".join(made.reasons)
    assert np.abs(new).max(axis=1).min() > 0.99


def test_what_gelled_is_not_repeated_but_approached() -> None:
    """The run goes half-way to the nearest one that could be measured, and that is said."""
    bad = corner(COMPOSITE, 2.4, 9.5)
    ask = ask_for(TWO, COMPOSITE, model="quadratic", failures=failed(bad, gelled=True), runs=6)
    made = make(ask, "repair")
    coded = code(made.values, ask.coding)
    gaps = np.linalg.norm(coded - [1.0, 1.0], axis=1)

    assert [f.level for f in made.findings].count("caution") == 1
    assert "would gel again" in made.findings[-1].what
    # The nearest measured run is one coded unit away: half of that is the edge.
    assert gaps.min() == pytest.approx(0.5)


def test_a_dead_batch_is_made_again_whole() -> None:
    """Both samples, in one new batch, with the batch's own settings."""
    plan = whole_batches(SAMPLED)
    ask = ask_for(SAMPLED, plan, shared=True, failures=failed(3, 4))
    made = make(ask, "repair")
    assert made.batch is not None
    of_batch = {b: made.values[made.batch == b] for b in set(made.batch.tolist())}
    repaired = [rows for b, rows in of_batch.items()
                if "repair" in [made.kind[i] for i in np.flatnonzero(made.batch == b)]]  # fmt: skip

    assert len(repaired) == 1
    np.testing.assert_allclose(repaired[0], [[2.4, 8.0, 15.0], [2.4, 8.0, 45.0]])


def test_what_was_made_up_for_is_not_repaired_twice() -> None:
    """It stays out of the model, and asks for nothing."""
    gone = (Failure(run=3, why="lost", repaired=True),)
    ask = ask_for(TWO, COMPOSITE, failures=gone)

    assert 3 not in {COMPOSITE.run[i] for i in ask.standing}
    with pytest.raises(PlanError, match="nothing to repair"):
        make(ask, "repair")


# Larger model


def test_a_larger_model_can_be_told_with_the_fewest_runs_that_can_tell_it() -> None:
    """A two-level layout with a centre lacks one square: one run and two links, and no fewer."""
    plan = planned(TWO, "full factorial", models=("interactions",), centre=2)
    ask = ask_for(TWO, plan, model="quadratic")
    least = replace(ask, runs=3)
    made = make(least, "model")

    assert made.criterion_value is not None
    assert n_links(ask.held, made.values) >= 2
    with pytest.raises(PlanError, match="3 or more"):
        make(replace(ask, runs=2), "model")


def test_the_new_runs_predict_better_than_as_many_repeats() -> None:
    """The search is worth its time."""
    plan = planned(TWO, "full factorial", models=("interactions",), centre=2)
    ask = ask_for(TWO, plan, model="interactions", runs=6)
    searched, repeated = make(ask, "model"), make(ask, "replicates")

    assert searched.criterion_value is not None
    assert repeated.criterion_value is not None
    assert searched.criterion_value <= repeated.criterion_value * (1 + 1e-6)


def test_batches_hold_their_settings_in_a_new_round() -> None:
    """New batches, constant within."""
    ask = ask_for(SAMPLED, whole_batches(SAMPLED), shared=True, model="quadratic", batches=5)
    made = make(ask, "model")
    assert made.batch is not None

    assert len(set(made.batch.tolist())) == 5
    assert len(made) == 10
    for b in set(made.batch.tolist()):
        rows = made.values[made.batch == b]
        np.testing.assert_array_equal(rows[:, :2], np.tile(rows[0, :2], (len(rows), 1)))


def test_no_new_batch_is_left_empty() -> None:
    """Five batches and seven runs: four are links, three more batches would share three runs."""
    ask = ask_for(SAMPLED, whole_batches(SAMPLED), shared=True, batches=5, runs=6)

    with pytest.raises(PlanError, match="7 or more"):
        make(ask, "model")
    assert len(make(replace(ask, runs=7), "model")) == 7


# Replicates


def test_replicates_repeat_the_runs_that_matter_most() -> None:
    """For a line in one factor the ends; the middle tells nothing of the slope."""
    study = a_study(RANGES[:1])
    plan = plan_of(study, np.array([[0.8], [1.2], [1.6], [2.0], [2.4]]))
    made = make(ask_for(study, plan, runs=2), "replicates")

    assert {row_key(row) for row in made.values} == {(0.8,), (2.4,)}
    assert set(made.kind) == {"replicate"}


def test_whole_batches_are_repeated_where_runs_share_them() -> None:
    """Two batches are four runs; three runs are none."""
    ask = ask_for(SAMPLED, whole_batches(SAMPLED), shared=True)
    made = make(replace(ask, batches=2), "replicates")

    assert len(made) == 4
    with pytest.raises(PlanError, match="multiple of 2"):
        make(replace(ask, runs=3), "replicates")


# Check runs


def test_check_blends_lie_half_way_to_the_vertices() -> None:
    """Cornell (2002): (2/3, 1/6, 1/6) and its kin test a model fitted to vertices and edges."""
    study = a_study((), WHOLE_SIMPLEX)
    plan = planned(study, "simplex-lattice", models=("quadratic",))
    ask = ask_for(study, plan, model="quadratic", runs=5)
    checks = of_kind(make(ask, "check"), "check")
    found = {tuple(np.sort(row).round(4).tolist()) for row in checks}

    assert found <= {(0.1667, 0.1667, 0.6667), (0.1667, 0.4167, 0.4167), (0.3333, 0.3333, 0.3333)}
    assert len(checks) == 3


def test_check_runs_go_where_nothing_was_run() -> None:
    """Inside the region and off every earlier run."""
    ask = ask_for(TWO, COMPOSITE, model="quadratic")
    checks = of_kind(make(ask, "check"), "check")
    coded = code(checks, ask.coding)

    assert np.abs(coded).max() <= 0.5 + 1e-9
    assert not {row_key(row) for row in checks} & {row_key(row) for row in ask.held}


def test_a_check_of_a_linear_model_goes_where_interactions_would_show() -> None:
    """Their product is greatest off the axes."""
    plan = planned(TWO, "full factorial", models=("linear",), centre=2)
    ask = ask_for(TWO, plan, runs=1 + links_needed(ask_for(TWO, plan)))
    check = code(of_kind(make(ask, "check"), "check"), ask.coding)

    np.testing.assert_allclose(np.abs(check), [[0.5, 0.5]], atol=1e-9)


def test_a_check_run_shows_the_terms_that_the_next_model_has() -> None:
    """A linear blend model is checked where blending would show: between the vertices."""
    study = a_study((), CUT_SIMPLEX)
    plan = planned(study, "extreme vertices", models=("linear",), centre=0)
    ask = ask_for(study, plan, model="linear", runs=3)
    check = of_kind(make(ask, "check"), "check")[0]
    vertices = np.vstack([ask.held, check])

    # Not a vertex again: the quadratic part at a vertex is taken up by the linear coefficients.
    assert (
        len(np.unique(vertices.round(6), axis=0)) == len(np.unique(ask.held.round(6), axis=0)) + 1
    )


# Near the compromise


def test_runs_near_the_compromise_sharpen_that_area_most() -> None:
    """Over the area they beat as many runs for the whole region."""
    area = np.array([[2.3, 9.4], [2.4, 9.5], [2.2, 9.4], [2.3, 9.3]])
    ask = ask_for(TWO, COMPOSITE, model="quadratic", runs=5, area=area, area_words="a corner")
    near, anywhere = make(ask, "compromise"), make(replace(ask, area=None), "model")
    stick = yardstick(ask)
    frame = make_frame(ask, (1,) * 5)
    there = [
        average_variance(ask, stick, frame, np.vstack([ask.held, made.values]))
        for made in (near, anywhere)
    ]

    assert there[0] is not None
    assert there[1] is not None
    assert there[0] < there[1] * (1 - 1e-3)
    assert "a corner" in near.reasons[0]


# Links


def test_a_round_without_days_is_linked_and_one_of_random_days_is_not() -> None:
    """Four days are random (DESIGN: from four on, or as the brief says), and rounds as days are."""
    days = a_study(RANGES[:2], plan={"batches_per_day": 3})
    plan = planned(days, "central composite", models=("quadratic",))
    said = a_study(RANGES[:2], block=[{"name": "day", "size": 3, "effect": "random"}])

    assert len({day for day in plan.day if day is not None}) >= 3
    assert links_needed(ask_for(TWO, COMPOSITE)) == 2
    assert links_needed(ask_for(days, plan)) == 0
    assert links_needed(ask_for(said, plan)) == 0


def test_controls_that_run_again_link_the_rounds() -> None:
    """At least two of them do, spread over the round."""
    control = {"name": "present formula", "settings": {"dose": 1.5, "pH": 8.8}}
    study = a_study(RANGES[:2], control=[control])
    plan = planned(study, "central composite", models=("quadratic",))

    assert plan.kind.count("control") >= 2
    assert links_needed(ask_for(study, plan)) == 0


def test_fixed_mills_take_the_place_of_fixed_rounds() -> None:
    """Both together would take the level of the model, too, and nothing could be told."""
    study = a_study(RANGES[:2], block=[{"name": "mill", "size": 5}])
    plan = planned(study, "central composite", models=("quadratic",))
    ask = ask_for(study, plan, model="quadratic", runs=7)
    frame = make_frame(ask, (1,) * 7)

    assert [stratum.name for stratum in frame.strata.fixed] == ["mill"]
    assert frame.is_fixed
    assert make(ask, "model").criterion_value is not None


def test_a_run_that_only_one_response_lacks_is_named_so() -> None:
    """The others have it."""
    study = a_study(RANGES[:2], response=[{"name": "viscosity"}, {"name": "gloss"}])
    failure = (Failure(run=2, why="lost", responses=("gloss",)),)
    made = make(ask_for(study, COMPOSITE, model="quadratic", failures=failure), "repair")

    assert "run 2 (gloss only)" in made.reasons[0]


def test_an_unknown_purpose_is_refused_with_those_there_are() -> None:
    """Seven."""
    with pytest.raises(PlanError, match=r"repair, model, axial, foldover, replicates, check"):
        find_purpose("mend")

"""Laws of further rounds, whatever the brief, the first round, what failed and the purpose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from doe.appraisal.runs import runs_of_plan
from doe.errors import PlanError
from doe.layouts.extending.frame import links_needed, make_frame
from doe.layouts.extending.gains import Gains, gains_of
from doe.layouts.extending.joining import joined, without_runs
from doe.layouts.extending.measure import n_links, yardstick
from doe.layouts.extending.registry import PURPOSES
from doe.layouts.extending.request import Extension, Failure
from doe.layouts.order import RoundStart, arrange
from doe.layouts.request import LayoutRuns
from doe.model.bench_steps import round_to_steps
from doe.model.coding import coding_of
from doe.model.region import Region, region_of
from doe.model.sampling import sample_region
from doe.model.vertices import overall_centroid, region_vertices
from doe.study.brief import Study
from doe.study.numbering import next_numbers
from doe.study.plan import Plan
from doe.study.readings import Readings
from tests.doe.layouts.briefs import BASE_CHOICE, CUT_SIMPLEX, RANGES, a_study

STEPPED = tuple({**one, "step": 0.05} if one["name"] == "pH" else one for one in RANGES)
CONTROL = {"name": "present formula", "every": "day", "settings": {"dose": 1.5}}


@dataclass(frozen=True, slots=True, kw_only=True)
class Further:
    """A first round and the one that was added to it."""

    study: Study
    ask: Extension
    purpose: str
    made: LayoutRuns
    whole: Plan

    @property
    def sizes(self) -> tuple[int, ...]:
        """Runs of each new batch."""
        if self.made.batch is None:
            return (1,) * len(self.made)
        return tuple(np.unique(self.made.batch, return_counts=True)[1].tolist())


@st.composite
def briefs(draw: st.DrawFn) -> Study:
    """Draw a brief: a package or none, ranges, perhaps a choice, days, a control, a limit."""
    package = draw(st.sampled_from([(), CUT_SIMPLEX]))
    factors: list[dict[str, Any]] = list(STEPPED[: draw(st.integers(1 if package else 2, 3))])
    more: dict[str, Any] = {}
    if not package and draw(st.booleans()):
        factors.append(BASE_CHOICE)
    if draw(st.booleans()):
        more["plan"] = {"batches_per_day": draw(st.integers(4, 9))}
    if draw(st.booleans()):
        more["control"] = [CONTROL]
    if len(factors) > 1 and not package and draw(st.booleans()):
        more["limit"] = [{"sum": {"dose": 1.0, "pH": 1.0}, "at_most": 11.5}]
    return a_study(factors, package, **more)


def first_round(draw: st.DrawFn, region: Region, seed: int) -> LayoutRuns:
    """Draw a first round: corners alone, with a centre, with scattered runs, or some corners."""
    rng = np.random.default_rng(seed)
    corners = region_vertices(region)[:16]
    centre = round_to_steps(overall_centroid(region), region)
    scattered = round_to_steps(sample_region(region, 6, rng), region)
    rows = {
        "corners": [corners],
        "centre": [corners, centre, centre],
        "scattered": [corners, scattered],
        "some": [corners[rng.permutation(len(corners))[: len(corners) * 3 // 4]], scattered],
    }[draw(st.sampled_from(["corners", "centre", "scattered", "some"]))]
    values = np.vstack(rows)
    values = values[region.contains(values)]
    return LayoutRuns(
        layout="full factorial", models=("linear",), values=values,
        kind=("design",) * len(values),
    )  # fmt: skip


@st.composite
def rounds(draw: st.DrawFn) -> Further:
    """Draw a study with one round, some of it failed, and add another."""
    study = draw(briefs())
    seed = draw(st.integers(0, 10**6))
    coding, region = coding_of(study), region_of(study)
    plan = arrange(first_round(draw, region, seed), study, np.random.default_rng(seed))
    design = [run for run, kind in zip(plan.run, plan.kind, strict=True) if kind != "control"]
    lost = draw(st.sets(st.sampled_from(design), min_size=1, max_size=2))
    gelled = draw(st.booleans())
    purpose = draw(st.sampled_from(sorted(PURPOSES)))
    area = (
        sample_region(region, 60, np.random.default_rng(seed)) if purpose == "compromise" else None
    )
    ask = Extension(
        study=study, coding=coding, region=region, plan=plan, seed=seed, starts=32, area=area,
        failures=tuple(
            Failure(run=run, why="lost", gelled=gelled and run == min(lost)) for run in sorted(lost)
        ),
        model="interactions" if purpose == "model" else "linear",
    )  # fmt: skip
    try:
        made = PURPOSES[purpose].make(ask)
    except PlanError:
        assume(False)
    free = next_numbers(plan, Readings())
    start = RoundStart(
        number=free.round, run=free.run, batch=free.batch, sample=free.sample, panel=free.panel,
        day=max((day for day in plan.day if day is not None), default=0) + 1,
    )  # fmt: skip
    added = arrange(made, study, np.random.default_rng(seed), start=start)
    return Further(study=study, ask=ask, purpose=purpose, made=made, whole=joined(plan, added))


LAWS = settings(
    max_examples=8, deadline=None,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)  # fmt: skip


@LAWS
@given(rounds())
def test_every_new_run_lies_inside_the_region(further: Further) -> None:
    """Links, repeats and runs at the edge of what gels, too."""
    assert np.asarray(further.ask.region.contains(further.made.values, 1e-6)).all()


def gains(further: Further, model: str) -> Gains:
    """Judge a round by a model."""
    failed = {failure.run for failure in further.ask.failures}
    after = runs_of_plan(further.whole, further.study)
    rows = [i for i, run in enumerate(after.run) if run not in failed]
    after = after.take(rows)
    before = after.take([i for i, run in enumerate(after.run) if run in set(further.ask.plan.run)])
    return gains_of(before, after, yardstick(further.ask, model), further.ask.coding)


@LAWS
@given(rounds())
def test_a_further_round_never_makes_a_prediction_less_sure(further: Further) -> None:
    """Nor what tells settings apart, where the rounds differ by a shift that is estimated."""
    fixed = make_frame(further.ask, further.sizes).is_fixed
    for model in ("linear", further.made.models[-1]):
        bought = gains(further, model)
        pairs = [bought.differences] if fixed else [bought.differences, bought.variance]
        for before, after in pairs:
            if before is not None:
                assert after is not None
                assert after <= before * (1 + 1e-9)


@LAWS
@given(rounds())
def test_a_round_whose_shift_is_estimated_is_linked(further: Further) -> None:
    """Two runs stand in both rounds, controls of both counted."""
    needed = links_needed(further.ask)

    assert n_links(further.ask.held, further.made.values) >= min(needed, len(further.ask.held))


@LAWS
@given(rounds())
def test_numbers_are_never_used_again_and_earlier_runs_stay(further: Further) -> None:
    """Days go on, too."""
    old, whole = further.ask.plan, further.whole
    m = len(old)

    assert whole.run[:m] == old.run
    assert whole.batch[:m] == old.batch
    assert whole.kind[:m] == old.kind
    np.testing.assert_array_equal(whole.settings.values[:m], old.settings.values)
    for name in ("run", "batch", "sample", "panel", "day"):
        before = [one for one in getattr(whole, name)[:m] if one is not None]
        after = [one for one in getattr(whole, name)[m:] if one is not None]
        assert not set(before) & set(after)
        assert not before or not after or min(after) > max(before)
    assert set(whole.round[m:]) == {2}


@LAWS
@given(rounds(), st.data())
def test_dropped_numbers_stay_issued(further: Further, data: st.DataObject) -> None:
    """A plan without its last runs goes on behind them all the same."""
    whole = further.whole
    dropped = data.draw(st.sets(st.sampled_from(whole.run), max_size=len(whole) - 1))
    kept = without_runs(whole, dropped)

    assert set(kept.run) == set(whole.run) - dropped
    assert next_numbers(kept, Readings()) == next_numbers(whole, Readings())
    assert not {run for entry in kept.rounds for run in (*entry.runs, *entry.controls)} & dropped


@LAWS
@given(rounds())
def test_what_a_round_buys_adds_up(further: Further) -> None:
    """Degrees of freedom never fall, and no more is told than the model has."""
    bought = gains(further, further.made.models[-1])

    assert all(after >= 0 <= before for before, after in bought.df.values())
    assert bought.pure_error[1] >= bought.pure_error[0]
    assert not set(bought.new_terms) & set(bought.untold)
    assert (bought.variance[1] is None) == bool(bought.untold)

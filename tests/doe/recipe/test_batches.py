"""The plan gathered into batches and samples, and weighed out as a whole."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from doe.errors import PlanError
from doe.recipe.batches import bench_batches, weigh_plan
from doe.study.brief import Study
from doe.study.plan import Plan, Round
from doe.study.settings import Settings

LABELS = {"neutraliser": ("ammonia", "sodium hydroxide")}
NAN = np.nan


def make_plan(study: Study, *, doses: tuple[float, float] = (1.6, 2.0)) -> Plan:
    """Plan two batches of two samples and a batch of each control."""
    rows = [
        [0.2, 0.6, 0.2, doses[0], 8.6, 0, 15],
        [0.2, 0.6, 0.2, doses[0], 8.6, 0, 45],
        [0.1, 0.8, 0.1, doses[1], 9.0, 1, 15],
        [0.1, 0.8, 0.1, doses[1], 9.0, 1, 45],
        [0.0, 1.0, 0.0, 1.5, 8.8, NAN, NAN],
        [NAN] * 7,
    ]
    settings = Settings(names=study.setting_names, values=np.array(rows), labels=LABELS)
    return Plan(
        settings=settings,
        run=(4, 5, 6, 7, 8, 9),
        round=(1,) * 6,
        day=(1, 1, 1, 1, 2, 2),
        batch=(1, 1, 2, 2, 3, 4),
        sample=(1, 2, 3, 4, 5, 6),
        panel=(None,) * 6,
        kind=("design",) * 4 + ("control",) * 2,
        rounds=(
            Round(
                number=1,
                layout="adopted",
                models=("linear",),
                controls={8: "present formula", 9: "old polyacrylate"},
            ),
        ),
    )


def test_runs_are_gathered_by_batch_and_sample(study: Study) -> None:
    """In bench order, with their own numbers."""
    batches = bench_batches(study, make_plan(study))

    assert [batch.unit for batch in batches] == ["batch 1", "batch 2", "batch 3", "batch 4"]
    assert [sample.unit for sample in batches[1].samples] == ["sample 3", "sample 4"]
    assert [run.run for run in batches[0].runs] == [4, 5]


def test_plan_without_batch_numbers_makes_each_run_a_batch(study: Study) -> None:
    """Units are then named by run."""
    plan = make_plan(study)
    bare = Plan(
        settings=plan.settings, run=plan.run, round=plan.round, day=(None,) * 6,
        batch=(None,) * 6, sample=(None,) * 6, panel=(None,) * 6, kind=plan.kind,
        rounds=plan.rounds,
    )  # fmt: skip

    assert [batch.unit for batch in bench_batches(study, bare)][:2] == ["run 4", "run 5"]


def test_control_takes_its_settings_case_blind_and_held_values_stand(study: Study) -> None:
    """The brief's control says 'Dispersant'; the bead diameter is held."""
    settings = bench_batches(study, make_plan(study))[2].settings

    assert settings["dispersant"] == 1.0
    assert settings["co-additive"] == 0.0
    assert settings["bead diameter"] == 0.8


def test_whole_plan_is_weighed_out(study: Study) -> None:
    """One recipe a batch, one line a sample."""
    recipes = weigh_plan(study, make_plan(study))

    assert len(recipes) == 4
    assert [len(samples) for _, _, samples in recipes] == [2, 2, 1, 1]
    assert recipes[3][1].line("polyacrylate").as_supplied_g == 9.0


def test_all_faults_of_a_plan_come_together(brief: dict[str, Any]) -> None:
    """Two overfull batches, too many samples, and a let-down above the sample."""
    brief["millbase"] = {**brief["millbase"], "batch_g": 40.0, "sample_g": 24.0}
    brief["millbase"]["pigment_percent"] = 97.0
    study = Study.model_validate(brief)

    with pytest.raises(PlanError) as caught:
        weigh_plan(study, make_plan(study, doses=(2.4, 2.4)))

    words = str(caught.value)
    assert "study.toml, [letdown] millbase_g" in words
    assert words.count("2 samples of 24 g are drawn from a batch of 40 g") == 2
    assert "plan.csv, run 4 (batch 1): no room" in words
    assert "plan.csv, run 6 (batch 2): no room" in words


def test_tint_larger_than_the_letdown_is_refused(brief: dict[str, Any]) -> None:
    """100 g of let-down cannot give 120 g."""
    brief["tint"] = {"letdown_g": 120.0, "white_g": 40.0}
    study = Study.model_validate(brief)

    with pytest.raises(PlanError, match="white reduction takes 120 g from a let-down of 100 g"):
        weigh_plan(study, make_plan(study))

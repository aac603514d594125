"""The layout `optimal`: what it promises of the runs it chooses."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from doe.errors import PlanError
from doe.layouts.optimal.layout import LAYOUT
from doe.layouts.request import LayoutRuns, Request
from doe.model.bench_steps import on_steps
from doe.model.coding import coding_of
from doe.model.matrix import model_matrix
from doe.model.region import region_of
from doe.model.terms import make_model
from doe.study.brief import Study
from tests.doe.layouts.briefs import CUT_SIMPLEX, RANGES, a_study


@pytest.fixture(scope="module")
def study() -> Study:
    """Three additives that limits cut, and a pH, all of them on steps: ten terms."""
    additives = [{**one, "step": 0.01} for one in CUT_SIMPLEX]
    return a_study(({**RANGES[1], "step": 0.05},), additives)


def _request(study: Study, **wishes: object) -> Request:
    options: dict[str, Any] = {"seed": 3, "starts": 4, **wishes}
    return Request(study=study, coding=coding_of(study), region=region_of(study), **options)


def _runs(study: Study, **wishes: object) -> LayoutRuns:
    return LAYOUT.make(_request(study, **wishes))


def test_every_run_is_inside_the_region_and_on_the_steps_of_the_bench(study: Study) -> None:
    """A run that cannot be weighed or is forbidden is no run."""
    runs = _runs(study)
    region = region_of(study)

    assert region.contains(runs.values).all()
    assert on_steps(runs.values, region).all()


def test_the_runs_carry_the_model_with_replicates_and_a_test_of_its_form(study: Study) -> None:
    """Asked for 18 runs: 3 replicates, and 5 different settings more than terms."""
    runs = _runs(study, runs=18, replicates=3, lack_of_fit=5)
    coding = coding_of(study)
    X = model_matrix(runs.values, coding, make_model("quadratic", coding))
    different = np.unique(runs.values, axis=0)

    assert len(runs) == 18
    assert runs.kind.count("replicate") == 3
    assert len(different) == 15
    assert np.linalg.matrix_rank(X) == X.shape[1]


def test_too_few_runs_are_refused_with_the_largest_model_that_fits(study: Study) -> None:
    """A budget of 8 runs holds the interactions' 6 terms, not the quadratic model's 10."""
    with pytest.raises(PlanError, match=r"10 or more.*'interactions' \(6 terms\)"):
        _runs(study, runs=8)


def test_more_replicates_than_the_budget_spares_are_refused(study: Study) -> None:
    """Replicates cannot take the place of the model's own runs."""
    with pytest.raises(PlanError, match="too few for 10 terms, 5 replicates; allowed: 15 or more"):
        _runs(study, runs=12, replicates=5)


def test_the_same_seed_gives_the_same_runs(study: Study) -> None:
    """A plan made again next year is the same plan."""
    np.testing.assert_array_equal(_runs(study).values, _runs(study).values)

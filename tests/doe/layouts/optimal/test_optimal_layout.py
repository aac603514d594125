"""The layout `optimal`: what it promises of the runs it chooses."""

from __future__ import annotations

import numpy as np
import pytest

from doe.errors import PlanError
from doe.layouts.optimal.criterion import criterion_value, make_criterion
from doe.layouts.optimal.exchange import Search, best_repeats, best_rows
from doe.layouts.optimal.layout import LAYOUT
from doe.layouts.request import LayoutRuns, Request
from doe.model.bench_steps import on_steps
from doe.model.coding import coding_of
from doe.model.matrix import model_matrix
from doe.model.region import region_of
from doe.model.terms import make_model
from doe.steps.demo import invented_brief
from doe.study.brief import Study
from doe.study.brief_file import parse_brief


@pytest.fixture(scope="module")
def study() -> Study:
    """The invented study: three additives, dose, pH and grind time."""
    return parse_brief(invented_brief().encode())


def _request(study: Study, **wishes: object) -> Request:
    options = {"seed": 3, "starts": 4, **wishes}
    return Request(study=study, coding=coding_of(study), region=region_of(study), **options)  # type: ignore[arg-type]  # wishes vary by test


def _runs(study: Study, **wishes: object) -> LayoutRuns:
    return LAYOUT.make(_request(study, **wishes))


def test_every_run_is_inside_the_region_and_on_the_steps_of_the_bench(study: Study) -> None:
    """A run that cannot be weighed or is forbidden is no run."""
    runs = _runs(study)
    region = region_of(study)

    assert region.contains(runs.values).all()
    assert on_steps(runs.values, region).all()


def test_the_runs_carry_the_model_with_replicates_and_a_test_of_its_form(study: Study) -> None:
    """Asked for 31 runs: 3 replicates, the others all different."""
    runs = _runs(study, runs=31, replicates=3)
    coding = coding_of(study)
    X = model_matrix(runs.values, coding, make_model("quadratic", coding))
    different = np.unique(runs.values, axis=0)

    assert len(runs) == 31
    assert runs.kind.count("replicate") == 3
    assert len(different) == 28
    assert np.linalg.matrix_rank(X) == X.shape[1]


def test_too_few_runs_are_refused_with_the_largest_model_that_fits(study: Study) -> None:
    """A budget of 12 runs holds a linear model of 6 terms, not a quadratic one of 21."""
    with pytest.raises(PlanError, match=r"21 or more.*'linear' \(6 terms\)"):
        _runs(study, runs=12)


def test_more_replicates_than_the_budget_spares_are_refused(study: Study) -> None:
    """Replicates cannot take the place of the model's own runs."""
    with pytest.raises(PlanError, match="0 to 2"):
        _runs(study, runs=23, replicates=5)


def test_the_same_seed_gives_the_same_runs(study: Study) -> None:
    """A plan made again next year is the same plan."""
    np.testing.assert_array_equal(_runs(study).values, _runs(study).values)


def test_more_starts_never_give_a_worse_plan() -> None:
    """The first starts are the same whatever their number."""
    rng = np.random.default_rng(8)
    X = rng.normal(size=(60, 6))
    criterion = make_criterion("I", X)
    values = [best_rows(X, 9, criterion, Search(starts=n, seed=1)).value for n in (1, 3, 9)]

    assert values == sorted(values, reverse=True)


def test_repeats_help_more_than_any_other_single_repeat() -> None:
    """The first replicate is the one that lowers the criterion most."""
    rng = np.random.default_rng(9)
    X = rng.normal(size=(10, 4))
    criterion = make_criterion("I", rng.normal(size=(40, 4)))
    first = int(best_repeats(X, 1, criterion)[0])
    each = [criterion_value(criterion, np.vstack([X, X[i]])) for i in range(len(X))]

    assert each[first] == pytest.approx(min(each), rel=1e-9)

"""Bayesian D: more terms than runs, some told and the rest guarded against.

Source: DuMouchel and Jones (1994), Technometrics 36, 37-47: primary and potential terms.
"""

from __future__ import annotations

import numpy as np
import pytest

from doe.errors import PlanError
from doe.layouts.checking import make_layout
from doe.model.information import rank_and_condition
from doe.model.matrix import model_matrix
from doe.model.terms import make_model
from tests.doe.layouts.briefs import RANGES, a_request, a_study

STUDY = a_study(RANGES[:3])


@pytest.mark.parametrize(("runs", "told"), [(4, "linear"), (6, "linear"), (8, "interactions")])
def test_fewer_runs_than_terms_tell_the_largest_model_that_they_can(runs: int, told: str) -> None:
    """Ten terms of a quadratic in three ranges; linear has 4, interactions 7."""
    request = a_request(STUDY, models=("quadratic",), runs=runs, criterion="Bayesian D", starts=12)
    found = make_layout("optimal", request)
    X = model_matrix(found.values, request.coding, make_model(told, request.coding))

    assert found.models == (told,)
    assert rank_and_condition(X)[0] == X.shape[1]
    assert len(found) == runs
    assert f"the {told} model" in found.reasons[0]
    assert "dose²" in found.reasons[0].split("Potential")[1]


def test_enough_runs_leave_the_model_as_it_is_asked_for() -> None:
    """Twelve runs for ten terms: nothing is beyond a quadratic of factors, so nothing potential."""
    request = a_request(STUDY, models=("quadratic",), runs=12, criterion="Bayesian D", starts=12)

    assert make_layout("optimal", request).models == ("quadratic",)


def test_fewer_runs_than_the_linear_model_has_terms_are_refused_with_how_many_it_takes() -> None:
    """Three runs for an intercept and three slopes."""
    request = a_request(STUDY, models=("quadratic",), runs=3, criterion="Bayesian D")
    with pytest.raises(PlanError) as caught:
        make_layout("optimal", request)

    assert caught.value.faults[0].where == "--runs"
    assert caught.value.faults[0].allowed == "4 or more"


def test_the_further_terms_keep_the_runs_of_a_bayesian_plan_apart() -> None:
    """Six runs for the linear model alone would lie at four corners; guarding spreads them."""
    request = a_request(STUDY, models=("quadratic",), runs=6, criterion="Bayesian D", starts=12)
    values = make_layout("optimal", request).values

    assert len(np.unique(np.round(values, 9), axis=0)) == 6

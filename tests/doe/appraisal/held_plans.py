"""Plans of invented briefs, appraised, for the tests of this room."""

from __future__ import annotations

from typing import Any

from doe.appraisal.appraise import Appraisal, Asked, appraise_runs, terrain_of
from doe.appraisal.profile import Terrain
from doe.appraisal.runs import PlanRuns, runs_of_plan, runs_of_values
from doe.appraisal.sought import Sought
from doe.layouts.checking import make_layout
from doe.layouts.order import arrange
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.model.strata import Stratum
from doe.model.terms import Model, make_model
from doe.study.brief import Study
from doe.study.settings import FloatArray
from tests.doe.layouts.briefs import a_request


def appraised(
    study: Study, layout: str, model: str, sought: Sought | None = None, **wishes: Any
) -> Appraisal:
    """Plan a brief by a layout and hold the plan against the model it was made for."""
    request = a_request(study, models=(model,), **wishes)
    plan = arrange(make_layout(layout, request), study, request.rng())
    asked = Asked(sought=(sought or Sought(),))
    return judged(study, runs_of_plan(plan, study), model, asked)


def planned(study: Study, layout: str, model: str, **wishes: Any) -> PlanRuns:
    """Plan a brief by a layout."""
    request = a_request(study, models=(model,), **wishes)
    return runs_of_plan(arrange(make_layout(layout, request), study, request.rng()), study)


def judged(study: Study, runs: PlanRuns, model: str, asked: Asked | None = None) -> Appraisal:
    """Hold runs against a model."""
    named, terrain = ground(study, model)
    return appraise_runs(runs, named, terrain, asked)


def ground(study: Study, model: str) -> tuple[Model, Terrain]:
    """Give a model and the region as it sees it."""
    named = make_model(model, coding_of(study))
    return named, terrain_of(region_of(study), named)


def independent(values: FloatArray, *units: Stratum) -> PlanRuns:
    """Take settings as runs."""
    return runs_of_values(values, *units)

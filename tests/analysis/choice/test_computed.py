"""The search over responses that the recipe gives, beside modelled ones."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.choice.desirability import aims_of
from analysis.choice.objective import make_objective
from analysis.choice.search import choose_compromise
from analysis.surface.acceptance import accept_limits
from analysis.surface.exact import Surface, exact_response
from analysis.surface.noise import production_of
from analysis.surface.predict import predict_values
from doe.model.coding import coding_of
from doe.model.matrix import model_columns
from doe.model.region import Region, region_of
from doe.model.sampling import sample_region
from doe.model.terms import make_model
from doe.study.brief import Study
from tests.analysis.choice.problems import fit_of
from tests.analysis.computed import KINDS, study_of

SAMPLE = 20_000
COMPUTED = ("cost per litre", "VOC of the recipe")


def problem(kind: str, seed: int) -> tuple[Study, Region, dict[str, Surface]]:
    """Draw a study with one modelled response and two computed ones, in conflict where it can be.

    The modelled one has a narrow target round what one hidden recipe gives.
    """
    rng = np.random.default_rng(seed)
    bare = study_of(kind, seed)
    coding, region = coding_of(bare), region_of(bare)
    points = sample_region(region, 400, rng)
    p = len(model_columns(make_model("quadratic", coding), coding))
    surfaces: dict[str, Surface] = {"r": fit_of(coding, "r", 10.0 * rng.standard_normal(p))}
    values = predict_values(surfaces["r"], points)
    hidden, width = float(values[0]), float(np.ptp(values)) / 8
    responses: list[dict[str, Any]] = [
        {"name": "r", "aim": "target", "best": hidden, "worst_low": hidden - width,
         "worst_high": hidden + width},
    ]  # fmt: skip
    for name in COMPUTED:
        known = bare.response(name)
        surfaces[name] = computed = exact_response(bare, known, coding)
        values = computed.values(points)
        low, high = float(values.min()), float(values.max())
        responses.append(
            {"name": name, "from": name, "aim": "low", "best": low - 0.1 * (high - low),
             "worst": high, "accept": {"at_most": float(np.quantile(values, 0.4))}}
        )  # fmt: skip
    plain = bare.model_dump(mode="json", by_alias=True, exclude_unset=True)
    return Study.model_validate({**plain, "response": responses}), region, surfaces


@pytest.mark.parametrize("within_limits", [False, True])
@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "held dose"])
@pytest.mark.parametrize("seed", [1])
def test_no_sampled_recipe_beats_the_search(kind: str, seed: int, within_limits: bool) -> None:
    """Twenty thousand recipes of the region, levels that lack the dose among them."""
    study, region, surfaces = problem(kind, seed)
    rng = np.random.default_rng(seed)
    found = choose_compromise(study, region, surfaces, within_limits=within_limits, rng=rng)
    production = production_of(study, region.coding)
    limits = [(one, 1.0) for one in accept_limits(study.responses)] if within_limits else []
    objective = make_objective(surfaces, aims_of(study), limits, production)
    score = objective.score(objective.values(sample_region(region, SAMPLE, rng)))

    assert found.best.desirability >= score.max() - 1e-9


def test_a_held_dose_leaves_the_shares_to_choose() -> None:
    """The recipe hangs on the shares alone."""
    study, region, surfaces = problem("held dose", 4)
    rng = np.random.default_rng(4)
    found = choose_compromise(study, region, surfaces, rng=rng)
    objective = make_objective(surfaces, aims_of(study), [], production_of(study, region.coding))
    score = objective.score(objective.values(sample_region(region, SAMPLE, rng)))

    assert found.best.desirability >= score.max() - 1e-9


def test_what_is_computed_has_intervals_of_no_width() -> None:
    """It carries no error of its own, whatever the models beside it do."""
    study, region, surfaces = problem("package", 1)
    best = choose_compromise(study, region, surfaces, rng=np.random.default_rng(1)).best
    cost = next(one for one in best.expected if one.response == "cost per litre")

    assert cost.mean_interval == cost.run_interval == (cost.value, cost.value)
    assert cost.predict_for == "computed, no error"


def test_a_computed_response_is_worth_a_word_where_its_data_are_missing() -> None:
    """Its readings cannot be entered, so that is not what is advised."""
    study, region, surfaces = problem("package", 1)
    del surfaces["cost per litre"]
    found = choose_compromise(study, region, surfaces, rng=np.random.default_rng(1))
    said = [one for one in found.findings if "'cost per litre'" in one.what]

    assert "cannot be computed" in said[0].what
    assert "data" in said[0].advice

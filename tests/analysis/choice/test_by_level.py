"""Each level of a choice at its best, levels with their own ranges included."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.choice.compromise import Compromise
from analysis.choice.search import choose_compromise
from analysis.surface.predict import predict_values
from doe.model.region import Region, region_of
from doe.study.brief import Study
from doe.study.brief_file import parse_brief
from doe.study.settings import FloatArray
from tests.analysis.chemistries import BRIEF, chemistry_fit

AIMED = BRIEF.replace("accept = {", 'aim = "low"\nbest = 300\nworst = 2000\naccept = {')
DOSES = {"none": None, "polyacrylate": (0.3, 0.9), "electrosteric": (0.6, 2.4),
         "multi-anchor": (1.0, 3.0)}  # fmt: skip


@pytest.fixture(scope="module")
def study() -> Study:
    """Four chemistries, one without a dose."""
    return parse_brief(AIMED.encode())


@pytest.fixture(scope="module")
def found(study: Study) -> Compromise:
    """The compromise of a fit with much noise, so that every level has a surface of its own."""
    return choose_compromise(
        study, region_of(study), {"viscosity": chemistry_fit()}, rng=np.random.default_rng(2)
    )


def _grid(region: Region, level: int) -> FloatArray:
    ends = list(DOSES.values())[level]
    doses = [np.nan] if ends is None else np.linspace(*ends, 201).tolist()
    rows = [[level, d, pH, o] for d in doses for pH in np.linspace(8, 9.5, 151) for o in (0, 1)]
    return np.array(rows, dtype=np.float64)


def test_each_level_is_as_good_as_the_best_of_a_fine_grid(study: Study, found: Compromise) -> None:
    """The grid has 201 doses and 151 pH values; nothing on it is better by more than its mesh."""
    region = region_of(study)
    own = [one for one in found.by_level if one.choice == "chemistry"]

    assert [one.level for one in own] == list(DOSES)
    for i, one in enumerate(own):
        viscosity = float(predict_values(chemistry_fit(), _grid(region, i)).min())
        best = float(np.clip((2000 - viscosity) / 1700, 0, 1))
        assert one.recipe.desirability == pytest.approx(best, abs=2e-4)
        assert one.recipe.desirability >= best - 1e-9


def test_a_level_that_lacks_the_dose_names_none(found: Compromise) -> None:
    """Its recipe holds no dose, the others a dose inside their own range."""
    for one in found.by_level:
        if one.choice != "chemistry":
            continue
        ends, dose = DOSES[one.level], one.recipe.settings.get("dose")
        assert (dose is None) == (ends is None)
        if ends is not None:
            assert isinstance(dose, float)
            assert ends[0] - 1e-9 <= dose <= ends[1] + 1e-9


def test_no_level_is_better_than_the_compromise(found: Compromise) -> None:
    """The compromise is the best of its own level, and of all."""
    for choice in ("chemistry", "order of addition"):
        own = [one.recipe.desirability for one in found.by_level if one.choice == choice]
        assert max(own) == found.best.desirability

"""Laws of what the recipe gives: one arithmetic for a single row, for tables and for slopes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.surface.exact import ExactResponse, exact_response
from doe.errors import PlanError
from doe.model.coding import code, coding_of, decode, settings_table
from doe.model.region import region_of
from doe.model.sampling import sample_region
from doe.recipe.composition import compose
from doe.recipe.quantities import QUANTITIES, quantity_of
from doe.study.brief import Study
from doe.study.settings import FloatArray
from tests.analysis.computed import KINDS, METHODS, OPTIONS, study_of


def drawn(kind: str, seed: int, method: str) -> tuple[Study, ExactResponse, FloatArray]:
    """Draw a study, one of its computed responses and settings of its region."""
    study = study_of(kind, seed)
    points = sample_region(region_of(study), 20, np.random.default_rng(seed))
    return study, exact_response(study, study.response(method), coding_of(study)), points


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), method=st.sampled_from(METHODS))
def test_a_table_says_what_each_recipe_says(kind: str, seed: int, method: str) -> None:
    """To 1e-12: the search follows the very recipe that is weighed out."""
    study, exact, points = drawn(kind, seed, method)
    asked = {"part": "paint", "additives": "left out", "oil_density_g_per_ml": 0.935}
    quantity = quantity_of(method, {**asked, **OPTIONS.get(method, {})})
    rows = settings_table(points, exact.coding)
    by_hand = [quantity.value(compose(study, rows.row(i), quantity.part)) for i in range(20)]

    np.testing.assert_allclose(exact.values(points), by_hand, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), method=st.sampled_from(METHODS))
def test_slopes_are_those_of_the_values(kind: str, seed: int, method: str) -> None:
    """Central differences along every setting, coded, tell the same."""
    _, exact, points = drawn(kind, seed, method)
    coded, step = code(points, exact.coding), 1e-5
    slopes = exact.gradient(points)
    scale = np.abs(exact.values(points)).max()
    for j, name in enumerate(exact.coding.names):
        if name in exact.coding.labels:
            continue
        aside = np.zeros(len(exact.coding.names))
        aside[j] = step
        up, down = (exact.values(decode(coded + s * aside, exact.coding)) for s in (1, -1))
        there = np.isfinite(points[:, j])

        np.testing.assert_allclose(
            slopes[there, j], ((up - down) / (2 * step))[there], atol=1e-8 * max(scale, 1.0)
        )


@pytest.mark.parametrize("part", ["mill base", "white reduction"])
def test_other_parts_follow_their_recipe_too(part: str) -> None:
    """Cost of the mill base alone and of the white reduction."""
    study = study_of("package", 3)
    response = study.response("cost per litre").model_copy(update={"options": {"part": part}})
    exact = exact_response(study, response, coding_of(study))
    points = sample_region(region_of(study), 20, np.random.default_rng(3))
    rows = settings_table(points, exact.coding)
    quantity = quantity_of("cost per litre", {"part": part})
    by_hand = [quantity.value(compose(study, rows.row(i), quantity.part)) for i in range(20)]

    np.testing.assert_allclose(exact.values(points), by_hand, rtol=1e-12)


def test_where_no_recipe_can_be_made_there_is_no_value() -> None:
    """A dose whose additives leave no room for water: refused in the one way, NaN in the other."""
    study = study_of("package", 3)
    exact = exact_response(study, study.response("cost per litre"), coding_of(study))
    row = {"wetting agent": 0.3, "dispersant": 0.4, "co-additive": 0.3, "pH": 8.5, "dose": 90.0}
    values = np.array([[row[name] for name in exact.coding.names]])

    with pytest.raises(PlanError, match="no room is left"):
        compose(study, row)
    assert np.isnan(exact.values(values)).all()


def test_every_method_of_the_family_is_computed() -> None:
    """No name without arithmetic, and no arithmetic without a name."""
    assert set(QUANTITIES) == set(METHODS)

"""Every smaller model by AICc, and the search held against it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.fits.candidates import candidates_of
from analysis.fits.fit import Scale
from analysis.fits.fitted_response import fit_response, table_of
from analysis.fits.ranking import rank_models
from analysis.fits.subsets import every_subset
from doe.model.hierarchy_units import units_of
from doe.model.terms import Model, make_model
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of
from tests.analysis.fits.batches import split_plot


def _problem(seed: int) -> tuple[Any, Any, Model]:
    """Draw a study of up to 12 terms that may leave, with a response of some of them."""
    rng = np.random.default_rng(seed)
    if seed % 3 == 2:
        shares = [{"name": name, "low": 0, "high": 1} for name in ("a", "b", "c")]
        study = study_of(shares=shares, factors=[range_factor("dose")])
        rows = [
            dict(zip("abc", map(float, rng.dirichlet((1, 1, 1))), strict=True))
            | {"dose": float(rng.uniform(-1, 1))}
            for _ in range(26)
        ]
        name = "quadratic"
    else:
        names = [f"x{i}" for i in range(3 + seed % 3)]
        study = study_of(factors=[range_factor(name) for name in names])
        rows = [{name: float(rng.uniform(-1, 1)) for name in names} for _ in range(20)]
        name = "quadratic" if len(names) == 3 else "interactions"
    weights = rng.normal(size=6)
    for row in rows:
        x = list(row.values())
        surface = weights[0] * x[0] + weights[1] * x[1] ** 2 + weights[2] * x[-1] * x[0]
        row["y"] = 20 + surface + float(rng.normal(0, 0.4))
    data, coding = adopt(study, rows, "y")
    return data, coding, make_model(name, coding)


@pytest.mark.parametrize("seed", range(24))
def test_the_search_finds_what_looking_at_all_finds(seed: int) -> None:
    """A search of a few models only, on problems of at most 12 units."""
    data, coding, full = _problem(seed)
    units = units_of(full, coding)
    rows = candidates_of(data, coding, Scale(), table_of(data, coding, full)[0]).rows(full)
    whole = every_subset(units, rows, np.random.default_rng(seed))
    found = every_subset(units, rows, np.random.default_rng(seed), most=0, expanded=5)

    assert len(units.terms) <= 12
    assert whole.complete
    assert not found.complete
    assert found.best_first()[0] == whole.best_first()[0]
    assert set(found.heights) <= set(whole.heights)


@pytest.mark.parametrize("seed", range(3))
def test_coordinates_give_the_aicc_of_each_model_fitted_alone(seed: int) -> None:
    """The quick way against a fit of its own of every model."""
    data, coding, full = _problem(seed)
    units = units_of(full, coding)
    rows = candidates_of(data, coding, Scale(), table_of(data, coding, full)[0]).rows(full)
    seen = every_subset(units, rows, np.random.default_rng(0))
    for state in list(seen.heights)[::7]:
        alone = fit_response(data, coding, model=units.model_of(state), scale=Scale())
        assert seen.heights[state] == pytest.approx(alone.assessment.aicc, abs=1e-8)


def test_models_in_strata_come_by_the_likelihood_of_their_own_ratios() -> None:
    """The order is that of plain likelihoods, one by one; fixed ratios never take AICc too low."""
    data, coding = split_plot()
    full, scale = make_model("quadratic", coding), Scale(name="log")
    of = candidates_of(data, coding, scale, table_of(data, coding, full)[0])
    units = units_of(full, coding)
    alone = {state: of.aicc(units.model_of(state)) or np.inf for state in units.states()}
    at_fixed = every_subset(units, of.rows(full), np.random.default_rng(0)).heights
    ranked = rank_models(of, full, coding)

    assert ranked.complete
    assert [height for _, height in ranked.models] == sorted(alone.values())
    assert all(at_fixed[state] >= alone[state] - 1e-6 for state in alone)
    assert at_fixed[units.everything] == pytest.approx(alone[units.everything], abs=1e-6)

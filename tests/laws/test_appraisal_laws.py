"""Laws of an appraisal: what must hold for any plan."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doe.appraisal.appraise import Appraisal, Asked, appraise_runs, terrain_of
from doe.appraisal.information import information_of, leverages
from doe.appraisal.runs import PlanRuns, runs_of_values
from doe.appraisal.sought import Sought
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.model.sampling import sample_region
from doe.model.strata import Stratum, fixed_columns
from doe.model.terms import make_model
from doe.study.brief import Study
from doe.study.settings import FloatArray
from tests.doe.layouts.briefs import CHEMISTRY, CUT_SIMPLEX, RANGES, a_study

STUDIES: Mapping[str, tuple[Study, str]] = {
    "factors": (a_study(RANGES[:3]), "quadratic"),
    "choice": (a_study([*RANGES[:2], CHEMISTRY]), "quadratic"),
    "package": (a_study((), CUT_SIMPLEX), "quadratic"),
    "both": (a_study(RANGES[:1], CUT_SIMPLEX), "interactions"),
}
NAMES = st.sampled_from(sorted(STUDIES))
SEEDS = st.integers(0, 2**31)
FEW = settings(max_examples=20, deadline=None)
# A whole appraisal takes a tenth of a second.
FEWER = settings(max_examples=6, deadline=None)
GROUNDS = {
    name: terrain_of(region_of(study), make_model(model, coding_of(study)))
    for name, (study, model) in STUDIES.items()
}


def _values(name: str, n: int, seed: int) -> FloatArray:
    study, _ = STUDIES[name]
    return sample_region(region_of(study), n, np.random.default_rng(seed))


def _strata(n: int, seed: int) -> tuple[Stratum, ...]:
    """Days as fixed blocks and batches as a random stratum, nested, drawn at random."""
    rng = np.random.default_rng(seed)
    batch = np.sort(rng.integers(0, max(n // 2, 2), size=n))
    return (
        Stratum(name="day", unit=batch // 4, is_fixed=True),
        Stratum(name="batch", unit=batch),
    )


def _appraised(name: str, runs: PlanRuns, ratio: float = 1.0) -> Appraisal:
    study, model = STUDIES[name]
    named = make_model(model, coding_of(study))
    return appraise_runs(runs, named, GROUNDS[name], Asked(ratio=ratio))


@given(NAMES, SEEDS, st.floats(0.0, 20.0))
@FEW
def test_leverages_add_up_to_what_is_fitted(name: str, seed: int, ratio: float) -> None:
    """The trace of a projection is its rank: the coefficients, and fixed blocks beside them."""
    values = _values(name, 30, seed)
    X = GROUNDS[name].rows(values)
    runs = runs_of_values(values, *_strata(30, seed))
    fitted = np.linalg.matrix_rank(np.hstack([X, fixed_columns(runs.strata)]))

    assert leverages(X, runs, ratio).sum() == pytest.approx(fitted, abs=1e-8)


@given(NAMES, SEEDS, st.floats(0.0, 20.0))
@FEW
def test_one_more_run_in_standing_units_never_raises_the_variance(
    name: str, seed: int, ratio: float
) -> None:
    """Anywhere in the region: information only grows while blocks and strata stay."""
    values = _values(name, 31, seed)
    strata = _strata(31, seed)
    whole = runs_of_values(values, *strata)
    leave = int(np.random.default_rng(seed).integers(31))
    kept = [i for i in range(31) if i != leave]
    before = information_of(GROUNDS[name].rows(values[kept]), whole.take(kept), ratio)
    after = information_of(GROUNDS[name].rows(values), whole, ratio)
    rows = GROUNDS[name].sample_rows[:300]

    if before.is_full:
        assert np.all(after.variance_at(rows) <= before.variance_at(rows) * (1 + 1e-7) + 1e-12)


@given(NAMES, SEEDS)
@FEWER
def test_the_share_curve_never_falls(name: str, seed: int) -> None:
    """From the best place at 0 to the worst of the whole region at 1, the average in between."""
    found = _appraised(name, runs_of_values(_values(name, 30, seed)))
    assert found.profile is not None
    curve = found.profile.variances

    assert np.all(np.diff(curve) >= 0)
    assert curve[-1] == found.profile.largest
    assert curve[0] <= found.profile.average <= curve[-1]


@given(NAMES, SEEDS)
@FEWER
def test_a_larger_effect_is_never_harder_to_see(name: str, seed: int) -> None:
    """Power rises with the effect and lies between the chance of a false alarm and 1."""
    runs = runs_of_values(_values(name, 30, seed))
    study, model = STUDIES[name]
    named = make_model(model, coding_of(study))
    powers = []
    for effect in (0.5, 1.0, 3.0):
        asked = Asked(sought=(Sought(effect=effect),))
        found = appraise_runs(runs, named, GROUNDS[name], asked)
        powers.append([told.power or 0.0 for told in found.settings])

    assert np.all(np.diff(np.array(powers), axis=0) >= -1e-9)
    assert np.min(powers) >= 0.05 - 1e-9


def _renamed(factors: Any, order: list[int]) -> Study:
    words = ["eins", "zwei", "drei"]
    return a_study([{**factors[j], "name": words[j]} for j in order])


@given(SEEDS, st.permutations([0, 1, 2]))
@FEWER
def test_names_and_order_of_factors_change_nothing(seed: int, order: list[int]) -> None:
    """Not the efficiencies, not the variances, not a single power."""
    values = _values("factors", 20, seed)
    first = _appraised("factors", runs_of_values(values))
    study = _renamed(RANGES[:3], order)
    model = make_model("quadratic", coding_of(study))
    ground = terrain_of(region_of(study), model)
    second = appraise_runs(runs_of_values(values[:, order]), model, ground)

    assert first.profile is not None
    assert second.profile is not None
    assert second.d_efficiency == pytest.approx(first.d_efficiency)
    assert second.profile.average == pytest.approx(first.profile.average)
    powers = [told.power for told in second.settings]
    assert powers == pytest.approx([first.settings[j].power for j in order])


@given(SEEDS, st.floats(1e-3, 1e3), st.floats(-50, 50))
@FEWER
def test_units_of_the_laboratory_change_nothing(seed: int, scale: float, shift: float) -> None:
    """Minutes or seconds, degrees Celsius or Fahrenheit."""
    values = _values("factors", 20, seed)
    first = _appraised("factors", runs_of_values(values))
    changed = [
        {**factor, "low": factor["low"] * scale + shift, "high": factor["high"] * scale + shift}
        for factor in RANGES[:3]
    ]
    study = a_study(changed)
    model = make_model("quadratic", coding_of(study))
    ground = terrain_of(region_of(study), model)
    second = appraise_runs(runs_of_values(values * scale + shift), model, ground)

    assert first.profile is not None
    assert second.profile is not None
    assert second.d_efficiency == pytest.approx(first.d_efficiency, rel=1e-6)
    assert second.profile.average == pytest.approx(first.profile.average, rel=1e-6)
    assert second.condition == pytest.approx(first.condition, rel=1e-5)


@given(NAMES, SEEDS)
@FEWER
def test_the_order_of_runs_changes_nothing(name: str, seed: int) -> None:
    """Only who shares a batch counts."""
    values, strata = _values(name, 30, seed), _strata(30, seed)
    runs = runs_of_values(values, *strata)
    order = np.random.default_rng(seed).permutation(30)
    first, second = _appraised(name, runs), _appraised(name, runs.take(order))

    assert second.d_efficiency == pytest.approx(first.d_efficiency)
    assert second.freedom.residual == first.freedom.residual
    assert second.leverage == pytest.approx(first.leverage, abs=1e-9)


@given(NAMES, SEEDS, st.floats(0.0, 5.0))
@FEWER
def test_degrees_of_freedom_add_up(name: str, seed: int, ratio: float) -> None:
    """Runs less coefficients, less the fixed blocks; pure error and lack of fit make the rest."""
    values, strata = _values(name, 30, seed), _strata(30, seed)
    found = _appraised(name, runs_of_values(values, *strata), ratio)
    n_days = len(np.unique(strata[0].unit))

    if found.is_estimable:
        assert found.freedom.total == 30 - found.parameters - (n_days - 1)
    for name_, df in found.freedom.residual.items():
        assert 0 <= found.freedom.pure_error[name_] <= df

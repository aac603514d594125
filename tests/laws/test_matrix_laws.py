"""The model matrix: predictions survive a change of unit and of pseudo-components."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.model.information import leverage, pseudo_matrix
from doe.model.matrix import compile_model, model_matrix
from doe.model.terms import drop_group, make_model, may_drop, model_names
from doe.study.settings import FloatArray

SEEDS = st.integers(0, 2**32 - 1)


def same_space(X: FloatArray, Z: FloatArray) -> float:
    """Give the largest part of a column of either that the other cannot make up."""
    worst = 0.0
    for left, right in ((X, Z), (Z, X)):
        rest = left - right @ np.linalg.lstsq(right, left, rcond=None)[0]
        worst = max(worst, float(np.abs(rest).max() / np.abs(left).max()))
    return worst


def blend_with_factors(rng: np.random.Generator) -> tuple[Coding, FloatArray]:
    """Three shares in a corner, two factors, a choice; 120 settings, lab units."""
    low = np.array([0.1, 0.4, 0.05])
    shares = [ShareAxis(name=n, low=float(lo), high=1.0) for n, lo in zip("abc", low, strict=True)]
    axes = (
        *shares,
        NumericAxis(name="dose", unit="%", low=0.8, high=2.4, spacing="log"),
        NumericAxis(name="pH", unit="", low=8.0, high=9.5),
        ChoiceAxis(name="salt", levels=("sodium", "ammonium", "amine")),
    )
    values = np.column_stack(
        [
            low + (1 - low.sum()) * rng.dirichlet(np.ones(3), 120),
            rng.uniform(0.8, 2.4, 120),
            rng.uniform(8.0, 9.5, 120),
            rng.integers(0, 3, 120),
        ]
    )
    return Coding(axes=axes), values


@settings(deadline=None, max_examples=25)
@given(SEEDS, st.floats(0.05, 20), st.floats(-3, 3), st.sampled_from(["quadratic", "crossed"]))
def test_the_model_space_ignores_the_factors_units(
    seed: int, scale: float, shift: float, name: str
) -> None:
    """Other ranges of pH, another unit of the dose: the same surfaces can be fitted."""
    coding, values = blend_with_factors(np.random.default_rng(seed))
    model = make_model(name, coding)
    *blend, dose, ph, salt = coding.axes
    assert isinstance(dose, NumericAxis)
    assert isinstance(ph, NumericAxis)
    moved = replace(ph, low=ph.low + shift, high=ph.high + shift + 1)
    other = Coding(
        axes=(*blend, replace(dose, low=dose.low * scale, high=dose.high * scale), moved, salt)
    )
    scaled = values.copy()
    scaled[:, 3] *= scale

    X, Z = model_matrix(values, coding, model), model_matrix(scaled, other, model)
    assert same_space(X, Z) < 1e-7


@settings(deadline=None, max_examples=25)
@given(SEEDS, st.sampled_from(["linear", "interactions", "quadratic", "special cubic", "cubic"]))
def test_the_model_space_ignores_pseudo_components(seed: int, name: str) -> None:
    """Full models and every model that selection may reach: hierarchy is what guarantees it."""
    rng = np.random.default_rng(seed)
    coding, values = blend_with_factors(rng)
    model = make_model(name, coding)
    for _ in range(4):
        X, Z = model_matrix(values, coding, model), pseudo_matrix(values, coding, model)
        assert same_space(X, Z) < 1e-7
        groups = may_drop(model, coding)
        if not groups:
            break
        model = drop_group(model, groups[int(rng.integers(len(groups)))], coding)


@settings(deadline=None, max_examples=25)
@given(SEEDS, st.data())
def test_slopes_are_those_of_the_matrix(seed: int, data: st.DataObject) -> None:
    """Central differences of the matrix, every model."""
    rng = np.random.default_rng(seed)
    coding, values = blend_with_factors(rng)
    expansion = compile_model(
        coding, make_model(data.draw(st.sampled_from(model_names(coding))), coding)
    )
    coded = np.column_stack([values[:6, :3], rng.uniform(-1, 1, (6, 2)), values[:6, 5]])
    j, h = int(rng.integers(5)), 1e-5
    step = h * np.eye(6)[j]

    difference = (expansion.matrix(coded + step) - expansion.matrix(coded - step)) / (2 * h)
    np.testing.assert_allclose(expansion.gradient(coded)[:, j], difference, atol=1e-7)


@settings(deadline=None, max_examples=25)
@given(SEEDS, st.data())
def test_leverages_lie_between_0_and_1_and_add_up_to_the_rank(
    seed: int, data: st.DataObject
) -> None:
    """Whatever the plan, saturated and deficient ones included."""
    rng = np.random.default_rng(seed)
    coding, values = blend_with_factors(rng)
    model = make_model(data.draw(st.sampled_from(model_names(coding))), coding)
    X = model_matrix(values[: data.draw(st.integers(2, 80))], coding, model)
    h = leverage(X)

    assert h.min() >= 0
    assert h.max() <= 1 + 1e-9
    assert abs(h.sum() - np.linalg.matrix_rank(X)) < 1e-7


@settings(deadline=None, max_examples=25)
@given(SEEDS)
def test_renaming_the_last_level_keeps_the_model_space(seed: int) -> None:
    """Which level is last decides columns, never predictions."""
    coding, values = blend_with_factors(np.random.default_rng(seed))
    turned = Coding(
        axes=(*coding.axes[:-1], ChoiceAxis(name="salt", levels=("amine", "sodium", "ammonium")))
    )
    other = values.copy()
    other[:, 5] = (values[:, 5] + 1) % 3
    model = make_model("quadratic", coding)

    assert (
        same_space(model_matrix(values, coding, model), model_matrix(other, turned, model)) < 1e-7
    )

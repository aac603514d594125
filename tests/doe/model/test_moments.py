"""Moments over the region against closed forms, and against plain sampling where there is none."""

from __future__ import annotations

from math import factorial, log, prod
from typing import Any

import numpy as np
import pytest

from doe.model.coding import code
from doe.model.expansion import Expansion, compile_model
from doe.model.moments import region_moments, simplex_rule
from doe.model.region import Region, region_of
from doe.model.sampling import sample_region
from doe.model.terms import make_model
from doe.study.settings import FloatArray
from tests.doe.model.conftest import ADDITIVES, BEADS, DOSE, NEUTRALISER, PH, TIME, study_of

FREE = tuple({"name": f"additive {i}", "low": 0.0, "high": 1.0} for i in range(4))
OWN_DOSE = {
    "name": "own dose",
    "range": [
        {"when": {"neutraliser": "ammonia"}, "low": 1.0, "high": 3.0},
        {"when": {"neutraliser": "sodium hydroxide"}, "low": 0.5, "high": 1.0},
    ],
}


def _moments(name: str, *settings: Any, **bounds: Any) -> tuple[Region, Expansion, FloatArray]:
    region = region_of(study_of(*settings, **bounds))
    expansion = compile_model(region.coding, make_model(name, region.coding))
    return region, expansion, region_moments(region, expansion)


def _at(expansion: Expansion, moments: FloatArray, *terms: str) -> float:
    """Find the moment of two columns by their terms' settings and powers."""
    names = [
        " ".join(f"{name}^{power}" for name, power in column.term.powers)
        for column in expansion.columns
    ]
    i, j = (names.index(term) for term in terms)
    return float(moments[i, j])


@pytest.mark.parametrize("factors", [(PH, TIME), (PH, TIME, DOSE)])
def test_moments_of_ranges_are_those_of_the_cube(factors: tuple[Any, ...]) -> None:
    """E x² = 1/3, E x⁴ = 1/5, E x²y² = 1/9, odd ones 0; even where a range is spaced by logs."""
    _, expansion, moments = _moments("quadratic", (), factors)

    assert _at(expansion, moments, "pH^1", "pH^1") == pytest.approx(1 / 3, rel=1e-12)
    assert _at(expansion, moments, "", "grind time^2") == pytest.approx(1 / 3, rel=1e-12)
    assert _at(expansion, moments, "pH^2", "pH^2") == pytest.approx(1 / 5, rel=1e-12)
    assert _at(expansion, moments, "pH^2", "grind time^2") == pytest.approx(1 / 9, rel=1e-12)
    assert _at(expansion, moments, "pH^1", "pH^2") == pytest.approx(0.0, abs=1e-12)
    if len(factors) == 3:
        # Evenly in ln x: coded, a spaced range is like any other.
        assert _at(expansion, moments, "dose^1", "dose^1") == pytest.approx(1 / 3, rel=1e-12)


def test_moments_of_a_range_that_is_spaced_by_logs_are_even_in_its_logarithm() -> None:
    """A plain integral of t = ln(x / middle) / half width over ln x from ln 0.8 to ln 2.4."""
    _, expansion, moments = _moments("quadratic", (), (DOSE,))
    x = np.exp(np.linspace(log(0.8), log(2.4), 20_001))
    t = (np.log(x) - log(0.8 * 2.4) / 2) / (log(2.4 / 0.8) / 2)

    assert _at(expansion, moments, "dose^2", "dose^2") == pytest.approx(
        float(np.trapezoid(t**4, np.log(x))) / log(3.0), abs=1e-7
    )


@pytest.mark.parametrize("q", [2, 3, 4])
def test_moments_of_a_free_blend_are_those_of_dirichlet(q: int) -> None:
    """E Π x_i^a_i = (q − 1)! Π a_i! / (q − 1 + Σ a_i)!: 2 / q(q + 1), 1 / q(q + 1) and on."""
    names = [one["name"] for one in FREE[:q]]
    _, expansion, moments = _moments("quadratic", FREE[:q])
    assert _at(expansion, moments, f"{names[0]}^1", f"{names[1]}^1") == pytest.approx(
        1 / (q * (q + 1)), rel=1e-12
    )
    for i, first in enumerate(expansion.columns):
        for j, second in enumerate(expansion.columns):
            powers = [0] * q
            for column in (first, second):
                for name, power in column.term.powers:
                    powers[names.index(name)] += power
            exact = factorial(q - 1) * prod(map(factorial, powers)) / factorial(q - 1 + sum(powers))

            assert moments[i, j] == pytest.approx(exact, rel=1e-10)


def test_moments_of_numeric_levels_weigh_each_level_alike() -> None:
    """0.6, 0.8 and 1.2 mm coded −1, −1/3 and 1."""
    _, expansion, moments = _moments("quadratic", (), (PH, BEADS))
    coded = np.array([-1.0, -1.0 / 3.0, 1.0])

    assert _at(expansion, moments, "", "bead diameter^1") == pytest.approx(coded.mean(), rel=1e-12)
    assert _at(expansion, moments, "bead diameter^2", "bead diameter^2") == pytest.approx(
        (coded**4).mean(), rel=1e-12
    )


def test_moments_of_a_choice_weigh_each_level_alike() -> None:
    """+1 and −1: mean 0, mean square 1, times 1/3 with a range."""
    _, expansion, moments = _moments("interactions", (), (PH, NEUTRALISER))

    assert _at(expansion, moments, "", "neutraliser^1") == pytest.approx(0.0, abs=1e-12)
    assert _at(expansion, moments, "neutraliser^1", "neutraliser^1") == pytest.approx(1.0)
    assert _at(
        expansion, moments, "pH^1 neutraliser^1", "pH^1 neutraliser^1"
    ) == pytest.approx(1 / 3, rel=1e-12)  # fmt: skip


def test_a_dose_with_its_own_ranges_is_coded_in_each() -> None:
    """Within each level's range it runs from −1 to 1, so E x² = 1/3 over all."""
    _, expansion, moments = _moments("quadratic", (), (NEUTRALISER, OWN_DOSE))

    assert _at(expansion, moments, "own dose^1", "own dose^1") == pytest.approx(1 / 3, rel=1e-12)


def test_a_triangle_has_the_moments_of_a_triangle() -> None:
    """A limit through two corners of the square: E x = −1/3, E x² = 1/3, E xy = 0.

    Over x + y <= 0 in [−1, 1]², with corners (−1, −1), (1, −1), (−1, 1).
    """
    square = ({"name": "x", "low": -1.0, "high": 1.0}, {"name": "y", "low": -1.0, "high": 1.0})
    limit = {"sum": {"x": 1.0, "y": 1.0}, "at_most": 0.0}
    _, expansion, moments = _moments("quadratic", (), square, limits=[limit])

    assert _at(expansion, moments, "", "x^1") == pytest.approx(-1 / 3, rel=1e-10)
    assert _at(expansion, moments, "", "x^2") == pytest.approx(1 / 3, rel=1e-10)
    assert _at(expansion, moments, "x^1", "y^1") == pytest.approx(0.0, abs=1e-10)
    assert _at(expansion, moments, "x^1", "x^2") == pytest.approx(-1 / 5, rel=1e-10)


@pytest.mark.parametrize(
    ("settings", "bounds"),
    [
        ((ADDITIVES,), {}),
        ((ADDITIVES, (PH, DOSE)), {}),
        (((), (PH, TIME)), {"limits": [{"sum": {"pH": 10.0, "grind time": 1.0}, "at_most": 125}]}),
        (((), (DOSE, TIME)), {"limits": [{"sum": {"dose": 10.0, "grind time": 1.0},
                                         "at_most": 50}]}),
        (((), (PH, NEUTRALISER)), {"forbids": [{"settings": {"neutraliser": "ammonia",
                                                            "pH": "> 9.0"}}]}),
        (((), (PH, TIME)), {"forbids": [{"settings": {"grind time": "> 35", "pH": "> 9.0"}}]}),
    ],
)  # fmt: skip
def test_moments_of_bounded_regions_agree_with_plain_sampling(
    settings: tuple[Any, ...], bounds: dict[str, Any]
) -> None:
    """Two hundred thousand even points of another seed; four standard errors of each moment."""
    region, expansion, moments = _moments("quadratic", *settings, **bounds)
    points = sample_region(region, 200_000, np.random.default_rng(77))
    X = expansion.matrix(code(points, region.coding))
    for i in range(X.shape[1]):
        products = X[:, [i]] * X
        # Where ours is a sample too (log spacing in a limit, overlapping pieces): of 40 000.
        error = products.std(axis=0) * np.sqrt(1 / 200_000 + 1 / 40_000)

        assert np.all(np.abs(products.mean(axis=0) - moments[i]) <= 4 * error + 1e-9)


@pytest.mark.parametrize("d", [1, 2, 4])
def test_the_rule_of_a_simplex_is_exact_to_its_degree(d: int) -> None:
    """Grundmann and Möller: every monomial of degree 4 over the corners of a standard simplex."""
    points, weights = simplex_rule(np.eye(d + 1), 4)
    for i in range(d + 1):
        for j in range(d + 1):
            powers = np.bincount([i, i, j, j], minlength=d + 1)
            exact = factorial(d) * prod(factorial(int(a)) for a in powers) / factorial(d + 4)

            assert weights @ (points[:, i] ** 2 * points[:, j] ** 2) == pytest.approx(
                exact, rel=1e-9
            )
    assert weights.sum() == pytest.approx(1.0, rel=1e-12)

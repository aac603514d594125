"""Laws of the landscape of a surface: ridge paths, regions of no slope, steepest and flat ways."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from analysis.fits.fit import Fit
from analysis.surface.canonical import canonical_form
from analysis.surface.flat_ways import FlatSearch, flat_ways
from analysis.surface.ridge_path import ridge_path
from analysis.surface.second_order import SecondOrder, second_order
from analysis.surface.stationary import stationary_of
from analysis.surface.stationary_region import FARTHEST, slope_test, stationary_region
from analysis.surface.steepest_path import steepest_path
from doe.model.coding import coding_of
from doe.model.region import Region, region_of
from doe.study.settings import FloatArray
from tests.analysis.choice.problems import brief, fit_of

SEEDS = st.integers(0, 100_000)
GOAL = {"name": "r", "aim": "low", "best": 0, "worst": 1}


def _surface(
    seed: int, *, unit: float = 1.0, order: tuple[int, ...] = (0, 1, 2), limit: bool = False
) -> tuple[SecondOrder, Region]:
    """Draw a quadratic in three factors, one of them spaced by logs; the first in another unit."""
    rng = np.random.default_rng(seed)
    b, A = rng.standard_normal(3), rng.standard_normal((3, 3))
    A = A + A.T
    factors = [
        {"name": "time", "low": 15.0 * unit, "high": 45.0 * unit},
        {"name": "dose", "low": 1.0, "high": 4.0, "spacing": "log"},
        {"name": "pH", "low": 8.0, "high": 10.0},
    ]
    more = {"limit": [{"sum": {"dose": 1.0, "pH": 1.0}, "at_most": 12.2}]} if limit else {}
    study = brief([factors[i] for i in order], [GOAL], **more)
    coding = coding_of(study)
    place = {name: i for i, name in enumerate(("time", "dose", "pH"))}
    fit = fit_of(coding, "r", np.zeros(10))
    values, weights = [], []
    for column in fit.columns:
        indices = [place[name] for name, power in column.term.powers for _ in range(power)]
        key = tuple(sorted(indices))
        weights.append(sum(7**n * (i + 1) for n, i in enumerate(key)) % 97)
        values.append(
            2.0 if not key else b[key[0]] if len(key) == 1
            else A[key] * (0.5 if key[0] == key[1] else 1.0)
        )  # fmt: skip
    # One covariance for the same terms, whatever their order: rows drawn by the term itself.
    rows = np.array([np.random.default_rng((seed, w)).standard_normal(14) for w in weights])
    fit = fit_of(coding, "r", np.array(values), covariance=0.02 * rows @ rows.T / 14.0)
    region = region_of(study)
    middle = np.array([30.0 * unit, 2.0, 9.0])[list(order)]
    return second_order(fit, middle), region


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.sampled_from(["highest", "lowest"]))
def test_a_ridge_path_satisfies_the_conditions_of_lagrange(seed: int, towards: str) -> None:
    """(B − μI)u = −b/2 on the sphere, and no other place on it is better."""
    form, region = _surface(seed)
    path = ridge_path(form, region, towards)  # type: ignore[arg-type] # drawn from the two words
    sign = 1.0 if towards == "highest" else -1.0
    rng = np.random.default_rng(seed)
    others = rng.standard_normal((500, 3))
    others /= np.linalg.norm(others, axis=1, keepdims=True)

    def height(u: FloatArray) -> FloatArray:
        bent: FloatArray = u @ form.middle_slopes + np.einsum("ni,ij,nj->n", u, form.curvature, u)
        return sign * bent

    for u, mu, radius in zip(path.coded[1:], path.multiplier[1:], path.distance[1:], strict=True):
        assert np.linalg.norm(u) == pytest.approx(radius, rel=1e-9)
        rest = form.curvature @ u - mu * u + form.middle_slopes / 2.0
        np.testing.assert_allclose(rest, 0.0, atol=1e-6 * (1.0 + abs(mu) * radius))
        assert height(u[None, :])[0] >= height(radius * others).max() - 1e-9


@settings(max_examples=10, deadline=None)
@given(SEEDS, st.floats(0.01, 100.0))
def test_ways_and_regions_do_not_change_with_the_unit_of_a_factor(seed: int, unit: float) -> None:
    """Minutes or seconds: the same coded path, and the same lab path in the other unit."""
    (form, region), (other, other_region) = _surface(seed), _surface(seed, unit=unit)
    path, twin = ridge_path(form, region, "highest"), ridge_path(other, other_region, "highest")

    np.testing.assert_allclose(path.coded, twin.coded, atol=1e-7)
    np.testing.assert_allclose(path.settings[:, 0] * unit, twin.settings[:, 0], rtol=1e-6)
    np.testing.assert_allclose(path.value, twin.value, rtol=1e-7, atol=1e-9)
    np.testing.assert_array_equal(path.inside[1:5], twin.inside[1:5])


@settings(max_examples=10, deadline=None)
@given(SEEDS, st.permutations((0, 1, 2)))
def test_renaming_factors_permutes_the_landscape(seed: int, order: list[int]) -> None:
    """The same bends with the same errors, the same place, in the other order."""
    (form, _), (other, _) = _surface(seed), _surface(seed, order=tuple(order))
    canonical, twin = canonical_form(form), canonical_form(other)
    at, twin_at = stationary_of(form).at_coded, stationary_of(other).at_coded

    for one, two in zip(canonical.axes, twin.axes, strict=True):
        assert one.curvature == pytest.approx(two.curvature, rel=1e-6, abs=1e-9)
        assert one.std_error == pytest.approx(two.std_error, rel=1e-6)
        assert abs(one.direction[order] @ two.direction) == pytest.approx(1.0, abs=1e-6)
    np.testing.assert_allclose(at[order], twin_at, rtol=1e-6, atol=1e-9)


@settings(max_examples=8, deadline=None)
@given(SEEDS)
def test_the_region_of_no_slope_contains_the_estimate(seed: int) -> None:
    """Its slopes are zero exactly; the set goes on to both sides of it along every factor."""
    form, _ = _surface(seed)
    at = stationary_of(form).at_coded
    assume(np.abs(at).max() < FARTHEST)
    region, test = stationary_region(form, at), slope_test(form, at)
    assert region is not None
    assert test is not None

    assert test.statistic(at[None, :])[0] == pytest.approx(0.0, abs=1e-9)
    assert np.all(region.low_coded < at)
    assert np.all(region.high_coded > at)


@settings(max_examples=8, deadline=None)
@given(SEEDS)
@example(3235)  # a piece that lies between the places of the net
def test_no_place_of_the_set_lies_beyond_its_ends(seed: int) -> None:
    """Against 20 000 places drawn at random over twice the ranges.

    The set bends and may lie in pieces: its ends are climbed to, and told to a twentieth of a half
    range.
    """
    form, _ = _surface(seed)
    at = stationary_of(form).at_coded
    region = stationary_region(form, at)
    test = slope_test(form, at if np.abs(at).max() <= FARTHEST else np.zeros(3))
    assert region is not None
    assert test is not None
    places = np.random.default_rng(seed).uniform(-FARTHEST, FARTHEST, (20_000, 3))
    held = places[test.holds(places)]
    if len(held) < 20:
        return

    assert np.all(region.low_coded <= held.min(axis=0) + 0.05)
    assert np.all(region.high_coded >= held.max(axis=0) - 0.05)


@settings(max_examples=8, deadline=None)
@given(SEEDS, st.sampled_from(["highest", "lowest"]))
def test_the_steepest_way_stays_inside_and_never_turns_back(seed: int, towards: str) -> None:
    """With a limit over a log-spaced and an even factor; each step gains."""
    form, region = _surface(seed, limit=True)
    start = np.array([30.0, 2.0, 9.0])
    path = steepest_path(form, region, start, towards)  # type: ignore[arg-type] # as above
    assert path is not None
    sign = 1.0 if towards == "highest" else -1.0

    assert np.all(path.inside)
    assert np.all(sign * np.diff(path.value) >= -1e-9)


@settings(max_examples=8, deadline=None)
@given(SEEDS)
def test_nothing_is_seen_on_a_flat_way_and_something_beyond_it(seed: int) -> None:
    """Inside, every difference is unseen and harmless; beyond an open end one of both fails."""
    form, region = _surface(seed)
    at = np.clip(stationary_of(form).at_coded, -0.9, 0.9)
    base = form.settings(at[None, :])[0]
    fit: Fit = form.fit
    search = FlatSearch(fit=fit, region=region, at=base, noise=(), practical=None, level=0.95)
    for way in flat_ways(fit, region, base)[:3]:
        j = fit.coding.index(way.setting)

        def excess(x: FloatArray, j: int = j) -> FloatArray:
            rows = np.tile(base, (len(x), 1))
            rows[:, j] = x
            return search.excess(rows)

        assert way.low <= way.at <= way.high
        width = way.ends[1] - way.ends[0]
        inside = np.linspace(way.low, way.high, 30)[1:-1]
        assert np.all(excess(inside) <= 1e-7)
        if way.high < way.ends[1] - 1e-3 * width:
            assert excess(np.array([way.high + 1e-3 * width]))[0] > -1e-9

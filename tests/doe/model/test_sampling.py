"""Even samples of the region."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from doe.model import sampling
from doe.model.coding import code
from doe.model.polytope import Polytope
from doe.model.region import region_of
from doe.model.sampling import sample_region

N = 20_000
# Five standard errors of a mean of N values of spread at most 0.6 coded.
NEAR = 5 * 0.6 / N**0.5

EIGHT = [
    {"name": f"x{i}", "low": low, "high": high}
    for i, (low, high) in enumerate(
        zip(
            (0.10, 0.05, 0.0, 0.0, 0.10, 0.05, 0.0, 0.0),
            (0.45, 0.50, 0.10, 0.10, 0.60, 0.20, 0.05, 0.05),
            strict=True,
        )
    )
]


def test_the_same_generator_state_gives_the_same_sample(
    make_study: Any, package: Any, factor: Any
) -> None:
    """A seed decides everything."""
    region = region_of(make_study(package, [factor["dose"], factor["neutraliser"]]))

    first = sample_region(region, 50, np.random.default_rng(1))

    np.testing.assert_array_equal(first, sample_region(region, 50, np.random.default_rng(1)))


def test_levels_weigh_equally(make_study: Any, factor: Any) -> None:
    """Even where a forbid leaves one of them a narrower range."""
    study = make_study(
        (),
        [factor["pH"], factor["neutraliser"], factor["bead diameter"]],
        forbids=[{"settings": {"neutraliser": "ammonia", "pH": "> 8.1"}}],
    )
    values = sample_region(region_of(study), 601, np.random.default_rng(2))

    counts = np.unique(values[:, 1:], axis=0, return_counts=True)[1]
    assert sorted(counts) == [100] * 5 + [101]


def test_a_log_range_is_even_in_its_logarithm(make_study: Any, factor: Any) -> None:
    """Mean 0 and spread 1/√3 in coded units."""
    region = region_of(make_study((), [factor["dose"]]))
    coded = code(sample_region(region, N, np.random.default_rng(3)), region.coding)

    assert coded.mean() == pytest.approx(0, abs=NEAR)
    assert coded.std() == pytest.approx(3**-0.5, abs=NEAR)


def test_a_triangle_of_shares_has_its_known_mean(make_study: Any) -> None:
    """Mean L + (1 − ΣL) / 3; each share of a flat triangle has variance 1/18 of its side²."""
    study = make_study(
        [{"name": n, "low": low, "high": 1} for n, low in (("a", 0.1), ("b", 0.4), ("c", 0.0))]
    )
    values = sample_region(region_of(study), N, np.random.default_rng(4))

    np.testing.assert_allclose(values.mean(axis=0), np.array([0.1, 0.4, 0]) + 0.5 / 3, atol=NEAR)
    np.testing.assert_allclose(values.var(axis=0), 0.25 / 18, rtol=0.05)


def test_a_cut_box_has_its_known_centroid(make_study: Any) -> None:
    """The unit square less the triangle beyond x + y = 1.5: mean (1/2 − 1/8 · 5/6) / (7/8)."""
    factors = [{"name": "dose", "low": 0, "high": 1}, {"name": "time", "low": 0, "high": 1}]
    study = make_study((), factors, limits=[{"sum": {"dose": 1.0, "time": 1.0}, "at_most": 1.5}])
    values = sample_region(region_of(study), N, np.random.default_rng(5))

    np.testing.assert_allclose(values.mean(axis=0), (0.5 - 0.125 * 5 / 6) / 0.875, atol=NEAR)


def test_overlapping_pieces_are_not_counted_twice(make_study: Any) -> None:
    """An L of three unit squares, two overlapping pieces of two: a third of points in each."""
    factors = [{"name": "dose", "low": 0, "high": 2}, {"name": "time", "low": 0, "high": 2}]
    study = make_study((), factors, forbids=[{"settings": {"dose": "> 1", "time": "> 1"}}])
    values = sample_region(region_of(study), N, np.random.default_rng(6))

    shares = [np.mean(values[:, 0] > 1), np.mean(values[:, 1] > 1)]
    np.testing.assert_allclose(shares, 1 / 3, atol=NEAR)


@pytest.mark.parametrize("walked", [False, True])
def test_a_tied_log_factor_is_even_in_its_logarithm(
    make_study: Any, walked: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Against plain rejection from the coded box, by simplices and by the walk."""
    if walked:
        monkeypatch.setattr(sampling, "triangulate", without_simplices)
    factors = [{"name": n, "low": 1, "high": 50, "spacing": "log"} for n in ("dose", "time")]
    study = make_study((), factors, limits=[{"sum": {"dose": 1.0, "time": 1.0}, "at_most": 51}])
    region = region_of(study)
    coded = code(sample_region(region, N, np.random.default_rng(7)), region.coding)

    box = np.random.default_rng(8).uniform(-1, 1, (200_000, 2))
    kept = box[(50 ** ((box + 1) / 2)).sum(axis=1) <= 51]
    wide = 3 * NEAR if walked else NEAR
    np.testing.assert_allclose(coded.mean(axis=0), kept.mean(axis=0), atol=wide)
    np.testing.assert_allclose(coded.std(axis=0), kept.std(axis=0), atol=wide)


def without_simplices(_: Polytope) -> None:
    """Stand in for a polytope that is too rich to be split."""


def test_walk_and_simplices_agree_on_a_thin_blend(
    make_study: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Eight shares with tight limits: the fast exact way against the slow general one."""
    region = region_of(make_study(EIGHT))
    exact = sample_region(region, N, np.random.default_rng(9))
    monkeypatch.setattr(sampling, "triangulate", without_simplices)
    walked = sample_region(region, 6000, np.random.default_rng(10))

    assert region.contains(walked, 1e-9).all()
    spread = exact.std(axis=0)
    np.testing.assert_allclose((walked.mean(axis=0) - exact.mean(axis=0)) / spread, 0, atol=0.1)
    np.testing.assert_allclose(walked.std(axis=0) / spread, 1, atol=0.06)


def test_the_walk_covers_a_union_of_pieces(
    make_study: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The L again, walked, with a limit that ties the two factors."""
    factors = [{"name": "dose", "low": 0, "high": 2}, {"name": "time", "low": 0, "high": 2}]
    study = make_study(
        (),
        factors,
        limits=[{"sum": {"dose": 1.0, "time": 1.0}, "at_most": 3.9}],
        forbids=[{"settings": {"dose": "> 1", "time": "> 1"}}],
    )
    monkeypatch.setattr(sampling, "triangulate", without_simplices)
    values = sample_region(region_of(study), 10_000, np.random.default_rng(11))

    shares = [np.mean(values[:, 0] > 1), np.mean(values[:, 1] > 1)]
    np.testing.assert_allclose(shares, 1 / 3, atol=0.03)


def test_a_slice_without_width_is_not_drawn_beside_a_full_piece(make_study: Any) -> None:
    """`dose > 0` forbidden with long times leaves dose 0 there, which has no area."""
    factors = [{"name": "dose", "low": 0, "high": 2}, {"name": "time", "low": 0, "high": 2}]
    study = make_study((), factors, forbids=[{"settings": {"dose": "> 0", "time": "> 1"}}])
    values = sample_region(region_of(study), 500, np.random.default_rng(12))

    assert values[:, 1].max() <= 1

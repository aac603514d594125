"""Dose arithmetic against worked numbers.

Source: the trade brief of this project, checks 1 to 7: calculated from the definitions, but the
first, which is the worked case of a published dispersant note on phthalocyanine blue (read).
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import pytest

from doe.recipe.dosing import (
    active_g,
    active_on_whole,
    as_supplied_g,
    coverage_of,
    dose_from_coverage,
    dose_from_whole,
    dose_of,
    pigment_in_paint,
    supplied_on_pigment,
    supplied_shares,
    water_inside_g,
)

SHARES = {"wetting agent": 0.15, "dispersant": 0.55, "co-additive": 0.30}
ACTIVE = {"wetting agent": 70.0, "dispersant": 40.0, "co-additive": 35.0}


def test_dose_from_coverage_is_the_published_case() -> None:
    """2 mg/m² on 50 m²/g is 10 % active on pigment."""
    assert dose_from_coverage(2.0, 50.0) == pytest.approx(10.0, abs=1e-12)


def test_coverage_from_dose() -> None:
    """1.8 % on 12 m²/g is 1.5 mg/m²."""
    assert coverage_of(1.8, 12.0) == pytest.approx(1.5, abs=1e-12)


def test_grams_of_one_additive() -> None:
    """600 g at 1.8 % are 10.8 g active, 27.0 g at 40 % active, with 16.2 g of water in them."""
    active = active_g(1.8, 600.0)
    supplied = as_supplied_g(active, 40.0)

    assert active == pytest.approx(10.8, abs=0.05)
    assert supplied == pytest.approx(27.0, abs=0.05)
    assert water_inside_g(supplied, 40.0) == pytest.approx(16.2, abs=0.05)


def test_as_supplied_on_pigment() -> None:
    """1.8 % active on pigment at 40 % active is 4.5 % as supplied on pigment."""
    assert supplied_on_pigment(1.8, 40.0) == pytest.approx(4.5, abs=1e-12)


def test_blend_as_supplied() -> None:
    """10.8 g active in shares .15/.55/.30 of actives .70/.40/.35."""
    grams = [as_supplied_g(10.8 * share, ACTIVE[name]) for name, share in SHARES.items()]

    assert grams == pytest.approx([2.3143, 14.8500, 9.2571], abs=0.00005)
    assert sum(grams) == pytest.approx(26.4214, abs=0.00005)


def test_shares_as_supplied() -> None:
    """The same blend counted as supplied: not the shares of active matter."""
    shares = supplied_shares(SHARES, ACTIVE)

    assert [100 * one for one in shares.values()] == pytest.approx(
        [8.7591, 56.2044, 35.0365], abs=0.00005
    )


def test_ways_there_and_back_agree() -> None:
    """Dose to mill base, to paint and to grams, and back."""
    assert dose_of(active_g(1.8, 600.0), 600.0) == pytest.approx(1.8)
    assert dose_from_whole(active_on_whole(1.8, 60.0), 60.0) == pytest.approx(1.8)
    # 100 g of mill base in 400 g of paint: a quarter of 1.08 %.
    in_paint = pigment_in_paint(60.0, 100.0, 300.0)
    assert active_on_whole(1.8, in_paint) == pytest.approx(0.27)

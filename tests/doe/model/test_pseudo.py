"""Pseudo-components and the consistency of share limits."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from doe.model.coding import coding_of
from doe.model.pseudo import from_pseudo, implied_share_limits, lowest_shares, to_pseudo


def test_limits_out_of_reach_are_tightened() -> None:
    """Piepel (1983): U* = min(U, 1 − Σ other L), L* = max(L, 1 − Σ other U)."""
    low, high = implied_share_limits(np.array([0.1, 0.4, 0.0]), np.array([0.2, 0.9, 0.2]))

    np.testing.assert_allclose(low, [0.1, 0.6, 0.0])
    np.testing.assert_allclose(high, [0.2, 0.9, 0.2])


def test_pseudo_components_use_the_implied_lower_limits(make_study: Any) -> None:
    """A stated low that cannot be reached would leave a hole in the simplex."""
    coding = coding_of(
        make_study(
            [
                {"name": "wetting agent", "low": 0.1, "high": 0.2},
                {"name": "dispersant", "low": 0.4, "high": 0.9},
            ]
        )
    )

    np.testing.assert_allclose(lowest_shares(coding), [0.1, 0.8])


@pytest.mark.parametrize(
    ("pseudo", "printed"),
    [
        ((1.0, 0.0, 0.0), (0.5, 0.4, 0.1)),
        ((0.0, 1.0, 0.0), (0.3, 0.6, 0.1)),
        ((0.0, 0.0, 1.0), (0.3, 0.4, 0.3)),
        ((0.5, 0.5, 0.0), (0.4, 0.5, 0.1)),
        ((0.5, 0.0, 0.5), (0.4, 0.4, 0.2)),
        ((0.0, 0.5, 0.5), (0.3, 0.5, 0.2)),
    ],
)
def test_pseudo_components_agree_with_the_handbook(
    pseudo: tuple[float, ...], printed: tuple[float, ...]
) -> None:
    """Source: NIST/SEMATECH e-Handbook 5.5.4.4, Table 5.5, lower limits 0.3, 0.4, 0.1.

    Tolerance: the printed real shares are exact decimals.
    """
    low = np.array([0.3, 0.4, 0.1])

    np.testing.assert_allclose(from_pseudo(np.array([pseudo]), low)[0], printed, atol=1e-12)
    np.testing.assert_allclose(to_pseudo(np.array([printed]), low)[0], pseudo, atol=1e-12)


def test_a_package_of_one_point_stays_in_real_shares() -> None:
    """ΣL = 1 leaves nothing to stretch, and nothing to divide by."""
    shares = np.array([[0.3, 0.7]])

    np.testing.assert_array_equal(to_pseudo(shares, np.array([0.3, 0.7])), shares)

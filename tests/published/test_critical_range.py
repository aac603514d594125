"""Critical range factors against the printed table."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from analysis.lab.doubts.repeats import critical_range_factor


@pytest.mark.parametrize(
    ("n", "printed"),
    [(2, 2.8), (3, 3.3), (4, 3.6), (5, 3.9), (6, 4.0), (7, 4.2), (8, 4.3), (9, 4.4), (10, 4.5)],
)
def test_factors_agree_with_iso_5725_6(n: int, printed: float) -> None:
    """Source: ISO 5725-6:1994, critical range factors f(n) [from memory].

    Tolerance: half a unit in the last printed digit.
    """
    assert critical_range_factor(n) == pytest.approx(printed, abs=0.05)


@pytest.mark.parametrize("n", [2, 3, 5, 12])
def test_one_range_in_twenty_passes_it(n: int) -> None:
    """P(range ≤ q) = n ∫ φ(z) [Φ(z) − Φ(z − q)]^(n−1) dz [calculated, by another way]."""
    q = critical_range_factor(n)

    def density(z: float) -> float:
        inside = stats.norm.cdf(z) - stats.norm.cdf(z - q)
        return float(n * stats.norm.pdf(z) * inside ** (n - 1))

    below, _ = integrate.quad(density, -9, 9 + q)

    assert below == pytest.approx(0.95, abs=1e-7)
    assert np.isfinite(q)

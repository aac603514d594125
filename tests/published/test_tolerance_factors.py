"""Factors of tolerance and prediction intervals against printed tables.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.3 (read as a transcription);
ISO 16269-6 and Odeh and Owen (1980), Tables for Normal Tolerance Limits, 95/95 (from memory);
Hahn and Meeker (1991), Statistical Intervals, the example of five circuit packs (from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.agreement.factors import (
    prediction_factor,
    tolerance_factor_one_sided,
    tolerance_factor_two_sided,
)


@pytest.mark.parametrize(("n", "printed"), [(43, 1.8740), (6, 4.4111)])
def test_one_sided_factors_are_those_of_the_handbook(n: int, printed: float) -> None:
    """NIST, 90 % of all values with 99 % confidence, by the noncentral t. Read."""
    assert tolerance_factor_one_sided(n, 0.90, 0.99) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(
    ("n", "one", "two"),
    [(5, 4.203, 5.077), (10, 2.911, 3.393), (20, 2.396, 2.760), (30, 2.220, 2.555),
     (50, 2.065, 2.382), (100, 1.927, 2.234)],
)  # fmt: skip
def test_95_95_factors_are_those_of_the_tables(n: int, one: float, two: float) -> None:
    """95 % of all values with 95 % confidence, exact. From memory."""
    assert tolerance_factor_one_sided(n, 0.95, 0.95) == pytest.approx(one, abs=0.0006)
    assert tolerance_factor_two_sided(n, 0.95, 0.95) == pytest.approx(two, abs=0.0011)


def test_one_further_value_lies_where_the_example_says() -> None:
    """Hahn and Meeker: five values, mean 50.10, s 1.31: one more in 46.1 to 54.1. From memory."""
    half = 1.31 * prediction_factor(5, 1, 0.95)
    assert 50.10 - half == pytest.approx(46.1, abs=0.05)
    assert 50.10 + half == pytest.approx(54.1, abs=0.05)


@pytest.mark.parametrize(("n", "m"), [(3, 3), (5, 2), (10, 5)])
def test_all_of_some_further_values_agree_with_the_multivariate_t(n: int, m: int) -> None:
    """(y − mean)/s of m values is multivariate t, scale 1 + 1/n, covariance 1/n. Calculated."""
    r = prediction_factor(n, m, 0.95)
    shape = np.full((m, m), 1.0 / n) + np.eye(m)
    t = stats.multivariate_t(np.zeros(m), shape, df=n - 1, seed=1)
    assert t.cdf(np.full(m, r), lower_limit=np.full(m, -r)) == pytest.approx(0.95, abs=5e-4)


def test_fewer_of_the_values_need_less_room() -> None:
    """Two of three lie within less than all three, and one value needs Student's t. Calculated."""
    three = [prediction_factor(6, 3, 0.95, k=k) for k in (1, 2, 3)]
    assert three == sorted(three)
    one_sided = prediction_factor(6, 1, 0.95, two_sided=False)
    assert one_sided == pytest.approx(stats.t.ppf(0.95, 5) * (7 / 6) ** 0.5, rel=1e-9)
    with pytest.raises(ValueError, match="scatter"):
        prediction_factor(1, 1, 0.95)

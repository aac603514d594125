"""Power against the exercises of Cohen and an independent calculation.

Sources: Cohen (1988), exercises as quoted by the R package pwr 1.3.0; exact values by pwr on
R 4.2.2 (tests/reference/cohen-power/, R_pwr.* entries). The two-digit answers of Cohen's tables
are recalled there; only the exact ones are used here.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from scipy import stats

from doe.appraisal.power import f_power, t_power

CASE = Path(__file__).parents[2] / "reference" / "cohen-power" / "expected.json"
EXACT = {v["id"]: v["value"] for v in json.loads(CASE.read_text())["values"]}
# pwr's integration agrees with the noncentral distributions to seven digits.
TOLERANCE = 1e-6


def test_two_sample_t() -> None:
    """Exercise 2.1: d = 2/2.8, 30 a group, two-sided."""
    shift = 2 / 2.8 * (30 / 2) ** 0.5

    assert t_power(shift, 58) == pytest.approx(EXACT["R_pwr.ex2.1.power"], abs=TOLERANCE)


def test_one_sample_t() -> None:
    """Exercise 2.5: d = 0.2, n = 60, alpha 0.10, two-sided."""
    assert t_power(0.2 * 60**0.5, 59, 0.10) == pytest.approx(
        EXACT["R_pwr.ex2.5.power"], abs=TOLERANCE
    )


def test_paired_t() -> None:
    """Page 50: d = 8 / (16 √0.8), n = 40."""
    shift = 8 / (16 * 0.8**0.5) * 40**0.5

    assert t_power(shift, 39) == pytest.approx(EXACT["R_pwr.ex.p50.power"], abs=TOLERANCE)


def test_one_sided_t() -> None:
    """Exercise 2.3: d = 0.6, groups of 90 and 60, one-sided."""
    shift = 0.6 * (90 * 60 / 150) ** 0.5

    assert t_power(shift, 148, two_sided=False) == pytest.approx(
        EXACT["R_pwr.ex2.3.power"], abs=TOLERANCE
    )


def test_one_way_f() -> None:
    """Exercise 8.1: f = 0.28, four groups of 20."""
    assert f_power(0.28**2 * 80, 3, 76) == pytest.approx(EXACT["R_pwr.ex8.1.power"], abs=TOLERANCE)


def test_regression_f() -> None:
    """Exercise 9.1: u = 5, v = 89, f² = 0.1/0.9; pwr takes f² (u + v + 1)."""
    noncentrality = 0.1 / 0.9 * 95

    assert f_power(noncentrality, 5, 89) == pytest.approx(EXACT["R_pwr.ex9.1.power"], abs=TOLERANCE)


def test_no_effect_has_the_power_of_a_false_alarm() -> None:
    """At zero noncentrality power is alpha."""
    assert f_power(1e-12, 1, 8, 0.05) == pytest.approx(0.05, abs=1e-9)


def test_a_huge_effect_is_certain() -> None:
    """Where the series of the noncentral distribution would fail."""
    assert f_power(1e9, 1, 5) == 1.0


@pytest.mark.parametrize("df", [1, 2, 5, 30])
@pytest.mark.parametrize("error_df", [1, 3, 10, 200])
@pytest.mark.parametrize("noncentrality", [0.01, 1.0, 8.0, 60.0, 900.0])
def test_the_light_functions_agree_with_the_full_distributions(
    df: int, error_df: int, noncentrality: float
) -> None:
    """scipy.special loads in a fraction of the time of scipy.stats, and must be as right."""
    critical = stats.f.isf(0.05, df, error_df)
    whole = stats.ncf.sf(critical, df, error_df, noncentrality)

    assert f_power(noncentrality, df, error_df) == pytest.approx(whole, abs=1e-8)

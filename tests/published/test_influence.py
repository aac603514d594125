"""Leverage, deleted residuals, Cook's distance, PRESS and variance inflation on two textbook sets.

Sources:
    Montgomery, Peck and Vining, Introduction to Linear Regression Analysis, delivery times
    (Examples 3.1, 4.6, 6.1). The printed PRESS 457.4000 sums rounded entries; full precision gives
    459.0393 (see SOURCE.md).
    Hald (1952) cement, as in Draper and Smith, Applied Regression Analysis.
Tolerance: half a unit of the last printed digit, or 1e-8 against an independent calculation.
"""

from __future__ import annotations

import pytest

from analysis.fits.assessment import Assessment
from analysis.fits.fitted_response import fit_response
from tests.analysis.fits.adopted_table import (
    adopt,
    computed,
    published,
    range_factor,
    reference_rows,
    study_of,
)

DELIVERY, CEMENT = "mpv-delivery-time", "hald-cement-vif"


def _linear(case: str, factors: tuple[str, ...]) -> Assessment:
    study = study_of(factors=[range_factor(name) for name in factors])
    data, coding = adopt(study, reference_rows(case), "y")
    return fit_response(data, coding, model="linear").assessment


@pytest.fixture(scope="module")
def delivery() -> Assessment:
    """Delivery time over cases and distance, in their own units."""
    return _linear(DELIVERY, ("x1", "x2"))


def test_delivery_times_regression(delivery: Assessment) -> None:
    """2.34123 + 1.61591 cases + 0.01438 distance."""
    printed = published(DELIVERY)
    for row, name in zip(delivery.coefficients, ("b0", "cases", "distance"), strict=True):
        assert row.estimate == pytest.approx(printed[f"coef.{name}"][0], abs=5e-6)
        assert row.std_error == pytest.approx(printed[f"se.{name}"][0], abs=5e-6)
    residual = next(r for r in delivery.anova if r.source == "residual")
    total = next(r for r in delivery.anova if r.source == "total")

    assert residual.ss == pytest.approx(printed["SSRes"][0], abs=5e-5)
    assert total.ss == pytest.approx(printed["SST"][0], abs=5e-5)
    assert delivery.r2 == pytest.approx(printed["R2"][0], abs=5e-5)
    assert delivery.r2_adjusted == pytest.approx(printed["R2adj"][0], abs=5e-5)


def test_delivery_times_run_nine(delivery: Assessment) -> None:
    """Leverage 0.49829, internal residual 3.2138, external 4.3108, Cook's distance 3.419."""
    printed, reference = published(DELIVERY), computed(DELIVERY)
    nine = delivery.runs[8]

    assert nine.leverage == pytest.approx(printed["h9"][0], abs=5e-6)
    assert nine.studentised_internal == pytest.approx(printed["studentized.9"][0], abs=5e-5)
    assert nine.studentised == pytest.approx(printed["rstudent.9"][0], abs=5e-5)
    assert nine.cook == pytest.approx(reference["cook.9.full"], rel=1e-8)


def test_delivery_times_press_and_inflation(delivery: Assessment) -> None:
    """PRESS 459.0393, predicted R² 0.9206, VIF 3.1 for both."""
    reference = computed(DELIVERY)

    assert delivery.press == pytest.approx(reference["PRESS.full"], rel=1e-9)
    assert delivery.r2_predicted == pytest.approx(reference["R2pred.full"], rel=1e-9)
    assert delivery.vif["intercept"] is None
    assert delivery.vif["x1"] == pytest.approx(3.1, abs=0.05)
    assert delivery.vif["x2"] == pytest.approx(3.1, abs=0.05)


def test_delivery_times_outlier_passes_the_limit_for_all_runs(delivery: Assessment) -> None:
    """Run 9 stands beyond t(0.05 / 50, 21) = 3.527."""
    assert [outlier.run for outlier in delivery.outliers] == [9]
    assert delivery.outlier_limit == pytest.approx(3.527, abs=0.0005)


def test_cement_regression_and_its_inflation() -> None:
    """Four nearly tied constituents: VIF from 38 to 283."""
    known, printed = _linear(CEMENT, ("x1", "x2", "x3", "x4")), published(CEMENT)
    for row, name in zip(known.coefficients, ("b0", "x1", "x2", "x3", "x4"), strict=True):
        for key, value in (
            ("coef", row.estimate),
            ("se", row.std_error),
            ("VIF", known.vif[row.label]),
        ):
            if f"{key}.{name}" in printed:
                expected, tolerance = printed[f"{key}.{name}"]
                assert value == pytest.approx(expected, abs=tolerance)

    residual = next(r for r in known.anova if r.source == "residual")
    assert residual.ss == pytest.approx(printed["SSRes"][0], abs=printed["SSRes"][1])
    assert known.press == pytest.approx(printed["full.PRESS"][0], abs=printed["full.PRESS"][1])
    assert known.r2_predicted == pytest.approx(computed(CEMENT)["R2pred.full"], rel=1e-8)
    assert known.condition == pytest.approx(computed(CEMENT)["cond.X.scaled"], rel=1e-8)


@pytest.mark.parametrize(
    ("factors", "name"), [(("x1", "x2"), "x1x2.PRESS"), (("x1", "x2", "x4"), "x1x2x4.PRESS")]
)
def test_cement_subsets_by_press(factors: tuple[str, ...], name: str) -> None:
    """93.88 and 85.35."""
    expected, tolerance = published(CEMENT)[name]

    assert _linear(CEMENT, factors).press == pytest.approx(expected, abs=tolerance)

"""Second-order fits of the two-response chemical process and of the 13-run central composite.

Sources:
    Myers and Montgomery, Response Surface Methodology (conversion and activity), equations as
    printed in Kuhn (2016), desirability vignette; four of them are slips (see SOURCE.md) and the
    refitted values stand for them.
    Montgomery (2012), Design and Analysis of Experiments, 8th ed., Example 11.2.
Tolerance: half a unit of the last printed digit, or 1e-8 against an independent least squares.
"""

from __future__ import annotations

import pytest

from analysis.fits.fitted_response import FittedResponse, fit_response
from tests.analysis.fits.adopted_table import (
    adopt,
    computed,
    published,
    range_factor,
    reference_rows,
    study_of,
)

PROCESS = "mm-chemical-process"
THREE = "montgomery-ex11.2-three-responses"


def _fit(case: str, response: str, factors: tuple[str, ...], model: str) -> FittedResponse:
    study = study_of(factors=[range_factor(name) for name in factors])
    data, coding = adopt(study, reference_rows(case), response)
    return fit_response(data, coding, model=model)


def _short(label: str) -> str:
    return label.replace("intercept", "b0").replace(" × ", "").replace("²", "^2")


@pytest.mark.parametrize("response", ["conversion", "activity"])
def test_conversion_and_activity_equations(response: str) -> None:
    """Printed coefficients where they are no slips, refitted ones everywhere."""
    known = _fit(PROCESS, response, ("x1", "x2", "x3"), "quadratic").assessment
    printed, reference = published(PROCESS), computed(PROCESS)

    for row in known.coefficients:
        name = f"{response}.{_short(row.label)}"
        assert row.estimate == pytest.approx(reference[f"{name}.full"], rel=1e-8)
        if name in printed:
            expected, tolerance = printed[name]
            assert row.estimate == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("response", ["conversion", "activity"])
def test_checks_of_conversion_and_activity(response: str) -> None:
    """R², adjusted and predicted R², PRESS and lack of fit on (5, 5) degrees of freedom."""
    known = _fit(PROCESS, response, ("x1", "x2", "x3"), "quadratic").assessment
    reference = computed(PROCESS)
    lack = known.lack_of_fit[0]
    found = {
        "R2": known.r2,
        "R2adj": known.r2_adjusted,
        "s": known.residual_sd,
        "press": known.press,
        "R2pred": known.r2_predicted,
        "lof.F": lack.f,
    }

    assert (lack.df, lack.den_df) == (5, 5)
    for key, value in found.items():
        assert value == pytest.approx(reference[f"{response}.{key}"], rel=1e-8)


def test_an_activity_that_predicts_badly_is_doubted() -> None:
    """Predicted R² 0.25 against adjusted 0.79, and a lack of fit at p 0.02."""
    said = " ".join(
        f.what for f in _fit(PROCESS, "activity", ("x1", "x2", "x3"), "quadratic").findings
    )

    assert "much better than it predicts" in said
    assert "misses more than replicates scatter" in said


@pytest.mark.parametrize(
    ("response", "column", "model"),
    [
        ("yield", "yield_", "quadratic"),
        ("viscosity", "viscosity", "quadratic"),
        ("mw", "mw", "linear"),
    ],
)
def test_three_responses_of_example_11_2(response: str, column: str, model: str) -> None:
    """Yield 79.94 + 0.99 x1 + 0.52 x2 + 0.25 x1x2 − 1.38 x1² − 1.00 x2², and its two companions."""
    known = _fit(THREE, column, ("x1", "x2"), model).assessment
    printed, reference = published(THREE), computed(THREE)
    by_name = {_short(row.label): row.estimate for row in known.coefficients}
    order = ["b0", "x1", "x2", "x1x2", "x1^2", "x2^2"][: len(by_name)]

    assert [by_name[name] for name in order] == pytest.approx(
        reference[f"{response}.coef"], rel=1e-8
    )
    assert known.r2 == pytest.approx(reference[f"{response}.R2"], rel=1e-8)
    assert known.residual_sd == pytest.approx(reference[f"{response}.s"], rel=1e-8)
    assert known.press == pytest.approx(reference[f"{response}.press"], rel=1e-8)
    for name, value in by_name.items():
        if f"{response}.{name}" in printed:
            expected, tolerance = printed[f"{response}.{name}"]
            assert value == pytest.approx(expected, abs=tolerance)


def test_lack_of_fit_of_the_yield() -> None:
    """F(3, 4) from five centre runs."""
    lack = _fit(THREE, "yield_", ("x1", "x2"), "quadratic").assessment.lack_of_fit[0]

    assert (lack.df, lack.den_df) == (3, 4)
    assert lack.f == pytest.approx(computed(THREE)["yield.lof.F"], rel=1e-8)

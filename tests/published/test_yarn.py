"""The yarn blends: a Scheffé quadratic fit with everything that is printed of it.

Source: NIST/SEMATECH e-Handbook, section 5.5.4.2, Tables 5.3 and 5.4; data from Cornell (1990). The
handbook's model sum of squares 2878.27 is uncorrected against its own degrees of freedom; the
corrected one, 128.296, is checked. Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.least_squares import solve_least_squares
from analysis.fits.sources import LINEAR_BLENDING
from tests.analysis.fits.adopted_table import adopt, computed, published, reference_rows, study_of

CASE = "nist-yarn-simplex-lattice"
LABELS = {
    "x1": "x1", "x2": "x2", "x3": "x3",
    "x1x2": "x1 × x2", "x1x3": "x1 × x3", "x2x3": "x2 × x3",
}  # fmt: skip


@pytest.fixture(scope="module")
def yarn() -> FittedResponse:
    """The quadratic blend model."""
    study = study_of(shares=[{"name": name, "low": 0, "high": 1} for name in ("x1", "x2", "x3")])
    data, coding = adopt(study, reference_rows(CASE), "elongation")
    return fit_response(data, coding, model="quadratic")


@pytest.mark.parametrize("name", LABELS)
def test_coefficients_errors_and_t_are_the_printed_ones(yarn: FittedResponse, name: str) -> None:
    """11.7, 9.4, 16.4, 19.0, 11.4, −9.6."""
    row = {r.label: r for r in yarn.assessment.coefficients}[LABELS[name]]
    printed = published(CASE)

    for key, value in (("coef", row.estimate), ("se", row.std_error), ("t", row.t)):
        expected, tolerance = printed[f"{key}.{name}"]
        assert value == pytest.approx(expected, abs=tolerance)
    if f"p.{name}" in printed:
        expected, tolerance = printed[f"p.{name}"]
        assert row.p == pytest.approx(expected, abs=tolerance)


def test_summary_is_the_printed_one(yarn: FittedResponse) -> None:
    """R² of a blend model is taken about the mean."""
    known, printed = yarn.assessment, published(CASE)
    found = {
        "R2": known.r2,
        "R2adj": known.r2_adjusted,
        "rmse": known.residual_sd,
        "mean": known.mean,
    }

    for key, value in found.items():
        assert value == pytest.approx(printed[key][0], abs=printed[key][1])


def test_anova_is_corrected_for_the_mean(yarn: FittedResponse) -> None:
    """Model sum of squares 128.296 on p − 1 = 5 degrees of freedom."""
    rows = yarn.assessment.anova
    model = [r for r in rows if r.kind == "sequential"][:4]
    residual = next(r for r in rows if r.source == "residual")
    total = next(r for r in rows if r.source == "total")

    assert sum(r.ss for r in model) == pytest.approx(128.296, abs=0.0005)
    assert sum(r.df for r in model) == 5
    assert (residual.df, residual.ss) == (9, pytest.approx(6.56, abs=0.005))
    assert residual.ms == pytest.approx(0.7289, abs=0.00005)
    assert (total.df, total.ss) == (14, pytest.approx(128.296 + 6.56, abs=0.0005))


def test_a_single_share_has_no_p(yarn: FittedResponse) -> None:
    """That a pure additive gives a response of zero is no question of the lab's."""
    single = {r.label: r.p for r in yarn.assessment.coefficients if "×" not in r.label}

    assert single == {"x1": None, "x2": None, "x3": None}


def test_the_blend_model_as_a_whole_against_the_mean(yarn: FittedResponse) -> None:
    """F(5, 9) 35.203 of the corrected analysis, computed independently."""
    rows = [r for r in yarn.assessment.anova if r.kind == "sequential"][:4]
    residual = next(r for r in yarn.assessment.anova if r.source == "residual")

    assert residual.ms is not None
    f = sum(r.ss for r in rows) / 5 / residual.ms
    assert f == pytest.approx(computed(CASE)["anova.corrected.F"], rel=1e-9)
    assert yarn.assessment.press == pytest.approx(computed(CASE)["press"], rel=1e-9)
    assert yarn.assessment.r2_predicted == pytest.approx(computed(CASE)["R2pred"], rel=1e-9)


def test_linear_blending_is_tested_as_equal_coefficients(yarn: FittedResponse) -> None:
    """What the fit loses when one constant takes the place of the three shares."""
    row = next(
        r for r in yarn.assessment.anova if (r.source, r.kind) == (LINEAR_BLENDING, "partial")
    )
    rows = reference_rows(CASE)
    x = np.array([[float(r[name]) for name in ("x1", "x2", "x3")] for r in rows])
    y = np.array([float(r["elongation"]) for r in rows])
    pairs = np.column_stack([x[:, 0] * x[:, 1], x[:, 0] * x[:, 2], x[:, 1] * x[:, 2]])
    lost = solve_least_squares(np.column_stack([np.ones(15), pairs]), y).rss - 6.56

    assert (row.df, row.ss) == (2, pytest.approx(lost, rel=1e-9))

"""Levels of a choice, compared between range middles and at equal real value."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.fits.fit import Fit, Scale
from analysis.surface.level_comparison import LevelComparison, compare_levels
from analysis.surface.predict import predict_response
from doe.model.coding import coding_of
from doe.model.matrix import model_columns, model_matrix
from doe.model.region import Region, region_of
from doe.model.terms import make_model
from doe.study.brief_file import parse_brief

BRIEF = """\
format = 1
[study]
title = "Invented chemistries"
[[factor]]
name = "chemistry"
levels = ["none", "polyacrylate", "electrosteric", "multi-anchor"]
[[factor]]
name = "dose"
unit = "%"
spacing = "log"
[[factor.range]]
when = { chemistry = "polyacrylate" }
low = 0.3
high = 0.9
[[factor.range]]
when = { chemistry = "electrosteric" }
low = 0.6
high = 2.4
[[factor.range]]
when = { chemistry = "multi-anchor" }
low = 1.0
high = 3.0
[[factor]]
name = "pH"
low = 8.0
high = 9.5
[[factor]]
name = "order of addition"
levels = ["dispersant first", "pigment first"]
[[response]]
name = "viscosity"
scale = "log"
"""
STUDY = parse_brief(BRIEF.encode())


@pytest.fixture(scope="module")
def region() -> Region:
    """The region of the study."""
    return region_of(STUDY)


@pytest.fixture(scope="module")
def fit(region: Region) -> Fit:
    """A least-squares fit of invented readings over the whole region, made by plain algebra."""
    coding = coding_of(STUDY)
    rng = np.random.default_rng(3)
    grid = [
        (chemistry, dose, pH, order)
        for chemistry, doses in enumerate(
            [(np.nan,), (0.3, 0.5, 0.9), (0.6, 1.2, 2.4), (1.0, 1.7, 3.0)]
        )
        for dose in doses
        for pH in (8.0, 8.75, 9.5)
        for order in (0, 1)
    ]
    values = np.array(grid, dtype=np.float64)
    model = make_model("quadratic", coding)
    X = model_matrix(values, coding, model)
    y = 6 + rng.normal(size=len(values)) + 0.3 * values[:, 0]
    b = np.linalg.lstsq(X, y, rcond=None)[0]
    df = len(y) - X.shape[1]
    s2 = float(np.sum((y - X @ b) ** 2)) / df
    return Fit(
        response="viscosity", unit="mPa·s", per="batch", scale=Scale(name="log"), coding=coding,
        model=model, columns=model_columns(model, coding), coefficients=b,
        covariance=s2 * np.linalg.inv(X.T @ X), coefficient_df=np.full(X.shape[1], float(df)),
        components={"residual": s2}, component_df={"residual": float(df)}, n=len(y),
        runs=tuple(range(1, len(y) + 1)),
    )  # fmt: skip


def test_at_equal_real_value_is_the_difference_of_two_predictions(fit: Fit, region: Region) -> None:
    """The other choice is averaged, pH in its middle; the shared doses are 0.6 to 0.9."""
    found = _find(fit, region, "polyacrylate", "electrosteric", "dose")
    dose = np.sqrt(0.6 * 0.9)
    value = [
        np.mean(
            np.log(
                predict_response(
                    fit, np.array([[level, dose, 8.75, 0.0], [level, dose, 8.75, 1.0]])
                ).value
            )
        )
        for level in (1.0, 2.0)
    ]

    assert found.value == pytest.approx(dose)
    assert found.estimate == pytest.approx(value[0] - value[1])
    assert found.values == pytest.approx(np.exp(value))


def test_between_the_range_middles_is_what_the_main_effect_compares(
    fit: Fit, region: Region
) -> None:
    """Sum-to-zero coefficients differ by just that; the error follows from their covariance."""
    found = _find(fit, region, "polyacrylate", "electrosteric")
    labels = [(c.term.names, dict(c.levels).get("chemistry")) for c in fit.columns]
    i, j = (labels.index((("chemistry",), level)) for level in ("polyacrylate", "electrosteric"))
    variance = fit.covariance[i, i] + fit.covariance[j, j] - 2 * fit.covariance[i, j]
    df = float(fit.coefficient_df[0])

    assert found.estimate == pytest.approx(fit.coefficients[i] - fit.coefficients[j])
    assert found.std_error == pytest.approx(np.sqrt(variance))
    assert found.interval is not None
    assert found.estimate is not None
    assert found.interval[1] - found.estimate == pytest.approx(
        stats.t.ppf(0.975, df) * np.sqrt(variance)
    )


def test_levels_without_a_shared_value_say_why(fit: Fit, region: Region) -> None:
    """One lacks the factor, or the ranges do not meet."""
    lacking = _find(fit, region, "none", "electrosteric", "dose")
    apart = _find(fit, region, "polyacrylate", "multi-anchor", "dose")

    assert (lacking.estimate, lacking.why_not) == (None, "none without dose")
    assert (apart.estimate, apart.why_not) == (None, "no dose that both ranges hold")


def test_only_choices_with_ranges_are_compared(fit: Fit, region: Region) -> None:
    """An order of addition has no ranges hanging on it."""
    found = compare_levels(fit, region)

    assert {one.choice for one in found} == {"chemistry"}
    assert len(found) == 6 * 2


def _find(fit: Fit, region: Region, first: str, second: str, setting: str = "") -> LevelComparison:
    return next(
        one
        for one in compare_levels(fit, region)
        if one.levels == (first, second) and one.setting == setting
    )

"""Levels of a choice, compared between range middles and at equal real value."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.fits.fit import Fit
from analysis.surface.level_comparison import LevelComparison, compare_levels
from analysis.surface.predict import predict_response
from doe.model.region import Region, region_of
from tests.analysis.chemistries import STUDY, chemistry_fit


@pytest.fixture(scope="module")
def region() -> Region:
    """The region of the study."""
    return region_of(STUDY)


@pytest.fixture(scope="module")
def fit() -> Fit:
    """A least-squares fit of invented readings."""
    return chemistry_fit()


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

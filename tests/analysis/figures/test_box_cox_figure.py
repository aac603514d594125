"""The likelihood figure of powers: the curve of the published cases, its interval, its marks.

Source: Box and Cox (1964), J. R. Stat. Soc. B 26, 211-252: survival times λ −0.75 (−1.13 to −0.37),
worsted yarn λ −0.06 (−0.18 to 0.06). Data and provenance in tests/reference/.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.figures.box_cox import draw_box_cox, power_in_use, profile_curve
from analysis.fits.fit import Scale
from analysis.fits.fitted_response import FittedResponse, fit_response
from tests.analysis.figures.test_album import lies_on_paper, words_on
from tests.analysis.fits.adopted_table import adopt, range_factor, reference_rows, study_of

DROP = float(stats.chi2.ppf(0.95, 1)) / 2


def _yarn(scale: Scale) -> FittedResponse:
    study = study_of(factors=[range_factor(name) for name in ("x1", "x2", "x3")])
    data, coding = adopt(study, reference_rows("boxcox-1964-textile"), "y")
    return fit_response(data, coding, model="linear", scale=scale)


def test_the_curve_peaks_and_crosses_where_the_published_interval_is() -> None:
    """Zero at λ, half the chi-squared quantile below it at both ends of the interval."""
    found = _yarn(Scale()).assessment.box_cox
    assert found is not None
    x, height = profile_curve(found, DROP)
    inside = x[height >= -DROP]
    step = x[1] - x[0]

    assert x[np.argmax(height)] == pytest.approx(-0.06, abs=0.005 + step)
    assert (inside[0], inside[-1]) == pytest.approx((-0.18, 0.06), abs=0.005 + step)
    assert height.max() == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(
    ("scale", "word"),
    [(Scale(), "as read"), (Scale(name="log"), "ln y"), (Scale(name="power", power=2.0), "λ 2")],
)
def test_powers_are_named_and_nothing_leaves_the_paper(scale: Scale, word: str) -> None:
    """All usual powers, and the one in use where it is none of them."""
    fitted = _yarn(scale)
    assert fitted.assessment.box_cox is not None
    drawn = draw_box_cox(fitted.fit, fitted.assessment.box_cox)
    words = words_on(drawn.figure)

    assert all(name in words for name in ("as read", "√y", "ln y", "1/√y", "1/y", word))
    assert lies_on_paper(drawn)
    assert f"λ {power_in_use(scale):g}" in drawn.caption

"""Models beside the one in use: said by what differs, and nothing where nothing was left out."""

from __future__ import annotations

import numpy as np

from analysis.fits.fitted_response import fit_response
from analysis.fits.selection import reduce_fit
from analysis.report.reduction_table import (
    MOST_SHOWN,
    beside_full_table,
    difference_words,
    near_models_table,
)
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of


def test_a_model_is_told_by_what_differs() -> None:
    """Thirty terms in a cell would tell nobody anything."""
    assert difference_words(["a", "b"], ["a", "b"]) == "the same"
    assert difference_words(["a", "b", "c"], ["a", "d"]) == "with b and c, without d"


def test_tables_hold_both_models_and_the_nearest_ones() -> None:
    """Full numbers for the CSV, as the assessments of both models have them."""
    rng = np.random.default_rng(6)
    rows = []
    for _ in range(24):
        x = {name: float(rng.uniform(-1, 1)) for name in ("a", "b", "c")}
        rows.append({**x, "y": 4 + x["a"] + float(rng.normal(0, 0.3))})
    data, coding = adopt(study_of(factors=[range_factor(n) for n in "abc"]), rows, "y")
    full = fit_response(data, coding, model="quadratic")
    reduced = reduce_fit(data, coding, full)
    both = beside_full_table("y", reduced.reduction)
    near = near_models_table("y", reduced.reduction)
    aicc = next(row for row in both.rows if row[0].text == "AICc")

    assert [cell.value for cell in aicc[1:]] == [full.assessment.aicc, reduced.assessment.aicc]
    assert near.rows[0][0].text == "the same"
    assert len(near.rows) == MOST_SHOWN
    assert beside_full_table("y", None).rows == ()
    assert near_models_table("y", None).rows == ()

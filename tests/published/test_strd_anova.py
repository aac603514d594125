"""NIST StRD one-way analysis of variance, as a response over one named choice.

Source: NIST Statistical Reference Datasets (SRD 140), analysis of variance; data, certified values
and provenance in tests/reference/strd-anova-*/. Readings travel as doubles: for SmLs04-06 (10⁶ in
front of the digits that matter) and SmLs07-09 (10¹²) the last digits are lost on reading them, so
about 9 and 4 digits are all that any double-precision answer can hold. Naive sums keep none.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.assessment import Assessment
from analysis.fits.fitted_response import fit_response
from tests.analysis.fits.adopted_table import (
    adopt,
    agreeing_digits,
    published,
    reference_rows,
    study_of,
)

# Agreeing digits of every certified number but R² of the data as doubles, with the count of runs.
FLOORS = {
    "sirstv": 12.0,
    "atmwtag": 9.0,
    "smls01": 13.0,
    "smls02": 13.0,
    "smls03": 12.5,
    "smls04": 9.5,
    "smls05": 9.5,
    "smls06": 9.5,
    "smls07": 3.5,
    "smls08": 3.5,
    "smls09": 3.5,
}


def _assessment(name: str) -> Assessment:
    rows = reference_rows(f"strd-anova-{name}")
    treatment, response = list(rows[0])
    levels = list(dict.fromkeys(row[treatment] for row in rows))
    words = {level: f"level {level}" for level in levels}
    study = study_of(factors=[{"name": "treatment", "levels": list(words.values())}])
    table = [{"treatment": words[row[treatment]], "y": row[response]} for row in rows]
    data, coding = adopt(study, table, "y")
    return fit_response(data, coding, model="linear").assessment


@pytest.mark.parametrize("name", FLOORS)
def test_certified_one_way_tables_are_reached(name: str) -> None:
    """The choice's row and the residual's row hold the certified numbers."""
    assessment = _assessment(name)
    rows = {(row.source, row.kind): row for row in assessment.anova}
    between, within = rows["treatment", "sequential"], rows["residual", "sequential"]
    found = {
        "dfb": between.df,
        "dfw": within.df,
        "ssb": between.ss,
        "ssw": within.ss,
        "msb": between.ms,
        "msw": within.ms,
        "F": between.f,
        "r2": assessment.r2,
        "rsd": assessment.residual_sd,
    }
    certified = published(f"strd-anova-{name}")

    for key, value in found.items():
        assert value is not None
        digits = agreeing_digits(float(value), certified[key][0])
        assert digits >= FLOORS[name], (key, digits)


def test_the_partial_row_of_a_single_choice_equals_the_sequential_one() -> None:
    """Two ways to one number: extra sums of squares, and a contrast of coefficients."""
    rows = {(r.source, r.kind): r for r in _assessment("smls01").anova}

    sequential, partial = rows["treatment", "sequential"].ss, rows["treatment", "partial"].ss
    np.testing.assert_allclose(partial, sequential, rtol=1e-12)

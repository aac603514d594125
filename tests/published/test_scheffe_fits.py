"""Blend models beyond the quadratic, and a blend crossed with process factors.

Sources:
    Myers and Montgomery (2002), Response Surface Methodology, 2nd ed., Table 12.4 (etch rates).
    Cornell (2002), Experiments with Mixtures, 3rd ed., pages 361-365 (fish patties).
Provenance in tests/reference/. Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

from itertools import combinations

import pytest

from analysis.fits.fitted_response import FittedResponse, fit_response
from doe.model.terms import Model, Term
from tests.analysis.fits.adopted_table import (
    adopt,
    computed,
    published,
    range_factor,
    reference_rows,
    study_of,
)

ETCH = "mm-etch-rate-special-cubic"
FISH = "cornell-fish-patty-mixture-process"
SHARES = [{"name": name, "low": 0, "high": 1} for name in ("x1", "x2", "x3")]


def _etch() -> FittedResponse:
    data, coding = adopt(study_of(shares=SHARES), reference_rows(ETCH), "erate")
    return fit_response(data, coding, model="special cubic")


def test_etch_rate_special_cubic_is_the_printed_one() -> None:
    """550.2, 344.7, 268.3, 689.5, −9.0, 58.1, 9243.3."""
    rows = {r.label.replace(" × ", ""): r for r in _etch().assessment.coefficients}
    printed, reference = published(ETCH), computed(ETCH)

    for label, row in rows.items():
        expected, tolerance = printed[f"coef.{label}"]
        assert row.estimate == pytest.approx(expected, abs=tolerance)
        assert row.std_error == pytest.approx(reference[f"se.{label}"], rel=1e-9)


def test_etch_rate_checks_agree_with_an_independent_calculation() -> None:
    """Centred R², pure error from replicates, PRESS."""
    known, reference = _etch().assessment, computed(ETCH)
    pure = next(r for r in known.anova if r.source == "pure error")

    assert known.residual_sd == pytest.approx(reference["s"], rel=1e-9)
    assert known.r2 == pytest.approx(reference["R2"], rel=1e-9)
    assert known.r2_adjusted == pytest.approx(reference["R2adj"], rel=1e-9)
    assert known.press == pytest.approx(reference["press"], rel=1e-9)
    assert known.r2_predicted == pytest.approx(reference["R2pred"], rel=1e-9)
    assert (pure.ss, pure.df) == (pytest.approx(reference["pe.SS"], rel=1e-9), 4)
    assert known.lack_of_fit[0].f == pytest.approx(reference["lof.F"], rel=1e-8)


def _fish() -> FittedResponse:
    study = study_of(shares=SHARES, factors=[range_factor(z) for z in ("z1", "z2", "z3")])
    rows = [
        # The centroid blend is printed as 0.333; it was made as thirds.
        row | {x: str(round(3 * float(row[x])) / 3) for x in ("x1", "x2", "x3")}
        if 0.3 < float(row["x1"]) < 0.4
        else row
        for row in reference_rows(FISH)
    ]
    data, coding = adopt(study, rows, "y")
    blends = [
        tuple((name, 1) for name in names)
        for size in (1, 2, 3)
        for names in combinations(("x1", "x2", "x3"), size)
    ]
    processes = [
        tuple((name, 1) for name in names)
        for size in (0, 1, 2, 3)
        for names in combinations(("z1", "z2", "z3"), size)
    ]
    terms = tuple(Term(powers=blend + process) for process in processes for blend in blends)
    return fit_response(data, coding, model=Model(name="special cubic × factorial", terms=terms))


def test_fish_patty_coefficients_are_the_printed_ones() -> None:
    """All 56 coefficients of the saturated special cubic × factorial model."""
    found = {}
    for row in _fish().assessment.coefficients:
        process = "".join(name for name in row.powers if name.startswith("z")) or "1"
        blend = "".join(name for name in row.powers if name.startswith("x"))
        found[f"{process}*{blend}"] = row.estimate
    printed = published(FISH)

    assert set(found) == set(printed)
    for name, (expected, tolerance) in printed.items():
        # 1e-9: several exact values end in 5 and lie on the very edge of the rounding.
        assert found[name] == pytest.approx(expected, abs=tolerance + 1e-9)


def test_a_saturated_fit_gives_no_errors_and_says_so() -> None:
    """56 coefficients for 56 runs: nothing is left to judge by."""
    fitted = _fish()

    assert fitted.assessment.residual_df == 0
    assert all(r.std_error is None and r.p is None for r in fitted.assessment.coefficients)
    assert any("as many coefficients as runs" in finding.what for finding in fitted.findings)

"""Second-order fits in blocks: the two-block chemical reaction and the paper helicopter.

Source: Lenth (2009), Journal of Statistical Software 32(7), outputs of its R package rsm 2.10.6;
data of Myers, Montgomery and Anderson-Cook (2009), Table 7.6, and of Box, Hunter and Hunter (2005),
Table 12.5. The printed intercept is that of block 1; here blocks sum to zero.
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import pytest

from analysis.fits.assessment import AnovaRow, Assessment
from analysis.fits.fitted_response import FittedResponse, fit_response
from tests.analysis.fits.adopted_table import (
    adopt,
    published,
    range_factor,
    reference_rows,
    study_of,
)

REACTION, HELICOPTER = "rsm-chemreact", "rsm-heli"
ORDERS = {"blocks": "Block", "linear": "FO", "interactions": "TWI", "squares": "PQ"}


def _reaction(model: str, block: str | None = "block", rows: slice = slice(None)) -> FittedResponse:
    study = study_of(factors=[range_factor("x1"), range_factor("x2")])
    data, coding = adopt(study, reference_rows(REACTION)[rows], "yield_", block=block)
    return fit_response(data, coding, model=model)


def _helicopter() -> FittedResponse:
    study = study_of(factors=[range_factor(f"x{i}") for i in (1, 2, 3, 4)])
    data, coding = adopt(study, reference_rows(HELICOPTER), "ave", block="block")
    return fit_response(data, coding, model="quadratic")


def _short(label: str) -> str:
    return label.replace("intercept", "b0").replace(" × ", "").replace("²", "^2")


def _check_coefficients(known: Assessment, case: str, prefix: str, least: int) -> None:
    printed = published(case)
    seen = 0
    for row in known.coefficients:
        if row.label == "intercept":
            continue
        for key, value in (
            ("coef", row.estimate),
            ("se", row.std_error),
            ("t", row.t),
            ("p", row.p),
        ):
            if (entry := f"{prefix}{key}.{_short(row.label)}") in printed:
                seen += 1
                assert value == pytest.approx(printed[entry][0], abs=printed[entry][1]), entry
    assert seen >= least


def _check_rows(rows: dict[str, AnovaRow], case: str, prefix: str, least: int) -> None:
    printed = published(case)
    seen = 0
    for name, row in rows.items():
        for key, value in (
            ("SS", row.ss),
            ("MS", row.ms),
            ("F", row.f),
            ("p", row.p),
            ("df", row.df),
        ):
            if (entry := f"{prefix}{name}.{key}") in printed:
                seen += 1
                assert value == pytest.approx(printed[entry][0], abs=printed[entry][1]), entry
    assert seen >= least


def _rows(known: Assessment, block_name: str) -> dict[str, AnovaRow]:
    orders = ORDERS | {"blocks": block_name}
    rows = {orders[r.source]: r for r in known.anova_by_order}
    by_source = {r.source: r for r in known.anova if r.kind == "sequential"}
    return rows | {
        "res": by_source["residual"],
        "lof": by_source["lack of fit"],
        "pe": by_source["pure error"],
    }


def test_first_order_model_of_block_one_lacks_fit() -> None:
    """F 95.7 on (2, 2): the centre lies above the plane, and the findings say so."""
    fitted = _reaction("linear", block=None, rows=slice(0, 7))
    known, printed = fitted.assessment, published(REACTION)
    b0 = known.coefficients[0]

    assert b0.estimate == pytest.approx(printed["fo.coef.b0"][0], abs=printed["fo.coef.b0"][1])
    assert b0.std_error == pytest.approx(printed["fo.se.b0"][0], abs=printed["fo.se.b0"][1])
    _check_coefficients(known, REACTION, "fo.", 8)
    _check_rows(_rows(known, "Block"), REACTION, "fo.anova.", 10)
    assert known.r2 == pytest.approx(printed["fo.R2"][0], abs=5e-5)
    assert known.r2_adjusted == pytest.approx(printed["fo.R2adj"][0], abs=5e-5)
    assert any("misses more than replicates scatter" in f.what for f in fitted.findings)
    assert any("Centre runs lie above" in f.what for f in fitted.findings)


def test_second_order_model_in_two_blocks() -> None:
    """Every printed coefficient, and the table by order."""
    fitted = _reaction("quadratic")
    known, printed = fitted.assessment, published(REACTION)

    _check_coefficients(known, REACTION, "so.", 18)
    _check_rows(_rows(known, "Block"), REACTION, "so.anova.", 20)
    assert known.r2 == pytest.approx(printed["so.R2"][0], abs=5e-5)
    assert known.r2_adjusted == pytest.approx(printed["so.R2adj"][0], abs=5e-5)


def test_block_effects_sum_to_zero_and_give_the_printed_difference() -> None:
    """Block 2 less block 1: −4.457530; block 1 has its intercept at 84.095427."""
    fitted, printed = _reaction("quadratic"), published(REACTION)
    effects = fitted.fit.block_effects
    difference, tolerance = printed["so.coef.Block2"]
    first, first_tolerance = printed["so.coef.b0"]

    assert sum(effects.values()) == pytest.approx(0, abs=1e-12)
    assert effects["2"] - effects["1"] == pytest.approx(difference, abs=tolerance)
    intercept = fitted.fit.coefficients[0]
    assert intercept + effects["1"] == pytest.approx(first, abs=first_tolerance)
    assert any("intervals are for the blocks of this study" in f.what for f in fitted.findings)


def test_paper_helicopter_in_two_blocks() -> None:
    """All second-order coefficients, the table by order, pure error within blocks."""
    fitted = _helicopter()
    known, printed = fitted.assessment, published(HELICOPTER)

    _check_coefficients(known, HELICOPTER, "", 55)
    _check_rows(_rows(known, "block"), HELICOPTER, "anova.", 20)
    assert known.r2 == pytest.approx(printed["R2"][0], abs=5e-5)
    assert known.r2_adjusted == pytest.approx(printed["R2adj"][0], abs=5e-5)
    effects = fitted.fit.block_effects
    assert effects["2"] - effects["1"] == pytest.approx(printed["coef.block2"][0], abs=5e-7)

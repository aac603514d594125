"""Chemical vapour deposition: full and reduced quadratics of two responses, and the way between.

Source: NIST/SEMATECH e-Handbook, section 5.4.7.3; coded columns as printed (±0.71). The printed
full quadratic of stress mixes codings and is no oracle (see SOURCE.md); its refitted numbers are.
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import math

import pytest

from analysis.fits.fit import Scale
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.selection import reduce_model
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.model.terms import term_label
from tests.analysis.fits.adopted_table import (
    adopt,
    computed,
    published,
    range_factor,
    reference_rows,
    study_of,
)

CASE = "nist-cvd-rsm"
SHORT = {
    "intercept": "b0", "pressure": "P", "ratio": "R",
    "pressure × ratio": "PR", "pressure²": "PP", "ratio²": "RR",
}  # fmt: skip


def _data(response: str) -> tuple[ResponseData, Coding]:
    study = study_of(factors=[range_factor("pressure"), range_factor("ratio")])
    rows = [row | {"pressure": row["x1"], "ratio": row["x2"]} for row in reference_rows(CASE)]
    return adopt(study, rows, response)


def _fit(response: str, *drop: str) -> FittedResponse:
    data, coding = _data(response)
    return fit_response(data, coding, model="quadratic", drop=drop)


@pytest.mark.parametrize(
    ("name", "response", "drop"),
    [
        ("unif.full", "uniformity", ()),
        ("unif.red", "uniformity", ("pressure²", "ratio²")),
        ("stress.red", "stress", ("pressure × ratio", "ratio²")),
    ],
)
def test_coefficients_are_the_printed_ones(name: str, response: str, drop: tuple[str, ...]) -> None:
    """Estimate, standard error, t, p; residual deviation and R²."""
    known, printed = _fit(response, *drop).assessment, published(CASE)
    seen = 0
    for row in known.coefficients:
        for key, value in (
            ("coef", row.estimate),
            ("se", row.std_error),
            ("t", row.t),
            ("p", row.p),
        ):
            if (entry := f"{name}.{key}.{SHORT[row.label]}") in printed:
                seen += 1
                assert value == pytest.approx(printed[entry][0], abs=printed[entry][1])

    assert seen >= 3 * len(known.coefficients)
    for key, value in (("s", known.residual_sd), ("R2", known.r2), ("R2adj", known.r2_adjusted)):
        if (entry := f"{name}.{key}") in printed:
            assert value == pytest.approx(printed[entry][0], abs=printed[entry][1])


@pytest.mark.parametrize(
    ("name", "response", "drop"),
    [
        ("unif.red", "uniformity", ("pressure²", "ratio²")),
        ("stress.red", "stress", ("pressure × ratio", "ratio²")),
    ],
)
def test_lack_of_fit_is_the_printed_one(name: str, response: str, drop: tuple[str, ...]) -> None:
    """Three centre runs against five degrees of lack of fit."""
    known, printed = _fit(response, *drop).assessment, published(CASE)
    rows = {r.source: r for r in known.anova if r.kind == "sequential"}
    lack = known.lack_of_fit[0]
    found = {
        "errSS": rows["residual"].ss,
        "errMS": rows["residual"].ms,
        "lofSS": rows["lack of fit"].ss,
        "lofMS": rows["lack of fit"].ms,
        "lofF": lack.f,
        "lofp": lack.p,
        "peSS": rows["pure error"].ss,
        "peMS": rows["pure error"].ms,
        "modelSS": rows["total"].ss - rows["residual"].ss,
    }

    assert (lack.df, lack.den_df) == (5, 2)
    for key, value in found.items():
        if (entry := f"{name}.anova.{key}") in printed:
            assert value == pytest.approx(printed[entry][0], abs=printed[entry][1])


def test_stress_full_quadratic_agrees_with_an_independent_fit() -> None:
    """In place of the printed one, whose codings are mixed."""
    reference = computed(CASE)
    for row in _fit("stress").assessment.coefficients:
        assert row.estimate == pytest.approx(
            reference[f"stress.full.coef.{SHORT[row.label]}"], rel=1e-9
        )
        assert row.std_error == pytest.approx(
            reference[f"stress.full.se.{SHORT[row.label]}"], rel=1e-9
        )


@pytest.mark.parametrize(
    ("step", "drop"), [("full", ()), ("step1", ("ratio²",)), ("step2", ("pressure²", "ratio²"))]
)
def test_uncorrected_criterion_along_the_printed_way(step: str, drop: tuple[str, ...]) -> None:
    """Akaike's criterion as printed, n ln(RSS / n) + 2p: −3.79, −5.79, −7.69."""
    known = _fit("uniformity", *drop).assessment
    residual = next(r for r in known.anova if r.source == "residual")
    expected, tolerance = published(CASE)[f"unif.aic.{step}"]

    aic = known.n * math.log(residual.ss / known.n) + 2 * known.p
    assert aic == pytest.approx(expected, abs=tolerance)


def test_backward_reduction_stops_where_hierarchy_says() -> None:
    """The handbook goes on to drop the ratio's own term; here its interaction holds it."""
    data, coding = _data("uniformity")
    full = fit_response(data, coding, model="quadratic").fit.model
    reduced, steps = reduce_model(data, coding, full, scale=Scale(), by="p")

    assert [step.terms for step in steps] == [("ratio²",), ("pressure²",)]
    assert [term_label(t) for t in reduced.terms] == [
        "intercept", "pressure", "ratio", "pressure × ratio",
    ]  # fmt: skip
    assert steps[0].p == pytest.approx(published(CASE)["unif.full.p.RR"][0], abs=5e-6)

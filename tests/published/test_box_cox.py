"""Box-Cox powers with their intervals, for the two examples of 1964 and the ceramic factorial.

Sources:
    Box and Cox (1964), J. R. Stat. Soc. B 26, 211-252: survival times (λ −0.75, −1.13 to −0.37) and
    worsted yarn (λ −0.06, −0.18 to 0.06); analysis of 1/y as in Box, Hunter and Hunter (2005).
    NIST/SEMATECH e-Handbook, section 5.4.7.1 (ceramics).
Provenance in tests/reference/. Tolerance: half a unit of the last printed digit; λ itself against
an independent profile likelihood to 1e-5.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.assessment import BoxCox
from analysis.fits.fit import Scale
from analysis.fits.fitted_response import FittedResponse, fit_response
from doe.model.terms import Model, parse_term
from tests.analysis.fits.adopted_table import (
    adopt,
    computed,
    published,
    range_factor,
    reference_rows,
    study_of,
)

POISON, TEXTILE = "boxcox-1964-poison", "boxcox-1964-textile"


def _poison(model: str, scale: Scale | None = None) -> FittedResponse:
    study = study_of(
        factors=[
            {"name": "poison", "levels": ["I", "II", "III"]},
            {"name": "treat", "levels": ["A", "B", "C", "D"]},
        ]
    )
    data, coding = adopt(study, reference_rows(POISON), "y")
    return fit_response(data, coding, model=model, scale=scale)


def _textile(scale: Scale | None = None) -> FittedResponse:
    study = study_of(factors=[range_factor(name) for name in ("x1", "x2", "x3")])
    data, coding = adopt(study, reference_rows(TEXTILE), "y")
    return fit_response(data, coding, model="linear", scale=scale)


def _power(fitted: FittedResponse) -> BoxCox:
    assert fitted.assessment.box_cox is not None
    return fitted.assessment.box_cox


@pytest.mark.parametrize(
    ("model", "name"), [("linear", "additive"), ("interactions", "interaction")]
)
def test_survival_times_ask_for_the_reciprocal(model: str, name: str) -> None:
    """λ of the model in use, with its likelihood interval."""
    found, reference = _power(_poison(model)), computed(POISON)

    assert found.power == pytest.approx(reference[f"lambda.{name}.full"], abs=1e-5)
    assert found.interval == pytest.approx(reference[f"ci95.{name}"], abs=1e-5)
    assert found.suggestion in {"reciprocal", "reciprocal square root"}


def test_survival_times_lambda_is_the_printed_one() -> None:
    """λ −0.75; the printed interval was read off a curve and holds to about 0.015."""
    found, (expected, tolerance) = _power(_poison("linear")), published(POISON)["lambda.additive"]

    assert found.power == pytest.approx(expected, abs=tolerance)
    assert found.interval == pytest.approx((-1.13, -0.37), abs=0.015)


@pytest.mark.parametrize(
    ("scale", "name"), [(Scale(), "y"), (Scale(name="power", power=-1.0), "1/y")]
)
def test_survival_times_analysis_of_variance(scale: Scale, name: str) -> None:
    """Sums of squares and F of poison, treatment and their interaction, as read and as 1/y."""
    rows = {
        r.source: r
        for r in _poison("interactions", scale).assessment.anova
        if r.kind == "sequential"
    }
    printed = published(POISON)
    found = {
        "poison": rows["poison"],
        "treat": rows["treat"],
        "PT": rows["poison × treat"],
        "error": rows["residual"],
    }

    for key, row in found.items():
        for what, value in (("SS", row.ss), ("F", row.f)):
            if f"{name}.{key}.{what}" in printed:
                expected, tolerance = printed[f"{name}.{key}.{what}"]
                assert value == pytest.approx(expected, abs=tolerance)
    assert [rows[key].df for key in ("poison", "treat", "poison × treat", "residual")] == [
        2,
        3,
        6,
        36,
    ]


def test_worsted_yarn_asks_for_the_logarithm() -> None:
    """λ −0.06 with an interval from −0.18 to 0.06: the logarithm, and clearly not the cycles."""
    found, printed, reference = _power(_textile()), published(TEXTILE), computed(TEXTILE)

    assert found.power == pytest.approx(printed["lambda"][0], abs=printed["lambda"][1])
    assert found.power == pytest.approx(reference["lambda.full"], abs=1e-5)
    assert found.interval == pytest.approx(reference["ci95"], abs=1e-5)
    assert found.interval == pytest.approx((-0.18, 0.06), abs=0.005)
    assert found.suggestion == "log"


def test_worsted_yarn_on_the_logarithm() -> None:
    """Coefficients, R² and predicted R² in ln cycles; printed ones in log10."""
    known, reference, printed = (
        _textile(Scale(name="log")).assessment,
        computed(TEXTILE),
        published(TEXTILE),
    )

    for row, name in zip(known.coefficients, ("b0", "x1", "x2", "x3"), strict=True):
        assert row.estimate == pytest.approx(reference[f"ln.{name}"], rel=1e-9)
        assert row.std_error == pytest.approx(reference[f"ln.se.{name}"], rel=1e-9)
        if f"log10.{name}" in printed:
            expected, tolerance = printed[f"log10.{name}"]
            assert row.estimate / np.log(10) == pytest.approx(expected, abs=tolerance)
    assert known.r2 == pytest.approx(reference["ln.R2"], rel=1e-9)
    assert known.press == pytest.approx(reference["ln.press"], rel=1e-9)
    assert known.r2_predicted == pytest.approx(reference["ln.R2pred"], rel=1e-9)


def test_the_automatic_scale_takes_the_logarithm_for_the_yarn() -> None:
    """An interval that holds 0 and not 1."""
    study = study_of(
        factors=[range_factor(name) for name in ("x1", "x2", "x3")],
        response={"name": "y", "scale": "auto"},
    )
    data, coding = adopt(study, reference_rows(TEXTILE), "y")
    fitted = fit_response(data, coding, model="linear")

    assert fitted.fit.scale == Scale(name="log")
    assert any("chose the scale" in finding.what for finding in fitted.findings)


def test_log_fits_far_better_than_cycles_by_the_comparable_criterion() -> None:
    """AICc carries the Jacobian, so that scales can be compared."""
    read, logged = _textile().assessment.aicc, _textile(Scale(name="log")).assessment.aicc

    assert read is not None
    assert logged is not None
    assert logged < read - 40


def test_ceramics_lambda_of_the_twelve_term_model() -> None:
    """λ 0.27 (printed rounded as 0.2) with an interval that holds 1 only just not."""
    case = "nist-ceramics-full-factorial"
    names = ("speed", "rate", "grit", "direction", "lot")
    study = study_of(factors=[range_factor(name) for name in names])
    rows = [row | {"lot": row["batch"]} for row in reference_rows(case)]
    data, coding = adopt(study, rows, "strength")
    numbers = ["1", "2", "12", "3", "13", "4", "14", "24", "124", "34", "5", "45"]
    texts = ["intercept", *(" × ".join(names[int(digit) - 1] for digit in n) for n in numbers)]
    model = Model(name="reduced", terms=tuple(parse_term(text, coding) for text in texts))
    found, reference = _power(fit_response(data, coding, model=model)), computed(case)

    assert found.power == pytest.approx(reference["boxcox.lambda_hat.12term"], abs=1e-5)
    assert found.interval == pytest.approx(reference["boxcox.ci95"], abs=1e-5)

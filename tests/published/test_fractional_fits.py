"""Two-level factorials: the ceramic 2⁵ and the catapult 2⁵⁻¹ with centre runs.

Sources: NIST/SEMATECH e-Handbook, sections 5.4.7.1 and 5.4.7.2; provenance, and the printed numbers
that the printed data do not give, in tests/reference/. Tolerance: half a unit of the last digit.
"""

from __future__ import annotations

from itertools import combinations

import pytest

from analysis.fits.fit import Scale
from analysis.fits.fitted_response import FittedResponse, fit_response
from doe.model.terms import INTERCEPT, Model, Term
from tests.analysis.fits.adopted_table import (
    adopt,
    published,
    range_factor,
    reference_rows,
    study_of,
)

CERAMICS, CATAPULT = "nist-ceramics-full-factorial", "nist-catapult-fractional-factorial"
# The handbook numbers the ceramic factors; its batch is called lot here.
CERAMIC = {"1": "speed", "2": "rate", "3": "grit", "4": "direction", "5": "lot"}
REDUCED = ("1", "2", "12", "3", "13", "4", "14", "24", "124", "34", "5", "45")
BOX_COX = tuple(n for n in REDUCED if n != "45")


def _ceramics(numbers: tuple[str, ...], scale: Scale | None = None) -> FittedResponse:
    study = study_of(factors=[range_factor(name) for name in CERAMIC.values()])
    rows = [row | {"lot": row["batch"]} for row in reference_rows(CERAMICS)]
    data, coding = adopt(study, rows, "strength")
    terms = [Term(powers=tuple((CERAMIC[d], 1) for d in number)) for number in numbers]
    model = Model(name="factorial", terms=(INTERCEPT, *terms))
    return fit_response(data, coding, model=model, scale=scale)


def _numbered(label: str) -> str:
    back = {name: number for number, name in CERAMIC.items()}
    return "".join(back[name] for name in label.split(" × ")) if label != "intercept" else "b0"


def test_ceramics_full_analysis_of_variance() -> None:
    """All 25 terms up to three factors, 6 degrees of freedom left."""
    numbers = tuple("".join(c) for size in (1, 2, 3) for c in combinations("12345", size))
    known, printed = _ceramics(numbers).assessment, published(CERAMICS)
    rows = [r for r in known.anova if r.kind == "partial"]

    assert len(rows) == 25
    assert known.residual_df == 6
    for row in rows:
        for key, value in (("SS", row.ss), ("F", row.f), ("p", row.p)):
            if (name := f"full.{key}.{_numbered(row.source)}") in printed:
                assert value == pytest.approx(printed[name][0], abs=printed[name][1])
    for key, value in (("R2", known.r2), ("R2adj", known.r2_adjusted), ("s", known.residual_sd)):
        assert value == pytest.approx(printed[f"full.{key}"][0], abs=printed[f"full.{key}"][1])


def test_ceramics_reduced_model() -> None:
    """Twelve terms, F and p of each."""
    known, printed = _ceramics(REDUCED).assessment, published(CERAMICS)
    for row in (r for r in known.anova if r.kind == "sequential"):
        if row.source in ("residual", "total"):
            continue
        for key, value in (("F", row.f), ("p", row.p)):
            if (name := f"red12.{key}.{_numbered(row.source)}") in printed:
                assert value == pytest.approx(printed[name][0], abs=printed[name][1])

    for key, value in (("R2", known.r2), ("R2adj", known.r2_adjusted), ("s", known.residual_sd)):
        assert value == pytest.approx(printed[f"red12.{key}"][0], abs=printed[f"red12.{key}"][1])


def test_ceramics_on_the_printed_power() -> None:
    """λ 0.2, scaled as the handbook does by the geometric mean; signs as in SOURCE.md."""
    fitted, printed = _ceramics(BOX_COX, Scale(name="power", power=0.2)), published(CERAMICS)
    strengths = [float(row["strength"]) for row in reference_rows(CERAMICS)]
    product = 1.0
    for strength in strengths:
        product *= strength ** (1 / len(strengths))
    for row in fitted.assessment.coefficients:
        if (name := f"boxcox0.2.coef.{_numbered(row.label)}") in printed:
            scaled = row.estimate * product**0.8
            assert scaled == pytest.approx(printed[name][0], abs=printed[name][1])

    known = fitted.assessment
    for key, value in (("R2", known.r2), ("R2adj", known.r2_adjusted)):
        assert value == pytest.approx(
            printed[f"boxcox0.2.{key}"][0], abs=printed[f"boxcox0.2.{key}"][1]
        )


def _catapult(model: str | None, scale: Scale | None, *pairs: str) -> FittedResponse:
    study = study_of(factors=[range_factor(name) for name in "hsble"])
    data, coding = adopt(study, reference_rows(CATAPULT), "distance")
    if model is not None:
        return fit_response(data, coding, model=model, scale=scale)
    terms = [Term(powers=((name, 1),)) for name in "hsble"]
    terms += [Term(powers=tuple((name, 1) for name in pair)) for pair in pairs]
    return fit_response(
        data, coding, model=Model(name="reduced", terms=(INTERCEPT, *terms)), scale=scale
    )


CATAPULT_FITS = [
    ("dist.full", "interactions", None, ()),
    ("lndist.full", "interactions", Scale(name="log"), ()),
    ("dist.red", None, None, ("bl",)),
    ("lndist.red", None, Scale(name="log"), ()),
]


@pytest.mark.parametrize(("name", "model", "scale", "pairs"), CATAPULT_FITS)
def test_catapult_coefficients(
    name: str, model: str | None, scale: Scale | None, pairs: tuple[str, ...]
) -> None:
    """Estimate, error, t and p of every term, as read and on the logarithm."""
    known, printed = _catapult(model, scale, *pairs).assessment, published(CATAPULT)
    seen = 0
    for row in known.coefficients:
        term = row.label.replace(" × ", "").replace("intercept", "b0")
        for key, value in (
            ("coef", row.estimate),
            ("se", row.std_error),
            ("t", row.t),
            ("p", row.p),
        ):
            if (entry := f"{name}.{key}.{term}") in printed:
                seen += 1
                # A product of 0.0005 covers 57.5375, printed 57.537 (round half even).
                assert value == pytest.approx(printed[entry][0], abs=printed[entry][1] * 1.001)

    assert seen >= 3 * len(known.coefficients) - 2
    for key, value in (("R2", known.r2), ("R2adj", known.r2_adjusted), ("s", known.residual_sd)):
        assert value == pytest.approx(printed[f"{name}.{key}"][0], abs=printed[f"{name}.{key}"][1])


@pytest.mark.parametrize(("name", "model", "scale", "pairs"), CATAPULT_FITS[2:])
def test_catapult_lack_of_fit(
    name: str, model: str | None, scale: Scale | None, pairs: tuple[str, ...]
) -> None:
    """Pure error from two pairs of centre runs, lack of fit beside it."""
    known, printed = _catapult(model, scale, *pairs).assessment, published(CATAPULT)
    rows = {r.source: r for r in known.anova if r.kind == "sequential"}
    lack = known.lack_of_fit[0]
    found = {
        "errSS": rows["residual"].ss,
        "errMS": rows["residual"].ms,
        "lofSS": rows["lack of fit"].ss,
        "lofMS": rows["lack of fit"].ms,
        "peSS": rows["pure error"].ss,
        "peMS": rows["pure error"].ms,
        "lofF": lack.f,
        "lofp": lack.p,
        "lofdf": lack.df,
        "pedf": lack.den_df,
    }

    for key, value in found.items():
        if (entry := f"{name}.anova.{key}") in printed:
            assert value == pytest.approx(printed[entry][0], abs=printed[entry][1])

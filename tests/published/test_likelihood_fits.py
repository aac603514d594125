"""Censored, ordinal and count fits against R on published tables.

Source:
    tests/reference/likelihood-fits/SOURCE.md: survreg, clm, clmm, polr, glm, glm.nb, glmer.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.fits.likelihood.censored import CensoredFit, CensoredRows, fit_censored
from analysis.fits.likelihood.counts import (
    CountRows,
    fit_negative_binomial,
    fit_poisson,
    more_scatter,
)
from analysis.fits.likelihood.ordinal import OrdinalRows, fit_ordinal, proportional_odds
from doe.study.settings import FloatArray

FOLDER = Path(__file__).parents[1] / "reference" / "likelihood-fits"
NUMBERS = pd.read_csv(FOLDER / "numbers.csv").set_index(["case", "what"])["value"]


def _printed(case: str, what: str, names: Sequence[str]) -> list[float]:
    return [float(NUMBERS[case, f"{what} {name}"]) for name in names]


def _table(name: str) -> pd.DataFrame:
    return pd.read_csv(FOLDER / name)


def _columns(*columns: object) -> FloatArray:
    return np.column_stack([np.asarray(column, dtype=np.float64) for column in columns])


def _censored(design: FloatArray, low: FloatArray, high: FloatArray) -> CensoredFit:
    return fit_censored(CensoredRows(design=design, low=low, high=high, weight=np.ones(len(low))))


def _agrees(fitted: CensoredFit, case: str, names: Sequence[str]) -> None:
    found = [*fitted.coefficients, np.log(fitted.sd)]
    np.testing.assert_allclose(found, _printed(case, "estimate", [*names, "ln sd"]), rtol=1e-6)
    errors = np.sqrt(np.diag(fitted.covariance))
    np.testing.assert_allclose(errors, _printed(case, "std_error", [*names, "ln sd"]), rtol=1e-6)
    assert fitted.log_likelihood == pytest.approx(float(NUMBERS[case, "log_likelihood"]), rel=1e-9)


def test_left_censored_purchases_of_tobin_1958() -> None:
    """Thirteen of twenty below the scale."""
    table = _table("tobin.csv")
    y = table["durable"].to_numpy(dtype=np.float64)
    fitted = _censored(
        _columns(np.ones(len(y)), table["age"], table["quant"]), np.where(y > 0, y, -np.inf), y
    )
    _agrees(fitted, "tobin", ["(Intercept)", "age", "quant"])


def test_readings_below_between_read_and_above_in_one_table() -> None:
    """Every kind of end at once, against `Surv(type = "interval2")`."""
    table = _table("tobin-intervals.csv")
    low, high = table["low"].fillna(-np.inf), table["high"].fillna(np.inf)
    fitted = _censored(_columns(np.ones(len(table)), table["age"]), low.to_numpy(), high.to_numpy())
    _agrees(fitted, "tobin-intervals", ["(Intercept)", "age"])


def test_right_censored_times_of_capacitors() -> None:
    """Log times to breakdown; half the capacitors outlived the test."""
    table = _table("capacitor.csv")
    y = np.log(table["time"].to_numpy(dtype=np.float64))
    high = np.where(table["status"] == 1, y, np.inf)
    fitted = _censored(
        _columns(np.ones(len(y)), table["temperature"] == 180, table["voltage"]), y, high
    )
    _agrees(fitted, "capacitor", ["(Intercept)", "hot", "voltage"])


WINE = ["1|2", "2|3", "3|4", "4|5", "tempwarm", "contactyes"]


def _wine(*, judges: bool) -> OrdinalRows:
    table = _table("wine.csv")
    return OrdinalRows(
        design=_columns(table["temp"] == "warm", table["contact"] == "yes"),
        place=table["rating"].to_numpy(dtype=np.int64) - 1,
        batch=tuple(table["judge"].astype(str)) if judges else None,
    )


def test_ratings_of_wine_without_judges() -> None:
    """Against clm and polr; McCullagh's model."""
    fitted = fit_ordinal(_wine(judges=False))
    np.testing.assert_allclose(fitted.parameters, _printed("wine", "estimate", WINE), rtol=1e-6)
    errors = np.sqrt(np.diag(fitted.covariance))
    np.testing.assert_allclose(errors, _printed("wine", "std_error", WINE), rtol=1e-6)
    for what in ("log_likelihood", "log_likelihood by polr"):
        assert fitted.log_likelihood == pytest.approx(float(NUMBERS["wine", what]), rel=1e-10)


def test_ratings_of_wine_with_judges() -> None:
    """Against clmm with 31 nodes; twice our nodes change nothing at 1e-8."""
    fitted = fit_ordinal(_wine(judges=True))
    printed = _printed("wine-judges", "estimate", WINE)
    np.testing.assert_allclose(fitted.parameters, printed, rtol=1e-5)
    assert fitted.batch_sd == pytest.approx(float(NUMBERS["wine-judges", "batch sd"]), rel=1e-5)
    errors = np.sqrt(np.diag(fitted.covariance))[:6]
    np.testing.assert_allclose(errors, _printed("wine-judges", "std_error", WINE), rtol=1e-4)
    assert fitted.log_likelihood == pytest.approx(
        float(NUMBERS["wine-judges", "log_likelihood"]), rel=1e-9
    )
    assert fitted.maximum.nodes_change < 1e-8


def test_one_threshold_parts_all_separate_slopes_have_no_top_on_the_wine() -> None:
    """No warm wine is in class 1: the slope of that threshold runs off, so no test is given."""
    rows = _wine(judges=False)
    assert proportional_odds(rows, fit_ordinal(rows)) is None


def test_satisfaction_of_tenants_and_its_proportional_odds() -> None:
    """Against clm with frequencies, and clm with `nominal` effects of every term."""
    table = _table("housing.csv")
    table = table.loc[table.index.repeat(table["Freq"])]
    rows = OrdinalRows(
        design=_columns(
            *(table["Infl"] == level for level in ("Medium", "High")),
            *(table["Type"] == level for level in ("Apartment", "Atrium", "Terrace")),
            table["Cont"] == "High",
        ),
        place=table["Sat"].map({"Low": 0, "Medium": 1, "High": 2}).to_numpy(dtype=np.int64),
    )
    fitted = fit_ordinal(rows)
    names = ["Low|Medium", "Medium|High", "InflMedium", "InflHigh", "TypeApartment"]
    names += ["TypeAtrium", "TypeTerrace", "ContHigh"]
    np.testing.assert_allclose(fitted.parameters, _printed("housing", "estimate", names), rtol=1e-6)
    errors = np.sqrt(np.diag(fitted.covariance))
    np.testing.assert_allclose(errors, _printed("housing", "std_error", names), rtol=1e-6)
    test = proportional_odds(rows, fitted)
    assert test is not None
    wider = float(NUMBERS["housing", "log_likelihood with slopes by threshold"])
    narrow = float(NUMBERS["housing", "log_likelihood"])
    assert test.statistic == pytest.approx(2 * (wider - narrow), rel=1e-6)
    assert test.df == 6


def test_two_classes_with_herds_are_a_logistic_regression() -> None:
    """Against glmer with 25 nodes; its errors are good to four digits."""
    table = _table("cbpp.csv")
    table = table.loc[table.index.repeat(table["size"])]
    nth = table.groupby(level=0).cumcount()
    rows = OrdinalRows(
        design=_columns(*(table["period"] == k for k in (2, 3, 4))),
        place=(nth < table["incidence"]).to_numpy(dtype=np.int64),
        batch=tuple(table["herd"].astype(str)),
    )
    fitted = fit_ordinal(rows)
    names = ["(Intercept)", "period2", "period3", "period4"]
    # Its intercept is the logit of the upper class, our threshold that of the lower.
    found = fitted.parameters * np.array([-1.0, 1.0, 1.0, 1.0])
    np.testing.assert_allclose(found, _printed("cbpp", "estimate", names), rtol=1e-5)
    assert fitted.batch_sd == pytest.approx(float(NUMBERS["cbpp", "batch sd"]), rel=1e-5)
    errors = np.sqrt(np.diag(fitted.covariance))[:4]
    np.testing.assert_allclose(errors, _printed("cbpp", "std_error", names), rtol=1e-3)
    assert fitted.log_likelihood == pytest.approx(
        float(NUMBERS["cbpp", "log_likelihood"]), rel=1e-9
    )


EPIL = ["(Intercept)", "lbase", "lage", "V4", "treated"]


def _seizures(*, subjects: bool) -> CountRows:
    table = _table("epil.csv")
    return CountRows(
        design=_columns(
            np.ones(len(table)), table["lbase"], table["lage"], table["V4"],
            table["trt"] == "progabide",
        ),
        count=table["y"].to_numpy(dtype=np.float64),
        times=np.ones(len(table)),
        batch=tuple(table["subject"].astype(str)) if subjects else None,
    )  # fmt: skip


def test_counts_of_seizures_as_poisson() -> None:
    """Against glm."""
    fitted = fit_poisson(_seizures(subjects=False))
    printed = _printed("epil-poisson", "estimate", EPIL)
    np.testing.assert_allclose(fitted.parameters, printed, rtol=1e-8)
    errors = np.sqrt(np.diag(fitted.covariance))
    np.testing.assert_allclose(errors, _printed("epil-poisson", "std_error", EPIL), rtol=1e-6)
    assert fitted.log_likelihood == pytest.approx(
        float(NUMBERS["epil-poisson", "log_likelihood"]), rel=1e-10
    )


def test_counts_of_seizures_scatter_more_than_poisson() -> None:
    """Against glm.nb, whose θ is 1/α."""
    rows = _seizures(subjects=False)
    poisson = fit_poisson(rows)
    wider = fit_negative_binomial(rows, poisson)
    assert wider is not None
    printed = _printed("epil-nb", "estimate", EPIL)
    np.testing.assert_allclose(wider.parameters[:5], printed, rtol=1e-5)
    test = more_scatter(poisson, wider, 5)
    assert test.overdispersion == pytest.approx(float(NUMBERS["epil-nb", "alpha"]), rel=1e-5)
    assert wider.log_likelihood == pytest.approx(
        float(NUMBERS["epil-nb", "log_likelihood"]), rel=1e-8
    )
    assert test.p < 1e-6


def test_counts_of_seizures_by_subject() -> None:
    """Against glmer with 25 nodes; its errors are good to four digits."""
    fitted = fit_poisson(_seizures(subjects=True))
    printed = _printed("epil-subjects", "estimate", EPIL)
    np.testing.assert_allclose(fitted.parameters, printed, rtol=1e-5)
    assert fitted.batch_sd == pytest.approx(float(NUMBERS["epil-subjects", "batch sd"]), rel=1e-5)
    errors = np.sqrt(np.diag(fitted.covariance))[:5]
    np.testing.assert_allclose(errors, _printed("epil-subjects", "std_error", EPIL), rtol=1e-3)

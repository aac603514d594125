"""Fitting a response: what is refused, what is said, what enters beside the surface."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.outliers_influence import OLSInfluence

from analysis.fits.fit import Scale
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.lab.response_data import Blocking, ResponseData
from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.matrix import model_matrix
from doe.model.terms import make_model
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

FACTORS = [range_factor("dose", 0.8, 2.4), range_factor("pH", 8.0, 9.5)]


def _rows(n: int = 14, seed: int = 5) -> list[dict[str, Any]]:
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(n):
        dose, ph = rng.uniform(0.8, 2.4), rng.uniform(8.0, 9.5)
        rows.append({"dose": dose, "pH": ph, "y": 900 - 200 * dose + rng.normal(0, 20)})
    return rows


def _square(centre: int = 3) -> list[dict[str, Any]]:
    corners = [(0.8, 8.0), (2.4, 8.0), (0.8, 9.5), (2.4, 9.5)] + [(1.6, 8.75)] * centre
    values = [10.0, 14.0, 12.0, 17.0, 13.1, 13.5, 13.0, 13.3][: len(corners)]
    return [{"dose": d, "pH": p, "y": y} for (d, p), y in zip(corners, values, strict=True)]


def _data(rows: list[dict[str, Any]], **more: Any) -> tuple[ResponseData, Coding]:
    return adopt(study_of(factors=FACTORS, **more), rows, "y")


def _fit(rows: list[dict[str, Any]], model: str = "linear", **more: Any) -> FittedResponse:
    data, coding = _data(rows)
    return fit_response(data, coding, model=model, **more)


def _said(fitted: FittedResponse) -> str:
    return " | ".join(finding.what for finding in fitted.findings)


def test_agrees_with_an_independent_library() -> None:
    """Statsmodels by QR: estimates, errors, p, R², leverage, residuals, Cook's distance."""
    rows = _rows()
    data, coding = _data(rows)
    known = fit_response(data, coding, model="quadratic").assessment
    X = model_matrix(data.actual.values, coding, make_model("quadratic", coding))
    other = sm.OLS([row["y"] for row in rows], X).fit(method="qr")
    influence = OLSInfluence(other)

    table = known.coefficients
    np.testing.assert_allclose([r.estimate for r in table], other.params, rtol=1e-9)
    np.testing.assert_allclose([r.std_error for r in table], other.bse, rtol=1e-9)
    np.testing.assert_allclose([r.p for r in table], other.pvalues, rtol=1e-8)
    np.testing.assert_allclose([r.interval for r in table], other.conf_int(), rtol=1e-8)
    assert known.r2 == pytest.approx(other.rsquared, rel=1e-10)
    assert known.r2_adjusted == pytest.approx(other.rsquared_adj, rel=1e-10)
    assert known.log_likelihood == pytest.approx(other.llf, rel=1e-10)
    runs = known.runs
    np.testing.assert_allclose([r.leverage for r in runs], influence.hat_matrix_diag, rtol=1e-9)
    np.testing.assert_allclose(
        [r.studentised for r in runs], influence.resid_studentized_external, rtol=1e-8
    )
    np.testing.assert_allclose([r.cook for r in runs], influence.cooks_distance[0], rtol=1e-8)
    press = float(np.square(influence.resid_press).sum())
    assert known.press == pytest.approx(press, rel=1e-9)


def test_a_model_too_large_for_the_runs_names_one_that_is_not() -> None:
    """Five runs, six coefficients."""
    with pytest.raises(FitError) as caught:
        _fit(_square(1), "quadratic")

    assert "6 coefficients" in str(caught.value)
    assert "5 runs" in str(caught.value)
    assert "linear model" in str(caught.value) or "interactions model" in str(caught.value)


def test_terms_that_cannot_be_told_apart_are_named() -> None:
    """Corners and centre runs alone cannot tell two squares apart."""
    with pytest.raises(FitError) as caught:
        _fit(_square(4), "quadratic")

    text = str(caught.value)
    assert "'pH²' cannot be told from" in text
    assert "'dose²'" in text
    assert "Drop 'pH²', or fit the interactions model" in text


def test_dropping_the_named_term_works() -> None:
    """The advice of the refusal can be followed."""
    fitted = _fit(_square(4), "quadratic", drop=["pH²"])

    assert len(fitted.fit.columns) == 5
    assert fitted.assessment.residual_df == 3


def test_centre_runs_above_a_flat_model_are_told() -> None:
    """Curvature in a model that has none."""
    rows = [row | ({"y": row["y"] + 20} if row["dose"] == 1.6 else {}) for row in _square(4)]
    fitted = _fit(rows, "linear")

    assert fitted.assessment.curvature is not None
    assert fitted.assessment.curvature.gap == pytest.approx(19.975)
    assert "Centre runs lie above what the linear model gives" in _said(fitted)


def test_several_runs_in_a_batch_make_it_a_stratum() -> None:
    """What they share is allowed for and told."""
    data, coding = _data(_rows(6))
    fitted = fit_response(replace(data, batch=(1, 1, 2, 3, 3, 4)), coding, model="linear")

    assert fitted.fit.method == "reml"
    assert fitted.assessment.strata == ("batch", "residual")
    assert "Runs share batches" in _said(fitted)


def test_one_run_a_batch_is_fitted() -> None:
    """Batch numbers alone are no obstacle."""
    data, coding = _data(_rows(6))
    own = replace(data, batch=(1, 2, 3, 4, 5, 6))

    assert fit_response(own, coding, model="linear").fit.n == 6


def test_no_reading_at_all_is_refused_by_name() -> None:
    """A response that waits for everything."""
    data, coding = _data([])

    with pytest.raises(FitError, match=r"response 'y'.*no run of the plan with a reading"):
        fit_response(data, coding, model="linear")


def test_equal_readings_give_a_fit_and_a_word() -> None:
    """A constant response: nothing to model, and no division by zero."""
    fitted = _fit([row | {"y": 0.3} for row in _rows(8)])

    assert fitted.fit.coefficients.tolist() == [0.3, 0.0, 0.0]
    assert fitted.assessment.r2 is None
    assert all(row.f is None for row in fitted.assessment.anova)
    assert "The response does not vary: all readings are the same" in _said(fitted)


def test_a_response_that_does_not_vary_has_no_intervals() -> None:
    """Nothing scatters, so nothing tells how sure a value is; a width of zero would be a lie."""
    fitted = _fit([row | {"y": 7.0} for row in _rows(8)])

    assert all(row.std_error is None for row in fitted.assessment.coefficients)
    assert all(row.interval is None for row in fitted.assessment.coefficients)
    assert np.isnan(fitted.fit.covariance).all()


def test_a_computed_response_is_recognised() -> None:
    """No scatter: no tests, no outliers found in the last digits."""
    fitted = _fit([row | {"y": 3.0 + row["dose"] - 0.1 * row["pH"]} for row in _rows(12)])

    assert fitted.assessment.r2 == 1.0
    assert fitted.assessment.residual_sd == 0.0
    assert fitted.assessment.outliers == ()
    assert all(row.p is None for row in fitted.assessment.coefficients)
    assert "computed from the settings, not measured" in _said(fitted)


def test_a_saturated_fit_gives_coefficients_only() -> None:
    """As many runs as coefficients."""
    fitted = _fit(_rows(3))

    assert fitted.assessment.residual_sd is None
    assert all(row.interval is None for row in fitted.assessment.coefficients)
    assert np.isnan(fitted.fit.covariance).all()
    assert all(row.f is None for row in fitted.assessment.anova)


def test_a_logarithm_of_a_negative_reading_names_the_run() -> None:
    """And says what would be accepted."""
    rows = _rows(8)
    rows[4] = rows[4] | {"y": -1.0}

    with pytest.raises(FitError, match=r"run 5 \(-1\); allowed: values above zero"):
        _fit(rows, scale=Scale(name="log"))


def test_repeats_are_averaged_on_the_fitted_scale() -> None:
    """The mean of the logarithms, not the logarithm of the mean."""
    rows = [row | {"y": [row["y"], row["y"] * 4]} for row in _rows(8)]
    fitted = _fit(rows, scale=Scale(name="log"))
    second = fitted.assessment.runs[1]

    assert second.observed == pytest.approx(np.log(rows[1]["y"][0] * 2))
    assert second.repeats == 2
    assert fitted.fit.repeats == 2
    assert fitted.fit.method == "ols"


def test_unequal_numbers_of_repeats_are_fitted_reading_by_reading() -> None:
    """A run read once is worth less than one read twice; rows of the report stay runs."""
    rows = [row | {"y": [row["y"], row["y"] + 3 * (-1) ** i]} for i, row in enumerate(_rows(8))]
    rows[0] = rows[0] | {"y": rows[0]["y"][:1]}
    fitted = _fit(rows)

    assert fitted.fit.by_reading
    assert list(fitted.fit.components) == ["run", "residual"]
    assert len(fitted.assessment.runs) == fitted.fit.n == 8
    weights = fitted.fit.new_run_weights
    assert weights == {"run": 1.0, "residual": 0.5}
    assert "read unequally often" in _said(fitted)


def test_controls_have_their_own_mean_and_leave_the_surface_alone() -> None:
    """They add degrees of freedom for the error, and nothing else."""
    rows = _rows(10)
    controls = [{"dose": None, "pH": None, "y": y} for y in (2000.0, 2010.0, 1990.0)]
    kinds = ["design"] * 10 + ["control"] * 3
    study = study_of(factors=FACTORS)
    names = dict.fromkeys((11, 12, 13), "old grade")
    data, coding = adopt(study, rows + controls, "y", kinds=kinds, controls=names)
    both = fit_response(data, coding, model="linear")
    alone = _fit(rows)

    np.testing.assert_allclose(both.fit.coefficients, alone.fit.coefficients, rtol=1e-9)
    assert both.assessment.residual_df == alone.assessment.residual_df + 2
    mean, error = both.fit.control_means["old grade"]
    assert mean == pytest.approx(2000.0)
    assert error == pytest.approx(both.assessment.residual_sd / 3**0.5)
    assert next(r for r in both.assessment.anova if r.source == "pure error").df == 2
    total = next(r for r in both.assessment.anova if r.source == "total")
    assert total.df == 11
    assert both.assessment.r2_predicted is not None
    assert both.assessment.press == pytest.approx(alone.assessment.press, rel=1e-9)


def _in_days(n_days: int, per_day: int, **more: Any) -> tuple[ResponseData, Coding]:
    rows = _rows(n_days * per_day)
    labels = tuple(f"{i % n_days + 1}" for i in range(len(rows)))
    data, coding = _data(rows)
    effect = more.pop("effect", "fixed")
    blocking = Blocking(
        name=more.pop("name", "day"), of=labels, effect=effect, planned=more.pop("planned", False)
    )
    return replace(data, block=labels, blocking=blocking), coding


def test_few_days_are_fitted_as_fixed() -> None:
    """And the intervals are said to be for them."""
    data, coding = _in_days(3, 4)
    fitted = fit_response(data, coding, model="linear")

    assert set(fitted.fit.block_effects) == {"1", "2", "3"}
    assert fitted.assessment.residual_df == 12 - 3 - 2
    assert "intervals are for the days of this study" in _said(fitted)
    sources = [r.source for r in fitted.assessment.anova if r.kind == "sequential"]
    assert sources[0] == "blocks"


def test_a_control_of_each_day_gives_pure_error() -> None:
    """One run a day: compared between days after allowing for what the days shift."""
    rows = _rows(12)
    labels = [f"{i // 4 + 1}" for i in range(12)] + ["1", "2", "3"]
    shift = {"1": 0.0, "2": 50.0, "3": -30.0}
    rows = [r | {"y": r["y"] + shift[d]} for r, d in zip(rows, labels, strict=False)]
    scatter = (1.0, -2.0, 4.0)
    rows += [{"dose": None, "pH": None, "y": 2000 + shift[d] + e}
             for d, e in zip("123", scatter, strict=True)]  # fmt: skip
    rows += [rows[0] | {"y": rows[0]["y"] + 3}, rows[4] | {"y": rows[4]["y"] - 5}]
    labels += ["1", "2"]
    table = [row | {"block": d} for row, d in zip(rows, labels, strict=True)]
    kinds = ["design"] * 12 + ["control"] * 3 + ["design"] * 2
    names = dict.fromkeys((13, 14, 15), "old grade")
    study = study_of(factors=FACTORS)
    data, coding = adopt(study, table, "y", block="block", kinds=kinds, controls=names)
    known = fit_response(data, coding, model="linear").assessment
    pure = next(r for r in known.anova if r.source == "pure error")

    # Two replicates within days. The three controls cost one mean and two shifts that nothing
    # else pins down: together nothing.
    assert pure.df == 2
    assert pure.ss == pytest.approx(3**2 / 2 + 5**2 / 2)


def test_controls_twice_a_day_and_once_a_day_are_pooled() -> None:
    """Two controls over three days: three pairs, two shifts and one difference to pay for."""
    rows = _rows(9)
    labels = [f"{i % 3 + 1}" for i in range(9)]
    table = [row | {"block": d} for row, d in zip(rows, labels, strict=True)]
    readings = {"old": (100.0, 104.0, 99.0), "none": (300.0, 303.0, 301.0)}
    for values in readings.values():
        table += [{"dose": None, "pH": None, "y": y, "block": d}
                  for d, y in zip("123", values, strict=True)]  # fmt: skip
    names = dict.fromkeys((10, 11, 12), "old") | dict.fromkeys((13, 14, 15), "none")
    kinds = ["design"] * 9 + ["control"] * 6
    data, coding = adopt(
        study_of(factors=FACTORS), table, "y", block="block", kinds=kinds, controls=names
    )
    known = fit_response(data, coding, model="linear").assessment
    pure = next(r for r in known.anova if r.source == "pure error")
    both = np.array(list(readings.values()))
    apart = both - both.mean(axis=0) - both.mean(axis=1)[:, None] + both.mean()

    assert pure.df == 2
    assert pure.ss == pytest.approx(float((apart**2).sum()))


@pytest.mark.parametrize(("n_days", "model"), [(5, "linear"), (6, "quadratic")])
def test_random_days_are_a_stratum_and_no_columns(n_days: int, model: str) -> None:
    """Intervals are for new days, and days cost the surface no degrees of freedom."""
    data, coding = _in_days(n_days, 2, effect="random")
    fitted = fit_response(data, coding, model=model)

    assert fitted.fit.block_effects == {}
    assert fitted.assessment.strata == ("day", "residual")
    assert "Runs share days" in _said(fitted)


def test_days_that_follow_a_factor_are_left_out_and_named() -> None:
    """A pH that was set once a day cannot be told from the days."""
    rows = [row | {"pH": 8.0 + 1.5 * (i % 2)} for i, row in enumerate(_rows(10))]
    data, coding = _data(rows)
    labels = tuple(f"{i % 2}" for i in range(10))
    blocking = Blocking(name="day", of=labels, effect="fixed", planned=False)
    fitted = fit_response(replace(data, block=labels, blocking=blocking), coding, model="linear")

    assert "cannot be told from 'pH'" in _said(fitted)


def test_planned_blocks_that_follow_a_factor_are_an_error() -> None:
    """A block column is never dropped without a word from the user."""
    rows = [row | {"pH": 8.0 + 1.5 * (i % 2)} for i, row in enumerate(_rows(10))]
    data, coding = _data(rows)
    labels = tuple(f"{i % 2}" for i in range(10))
    blocking = Blocking(name="mill", of=labels, effect="fixed", planned=True)

    with pytest.raises(FitError, match="differences of mills cannot be told from 'pH'"):
        fit_response(replace(data, block=labels, blocking=blocking), coding, model="linear")


def test_rounds_need_two_link_runs() -> None:
    """Without common recipes a difference of rounds is a difference of recipes."""
    data, coding = _in_days(2, 6, name="round")
    fitted = fit_response(data, coding, model="linear")

    assert "fewer than 2 runs link the rounds" in _said(fitted)


def test_a_transposed_weighing_is_found() -> None:
    """One run far from the others is told with its number and what to look for."""
    rows = _rows(20)
    rows[6] = rows[6] | {"y": rows[6]["y"] + 400}
    fitted = _fit(rows)

    assert [outlier.run for outlier in fitted.assessment.outliers] == [7]
    assert "Run 7 lies far above" in _said(fitted)


def test_drift_along_the_order_is_found() -> None:
    """Readings that creep up run by run."""
    rows = [row | {"y": row["y"] + 12 * i} for i, row in enumerate(_rows(20))]
    fitted = _fit(rows)

    assert fitted.assessment.order is not None
    assert fitted.assessment.order.slope == pytest.approx(12, abs=3)
    assert "rise along the order" in _said(fitted)


def test_slow_waves_along_the_order_are_found() -> None:
    """Neighbouring runs alike, without a trend."""
    rows = [row | {"y": row["y"] + 120 * np.sin(i / 3)} for i, row in enumerate(_rows(30))]
    order = _fit(rows).assessment.order

    assert order is not None
    assert order.neighbours is not None
    assert order.neighbours < 1.0
    assert order.neighbours_p is not None
    assert order.neighbours_p < 0.01


def test_neighbour_ratio_agrees_with_its_definition_and_with_simulation() -> None:
    """Exact moments by whole matrices, and the p that 20 000 simulated sets of errors give."""
    rows = _rows(14)
    data, coding = _data(rows)
    order = fit_response(data, coding, model="quadratic").assessment.order
    X = model_matrix(data.actual.values, coding, make_model("quadratic", coding))
    M = np.eye(14) - X @ np.linalg.solve(X.T @ X, X.T)
    e = M @ np.array([row["y"] for row in rows])
    D = np.diff(np.eye(14), axis=0)
    MA = M @ D.T @ D
    mean = np.trace(MA) / 8
    variance = 2 * (np.trace(MA @ MA) - 8 * mean**2) / (8 * 10)
    size = (mean / 4) * (1 - mean / 4) / (variance / 16) - 1
    ratio = float(((D @ e) ** 2).sum() / (e @ e))
    below = float(stats.beta.cdf(ratio / 4, mean / 4 * size, (1 - mean / 4) * size))
    draws = np.random.default_rng(1).normal(size=(20_000, 14)) @ M
    simulated = (np.diff(draws, axis=1) ** 2).sum(axis=1) / (draws**2).sum(axis=1)

    assert order is not None
    assert order.neighbours == pytest.approx(ratio, rel=1e-8)
    # The curve by two moments is near the exact chance, no more.
    assert order.neighbours_p == pytest.approx(2 * min(below, 1 - below), abs=0.005)
    share = float((simulated <= ratio).mean())
    assert order.neighbours_p == pytest.approx(2 * min(share, 1 - share), abs=0.02)


def test_criterion_counts_the_variance_and_carries_the_scale() -> None:
    """AICc of log-normal readings, from the density of the readings themselves."""
    rows = [row | {"y": float(np.exp(row["y"] / 300))} for row in _rows()]
    data, coding = _data(rows)
    known = fit_response(data, coding, model="linear", scale=Scale(name="log")).assessment
    y = np.array([row["y"] for row in rows])
    X = model_matrix(data.actual.values, coding, make_model("linear", coding))
    logged = sm.OLS(np.log(y), X).fit(method="qr")
    sd = (logged.ssr / 14) ** 0.5
    log_density = stats.lognorm.logpdf(y, s=sd, scale=np.exp(logged.fittedvalues)).sum()

    assert known.log_likelihood == pytest.approx(log_density, rel=1e-9)
    # Three coefficients and the variance: k = 4, so 2k + 2k(k + 1) / (n − k − 1) = 8 + 40 / 9.
    assert known.aicc == pytest.approx(-2 * log_density + 8 + 40 / 9, rel=1e-9)


def test_actual_settings_are_fitted_and_planned_ones_group() -> None:
    """Replicates by plan stay replicates although the pH came out a little different."""
    rows = _square(4) + [row | {"y": row["y"] + 0.2} for row in _square(0)]
    data, coding = _data(rows)
    moved = np.array(data.actual.values)
    moved[4:8, 1] += [0.02, -0.03, 0.01, 0.0]
    settings = replace(data.actual, values=moved)
    fitted = fit_response(replace(data, actual=settings), coding, model="interactions")
    rows_by_source = {r.source: r for r in fitted.assessment.anova if r.kind == "sequential"}

    assert rows_by_source["pure error"].df == 3 + 4
    lack = rows_by_source["lack of fit"].ss + rows_by_source["pure error"].ss
    assert lack == pytest.approx(rows_by_source["residual"].ss, rel=1e-9)
    exact = fit_response(data, coding, model="interactions")
    assert not np.allclose(fitted.fit.coefficients, exact.fit.coefficients, rtol=1e-6)


def test_a_package_with_a_factor_tests_the_whole_set() -> None:
    """Shares × pH is one source: pH in any blend; whether it acts alike in each is another."""
    rng = np.random.default_rng(2)
    shares = [{"name": name, "low": 0, "high": 1} for name in ("wetting", "dispersing")]
    study = study_of(shares=shares, factors=[range_factor("pH", 8.0, 9.5)])
    rows = []
    for _ in range(16):
        share = rng.uniform()
        rows.append({"wetting": share, "dispersing": 1 - share, "pH": rng.uniform(8, 9.5),
                     "y": rng.normal(5, 1)})  # fmt: skip
    data, coding = adopt(study, rows, "y")
    known = fit_response(data, coding, model="interactions").assessment
    partial = {r.source: r.df for r in known.anova if r.kind == "partial"}

    assert partial == {"linear blending": 1, "pH (in any blend)": 2, "package × pH": 1}
    assert [row.p is None for row in known.coefficients] == [True, True, False, False]


def test_a_factor_alike_in_every_blend_is_told_from_one_that_acts_at_all() -> None:
    """By hand: the extra sum of squares of 4 x·pH terms over one pH term, and over none."""
    rng = np.random.default_rng(5)
    names = ("wetting", "dispersing", "hydrophobic")
    shares = [{"name": name, "low": 0, "high": 1} for name in names]
    study = study_of(shares=shares, factors=[range_factor("pH", 8.0, 9.5)])
    rows = []
    for _ in range(20):
        blend = rng.dirichlet([1.0, 1.0, 1.0])
        pH = rng.uniform(8, 9.5)
        y = 5 + 3 * (pH - 8.75) + rng.normal(0, 0.5)
        rows.append({**dict(zip(names, blend, strict=True)), "pH": pH, "y": y})
    data, coding = adopt(study, rows, "y")
    known = fit_response(data, coding, model="interactions").assessment
    partial = {row.source: row for row in known.anova if row.kind == "partial"}
    S = np.array([[row[name] for name in names] for row in rows])
    z = (np.array([row["pH"] for row in rows]) - 8.75) / 0.75
    y = np.array([row["y"] for row in rows])

    def rss(*columns: np.ndarray) -> float:
        X = np.column_stack(columns)
        return float(np.sum((y - X @ np.linalg.lstsq(X, y, rcond=None)[0]) ** 2))

    full = rss(S, S * z[:, None])
    assert partial["pH (in any blend)"].ss == pytest.approx(rss(S) - full)
    assert partial["package × pH"].ss == pytest.approx(rss(S, z) - full)
    assert (partial["pH (in any blend)"].df, partial["package × pH"].df) == (3, 2)


def test_advice_for_a_level_without_runs_names_a_term_that_can_be_dropped() -> None:
    """The refusal must not name a column; the term it names leads to a fit."""
    choice = {"name": "neutraliser", "levels": ["ammonia", "soda", "amine"]}
    study = study_of(factors=[range_factor("dose", 0.8, 2.4), choice])
    rng = np.random.default_rng(1)
    rows = [
        {"dose": rng.uniform(0.8, 2.4), "neutraliser": ["ammonia", "soda"][i % 2],
         "y": rng.normal(5, 1)}
        for i in range(12)
    ]  # fmt: skip
    data, coding = adopt(study, rows, "y")

    with pytest.raises(FitError, match=r"no run has 'neutraliser' at amine.*Drop 'neutraliser',"):
        fit_response(data, coding, model="linear")
    assert fit_response(data, coding, model="linear", drop=["neutraliser"]).fit.n == 12


def test_the_antisymmetric_term_of_a_cubic_blend_is_marked() -> None:
    """Its powers are those of the pair; a key tells them apart."""
    rng = np.random.default_rng(4)
    shares = [{"name": name, "low": 0, "high": 1} for name in ("wetting", "dispersing")]
    share = rng.uniform(size=12)
    rows = [{"wetting": x, "dispersing": 1 - x, "y": rng.normal(5, 1)} for x in share]
    data, coding = adopt(study_of(shares=shares), rows, "y")
    known = fit_response(data, coding, model="cubic").assessment

    assert [row.antisymmetric for row in known.coefficients] == [False, False, False, True]
    assert known.coefficients[2].powers == known.coefficients[3].powers


@pytest.mark.parametrize(
    ("spread", "least", "most", "word"),
    [
        (0.1, 0.0, 0.05, "its form is too simple"),
        (0.65, 0.05, 0.15, "neither shown nor ruled out"),
        (1.2, 0.15, 1.0, "No lack of fit is seen"),
    ],
)
def test_what_is_said_of_lack_of_fit_follows_its_p(
    spread: float, least: float, most: float, word: str
) -> None:
    """A square with an interaction of 2.25 in squares; the repeated centre scatters as given.

    The last is at F = 1.25: an F above 1 alone says nothing.
    """
    corners = [(1.0, 8.0, 1.0), (3.0, 8.0, 3.0), (1.0, 10.0, 3.0), (3.0, 10.0, 2.0)]
    centres = [(2.0, 9.0, 2.25 + spread * off) for off in (-1, -0.5, 0, 0.5, 1)]
    fitted = _fit([{"dose": d, "pH": pH, "y": y} for d, pH, y in (*corners, *centres)])
    (test,) = fitted.assessment.lack_of_fit

    assert test.p is not None
    assert least <= test.p < most
    assert word in _said(fitted)

"""Unequal scatter and the envelope of the normal plot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.diagnostic import het_breuschpagan

from analysis.fits.diagnostics import studentised_residuals
from analysis.fits.envelope import normal_envelope
from analysis.fits.fitted_response import FittedResponse, fit_response, table_of
from analysis.fits.in_strata import InStrata
from analysis.fits.least_squares import solve_least_squares
from analysis.fits.mixed_diagnostics import order_drift
from analysis.fits.mixed_response import rows_in_strata
from analysis.fits.reml import solve_mixed
from analysis.fits.scatter import unequal_scatter, unequal_scatter_in_strata
from analysis.fits.strata_of_data import strata_of_data
from doe.model.terms import make_model
from tests.analysis.fits.adopted_table import adopt, range_factor, reference_rows, study_of
from tests.analysis.fits.batches import split_plot


def _textile(scale: str) -> FittedResponse:
    study = study_of(
        factors=[range_factor(name) for name in ("x1", "x2", "x3")],
        response={"name": "y", "scale": scale},
    )
    data, coding = adopt(study, reference_rows("boxcox-1964-textile"), "y")
    return fit_response(data, coding, model="linear")


def test_koenkers_ratio_is_that_of_an_independent_program() -> None:
    """Squared residuals on an intercept and the fitted values."""
    rng = np.random.default_rng(8)
    X = np.column_stack([np.ones(40), rng.uniform(-1, 1, (40, 3))])
    y = X @ np.array([5.0, 2.0, -1.0, 0.5]) * (1 + 0.2 * rng.standard_normal(40))
    solved = solve_least_squares(X, y)
    fitted = y - solved.residuals
    found = unequal_scatter(fitted, solved, tuple(range(40)))
    statistic, p, _, _ = het_breuschpagan(solved.residuals, sm.add_constant(fitted), robust=True)

    assert found is not None
    assert found.koenker == pytest.approx(statistic, rel=1e-9)
    assert found.koenker_p == pytest.approx(p, rel=1e-9)
    assert found.groups == 0
    assert found.bartlett is None


def test_replicates_are_compared_by_their_own_spread() -> None:
    """Bartlett's and Brown and Forsythe's ratios of the readings, as there is one mean a group."""
    rng = np.random.default_rng(2)
    groups = tuple(np.repeat(np.arange(3), 5).tolist())
    X = (np.array(groups)[:, None] == np.arange(3)).astype(float)
    y = 3 * X[:, 1] + rng.standard_normal(15) * np.repeat([0.2, 1.0, 4.0], 5)
    found = unequal_scatter(
        y - solve_least_squares(X, y).residuals, solve_least_squares(X, y), groups
    )
    sets = [y[5 * i : 5 * i + 5] for i in range(3)]

    assert found is not None
    assert found.bartlett_p == pytest.approx(stats.bartlett(*sets).pvalue, rel=1e-9)
    assert found.levene_p == pytest.approx(stats.levene(*sets).pvalue, rel=1e-9)
    assert found.bartlett_p < 0.01


def test_cycles_to_failure_scatter_alike_on_the_logarithm_only() -> None:
    """Box and Cox (1964) take logarithms of the worsted yarn; as read its scatter grows."""
    as_read, in_logs = _textile("identity"), _textile("log")
    told = "it is larger where the model gives more"

    assert any(told in finding.what for finding in as_read.findings)
    assert not any("scatter is not alike" in finding.what for finding in in_logs.findings)


def test_envelope_holds_normal_errors_and_not_skewed_ones() -> None:
    """About 95 % of the places of other normal errors lie inside."""
    rng = np.random.default_rng(3)
    X = np.column_stack([np.ones(30), rng.uniform(-1, 1, (30, 4))])
    inside = []
    for _ in range(200):
        solved = solve_least_squares(X, rng.standard_normal(30))
        low, high = np.array(normal_envelope(solved)).T
        own = np.sort(studentised_residuals(solved)[1])
        inside.append(float(((own >= low) & (own <= high)).mean()))
    skewed = solve_least_squares(X, rng.exponential(1.0, 30) ** 2)
    low, high = np.array(normal_envelope(skewed)).T
    own = np.sort(studentised_residuals(skewed)[1])

    assert np.mean(inside) == pytest.approx(0.95, abs=0.015)
    assert normal_envelope(skewed) == normal_envelope(solved)
    assert ((own < low) | (own > high)).mean() > 0.3


def test_levels_of_a_choice_are_compared_by_their_residuals() -> None:
    """Against scipy's test on the residuals of each level; the noisier level is named."""
    rng = np.random.default_rng(4)
    study = study_of(
        factors=[range_factor("a"), {"name": "mill", "levels": ["basket", "bead"]}],
        response={"name": "y"},
    )
    rows = [
        {"a": a, "mill": mill, "y": a + (0.1 if mill == "bead" else 1.5) * rng.standard_normal()}
        for mill in ("basket", "bead")
        for a in np.linspace(-1, 1, 9)
    ]
    data, coding = adopt(study, rows, "y")
    fitted = fit_response(data, coding, model="linear")
    residual = np.array([row.residual for row in fitted.assessment.runs])

    assert fitted.assessment.scatter is not None
    (told,) = fitted.assessment.scatter.by_level
    assert told.p == pytest.approx(stats.levene(residual[:9], residual[9:]).pvalue)
    assert told.widest == "basket"
    assert any(one.what.startswith("Runs with mill basket scatter more") for one in fitted.findings)


def test_a_mixed_fit_is_tested_for_unequal_scatter_within_its_batches() -> None:
    """Scatter within batches that grows along the dose shows."""
    rng = np.random.default_rng(1)
    even, coding = split_plot(batch_sd=0.05, doses=tuple(np.linspace(0.8, 2.4, 14)))
    doses = even.actual.column("dose")
    sizes = 0.02 + 0.1 * (doses - 0.8)
    loud = tuple(
        (float(np.exp(7 + 0.6 * dose + size * rng.standard_normal())),)
        for dose, size in zip(doses, sizes, strict=True)
    )
    told = fit_response(replace(even, repeats=loud), coding, model="linear").assessment.scatter

    assert told is not None
    assert told.koenker_p is not None
    assert told.koenker_p < 0.01
    assert told.grows


def test_the_tests_in_strata_keep_their_chances() -> None:
    """Of 80 sets with equal, unordered scatter, 5 % would fall below 5 %; 400 gave 6 and 3.5 %."""
    data, coding = split_plot(doses=tuple(np.linspace(0.8, 2.4, 14)))
    table, _, _ = table_of(data, coding, make_model("linear", coding))
    strata = strata_of_data(data)
    rows = rows_in_strata(table, solve_least_squares(table.matrix, table.y), strata)
    assert rows is not None
    rng, batch = np.random.default_rng(0), np.array(data.batch)
    scatter, order = [], []
    for _ in range(80):
        y = 0.05 * rng.standard_normal(15)[batch] + 0.05 * rng.standard_normal(len(batch))
        fitted = InStrata(
            table=replace(rows, y=y), strata=strata,
            solution=solve_mixed(rows.matrix, y, strata.strata),
        )  # fmt: skip
        found = unequal_scatter_in_strata(fitted, tuple(range(len(y))))
        assert found is not None
        scatter.append(found.koenker_p)
        drift = order_drift(fitted, np.array(data.order))
        assert drift is not None
        order.append(drift.neighbours_p)

    # Eleven of 80 or more come by chance in 0.4 % of cases.
    assert (np.array(scatter) < 0.05).sum() < 11
    assert (np.array(order) < 0.05).sum() < 11

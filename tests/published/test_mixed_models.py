"""Variance components and Kenward-Roger tests against published and independently made numbers.

Sources, data and provenance: tests/reference/<name>/SOURCE.md. Numbers made with lme4 and pbkrtest
carry the error of that optimiser, some 1e-7 of a component.
"""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.fits.fitted_response import fit_response
from analysis.fits.kenward_roger import contrast_test, single_df
from analysis.fits.likelihood_of_mixed import maximum_likelihood
from analysis.fits.reml import MixedSolution, solve_mixed
from doe.model.strata import Strata, Stratum, make_strata
from doe.study.settings import FloatArray
from tests.analysis.fits.adopted_table import adopt, range_factor, reference_rows, study_of

REFERENCE = Path(__file__).parents[1] / "reference"
# Of a component and of a standard error or df: what the reference's own optimiser leaves.
COMPONENT, ERROR = 1e-5, 1e-4


def _numbers(rows: list[dict[str, Any]], name: str) -> FloatArray:
    return np.array([float(row[name]) for row in rows])


def _strata(rows: list[dict[str, Any]], *names: str) -> Strata:
    units = []
    for name in names:
        labels = [row[name] for row in rows]
        order = {label: i for i, label in enumerate(dict.fromkeys(labels))}
        units.append(Stratum(name=name, unit=np.array([order[label] for label in labels])))
    return make_strata(len(rows), units)


def _choice(rows: list[dict[str, Any]], name: str) -> FloatArray:
    """Columns of a choice, summing to zero over its levels."""
    labels = [row[name] for row in rows]
    levels = sorted(set(labels))
    every = np.array([[label == level for level in levels] for label in labels], dtype=np.float64)
    return every[:, :-1] - every[:, -1:]


def _products(first: FloatArray, second: FloatArray) -> FloatArray:
    return np.einsum("ni,nj->nij", first, second).reshape(len(first), -1)


def _expected(case: str) -> dict[str, float]:
    text = (REFERENCE / case / "expected.json").read_text(encoding="utf-8")
    return {one["id"]: one["value"] for one in json.loads(text)["values"]}


def _factorial(case: str, y: str, whole: str, sub: str, *strata: str) -> tuple[Any, ...]:
    """Fit a split plot of two choices; also the columns of each of the three sources."""
    rows = reference_rows(case)
    parts = [_choice(rows, whole), _choice(rows, sub)]
    parts.append(_products(*parts))
    X = np.hstack([np.ones((len(rows), 1)), *parts])
    ends = np.cumsum([1, *(part.shape[1] for part in parts)])
    sources = [range(a, b) for a, b in pairwise(ends.tolist())]
    return solve_mixed(X, _numbers(rows, y), _strata(rows, *strata)), sources


def _test(solution: MixedSolution, columns: range) -> tuple[float, float]:
    L = np.eye(solution.solved.coefficients.size)[list(columns)]
    test = contrast_test(solution.adjustment, solution.covariance, solution.solved.coefficients, L)
    return test.f, test.den_df


SPLIT_PLOTS = [
    ("bhh-corrosion-split-plot", "resistance", "heats", "coating", ("wp",), ("wp",)),
    ("littell-semiconductor-split-plot", "resistance", "ET", "position", ("Grp",), ("Grp",)),
    (
        "montgomery-paper-strength-split-plot", "strength", "prep", "temp", ("rep", "wp"),
        ("rep", "rep:prep"),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("case", "y", "whole", "sub", "strata", "told"), SPLIT_PLOTS)
def test_components_of_split_plots_agree(
    case: str, y: str, whole: str, sub: str, strata: tuple[str, ...], told: tuple[str, ...]
) -> None:
    """One and two nested strata above the residual."""
    solution, _ = _factorial(case, y, whole, sub, *strata)
    expected = _expected(case)

    wanted = [expected[f"R.reml.var.{name}"] for name in (*told, "Residual")]
    np.testing.assert_allclose(solution.components, wanted, rtol=COMPONENT)
    assert solution.optimum.is_settled


@pytest.mark.parametrize(("case", "y", "whole", "sub", "strata", "told"), SPLIT_PLOTS)
def test_tests_of_split_plots_agree(
    case: str, y: str, whole: str, sub: str, strata: tuple[str, ...], told: tuple[str, ...]
) -> None:
    """F and denominator df of several columns together; four df among batches are one of them."""
    solution, sources = _factorial(case, y, whole, sub, *strata)
    expected = _expected(case)

    for name, columns in zip((whole, sub, f"{whole}:{sub}"), sources, strict=True):
        if f"R.KR.{name}.F" not in expected:
            name = ":".join(reversed(name.split(":")))
        f, den_df = _test(solution, columns)
        assert f == pytest.approx(expected[f"R.KR.{name}.F"], rel=ERROR)
        assert den_df == pytest.approx(expected[f"R.KR.{name}.ddf"], rel=ERROR)


@pytest.mark.parametrize("y", ["sugpct", "yield"])
def test_beets_agree_also_where_whole_plots_do_not_differ(y: str) -> None:
    """The yield's whole-plot component is zero, and its tests keep the whole plots' 2 df."""
    rows, expected = reference_rows("pbkrtest-beets-split-plot"), _expected(
        "pbkrtest-beets-split-plot"
    )  # fmt: skip
    parts = [_choice(rows, name) for name in ("block", "sow", "harvest")]
    plots = [{"plot": row["block"] + row["harvest"]} for row in rows]
    X = np.hstack([np.ones((len(rows), 1)), *parts])
    solution = solve_mixed(X, _numbers(rows, y), _strata(plots, "plot"))

    wanted = [expected[f"{y}.reml.var.{name}"] for name in ("block:harvest", "Residual")]
    np.testing.assert_allclose(solution.components, wanted, rtol=COMPONENT)
    for name, columns in (("block", (1, 3)), ("sow", (3, 7)), ("harvest", (7, 8))):
        f, den_df = _test(solution, range(*columns))
        assert f == pytest.approx(expected[f"{y}.KR.{name}.F"], rel=ERROR)
        assert den_df == pytest.approx(expected[f"{y}.KR.{name}.ddf"], rel=ERROR)


@pytest.mark.parametrize(("left_out", "kind"), [((), "bal"), ((0, 11), "imbal")])
def test_shoes_agree_with_the_vignette(left_out: tuple[int, ...], kind: str) -> None:
    """Two shoes a boy, all and without two: df of 9 and of 7.02."""
    rows = [r for i, r in enumerate(reference_rows("pbkrtest-shoes-kr")) if i not in left_out]
    X = np.hstack([np.ones((len(rows), 1)), _choice(rows, "material")])
    solution = solve_mixed(X, _numbers(rows, "wear"), _strata(rows, "boy"))
    expected = _expected("pbkrtest-shoes-kr")

    f, den_df = _test(solution, range(1, 2))
    assert f == pytest.approx(expected[f"KR.{kind}.F"], abs=0.0005)
    assert den_df == pytest.approx(expected[f"KR.{kind}.ddf"], abs=5e-6)
    wanted = [expected[f"{kind}.var.{name}"] for name in ("boy", "res")]
    np.testing.assert_allclose(solution.components, wanted, rtol=COMPONENT)


def test_vinyl_blends_with_process_factors_agree() -> None:
    """A mixture-process split plot without intercept: errors and df of all twelve coefficients."""
    rows, expected = (
        reference_rows("kowalski-vinyl-mixture-process-split-plot"),
        _expected("kowalski-vinyl-mixture-process-split-plot"),
    )
    x = np.column_stack([_numbers(rows, f"x{i}") for i in (1, 2, 3)])
    z = [_numbers(rows, f"z{j}")[:, None] for j in (1, 2)]
    pairs = np.column_stack([x[:, 0] * x[:, 1], x[:, 0] * x[:, 2], x[:, 1] * x[:, 2]])
    solution = solve_mixed(
        np.hstack([x, pairs, x * z[0], x * z[1]]), _numbers(rows, "y"), _strata(rows, "wp")
    )
    names = ["x1", "x2", "x3", "x1:x2", "x1:x3", "x2:x3"]
    names += [f"x{i}:z{j}" for j in (1, 2) for i in (1, 2, 3)]

    wanted = [expected[f"R.reml.var.{name}"] for name in ("wp", "Residual")]
    np.testing.assert_allclose(solution.components, wanted, rtol=COMPONENT)
    errors = np.sqrt(np.diag(solution.covariance))
    np.testing.assert_allclose(errors, [expected[f"R.seKR.{n}"] for n in names], rtol=ERROR)
    df = single_df(solution.adjustment, np.eye(12))
    np.testing.assert_allclose(df, [expected[f"R.dfKR.{n}"] for n in names], rtol=ERROR)


UNBALANCED = [
    ("unbalanced batches", "y", ("batch",), ()),
    ("missing runs", "y", ("batch",), (1, 6, 7, 14, 20, 29)),
    ("days and batches", "y", ("day", "batch"), ()),
    ("zero component", "z", ("batch",), ()),
    ("crossed loads", "w", ("batch", "oven"), ()),
]


@pytest.mark.parametrize(("name", "y", "strata", "left_out"), UNBALANCED)
def test_unbalanced_strata_agree(
    name: str, y: str, strata: tuple[str, ...], left_out: tuple[int, ...]
) -> None:
    """Components, criterion, errors, df and joint tests; a zero component is exactly zero."""
    folder = REFERENCE / "mixed-unbalanced"
    expected = json.loads((folder / "expected.json").read_text(encoding="utf-8"))[name]
    with (folder / "split_plot.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for i, row in enumerate(csv.DictReader(file)) if i not in left_out]
    a, b = _numbers(rows, "a"), _numbers(rows, "b")
    X = np.column_stack([np.ones(len(rows)), a, b, b**2, a * b])
    solution = solve_mixed(X, _numbers(rows, y), _strata(rows, *strata))

    found = dict(zip(solution.names, solution.components, strict=True))
    for stratum, variance in zip(expected["strata"], expected["variance"], strict=True):
        wanted = pytest.approx(variance, rel=COMPONENT) if variance > 1e-12 else 0.0
        assert found[stratum.lower()] == wanted
    errors = np.sqrt(np.diag(solution.covariance))
    np.testing.assert_allclose(solution.solved.coefficients, expected["coefficients"], rtol=ERROR)
    np.testing.assert_allclose(errors, expected["std_error"], rtol=ERROR)
    np.testing.assert_allclose(
        single_df(solution.adjustment, np.eye(5)), expected["df"], rtol=ERROR
    )
    criterion = -2 * solution.log_likelihood + np.linalg.slogdet(X.T @ X)[1]
    assert criterion == pytest.approx(expected["criterion"], abs=1e-6)
    for test, columns in (("slopes", range(1, 3)), ("all", range(1, 5))):
        f, den_df = _test(solution, columns)
        assert f == pytest.approx(expected[test][0], rel=ERROR)
        assert den_df == pytest.approx(expected[test][2], rel=ERROR)


@pytest.mark.parametrize(
    ("model", "sources"),
    [("full", (0, 1, 2)), ("ET+position", (0, 1)), ("ET", (0,)), ("position", (1,)), ("1", ())],
)
def test_plain_likelihood_of_the_semiconductor_agrees(model: str, sources: tuple[int, ...]) -> None:
    """What models are compared by, for five models; half a unit of the last printed digit."""
    rows = reference_rows("littell-semiconductor-split-plot")
    parts = [_choice(rows, "ET"), _choice(rows, "position")]
    parts.append(_products(*parts))
    X = np.hstack([np.ones((len(rows), 1)), *(parts[i] for i in sources)])
    found = maximum_likelihood(X, _numbers(rows, "resistance"), _strata(rows, "Grp"))
    expected = _expected("littell-semiconductor-split-plot")

    assert found.log_likelihood == pytest.approx(expected[f"ml.{model}.logLik"], abs=0.0011)


@pytest.mark.parametrize("name", ["sirstv", "atmwtag", "smls01", "smls02", "smls04", "smls05"])
def test_one_way_random_components_follow_the_certified_mean_squares(name: str) -> None:
    """Equal groups: the residual is the mean square within, the rest of that between the group's.

    Source: NIST Statistical Reference Datasets, analysis of variance; Searle, Casella and McCulloch
    (1992), section 4.4.
    """
    rows = reference_rows(f"strd-anova-{name}")
    treatment, response = list(rows[0])
    y = _numbers(rows, response)
    solution = solve_mixed(np.ones((len(y), 1)), y, _strata(rows, treatment))
    expected = _expected(f"strd-anova-{name}")
    size = len(y) / (expected["dfb"] + 1)

    # Where the treatments scatter less than their members, both make up the residual.
    within = expected["msw"]
    between = (expected["msb"] - within) / size
    if between < 0:
        within, between = (expected["ssb"] + expected["ssw"]) / (len(y) - 1), 0.0
    np.testing.assert_allclose(solution.components, [between, within], rtol=COMPONENT)


def test_the_vinyl_table_agrees_as_a_study() -> None:
    """From a table with batches to the coefficient table, in the terms that a user writes."""
    rows = reference_rows("kowalski-vinyl-mixture-process-split-plot")
    expected = _expected("kowalski-vinyl-mixture-process-split-plot")
    study = study_of(
        factors=[range_factor("z1"), range_factor("z2")],
        shares=[{"name": f"x{i}", "low": 0.0, "high": 1.0} for i in (1, 2, 3)],
    )
    names = ("x1", "x2", "x3", "z1", "z2", "y")
    data, coding = adopt(study, [{n: float(row[n]) for n in names} for row in rows], "y")
    data = replace(data, batch=tuple(int(row["wp"]) for row in rows))
    fitted = fit_response(data, coding, model="quadratic", drop=("z1 × z2", "z1²", "z2²"))
    found = {row.label.replace(" × ", ":"): row for row in fitted.assessment.coefficients}

    assert fitted.fit.method == "reml"
    assert len(found) == 12
    for label, row in found.items():
        name = ":".join(sorted(label.split(":")))
        assert row.std_error == pytest.approx(expected[f"R.seKR.{name}"], rel=ERROR)
        assert row.df == pytest.approx(expected[f"R.dfKR.{name}"], rel=ERROR)

"""The landscape of published surfaces: bends, ridge, steepest way, region of the level place.

Sources:
    Lenth (2009), Journal of Statistical Software 32(7): chemical reaction (in two blocks), CO
    emissions of Box, Hunter and Hunter (2005), Table 10.17, and paper helicopters, Table 12.5;
    read, as SOURCE.md of each case says.
    Montgomery (2012), Design and Analysis of Experiments, 8th ed., Example 11.1; data read, answers
    from memory and re-derived.
    NIST/SEMATECH e-Handbook, 5.5.4.2: yarn blends; read.
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.fits.fit import Fit
from analysis.fits.fitted_response import fit_response
from analysis.surface.canonical import canonical_form
from analysis.surface.cox import cox_traces
from analysis.surface.ridge_path import predict_along
from analysis.surface.second_order import SecondOrder, second_order
from analysis.surface.stationary import stationary_of
from analysis.surface.stationary_region import slope_test, stationary_region
from analysis.surface.steepest_path import steepest_line
from doe.model.region import region_of
from doe.study.brief import Study
from doe.study.settings import FloatArray
from tests.analysis.fits.adopted_table import (
    adopt,
    computed,
    published,
    range_factor,
    reference_rows,
    study_of,
)

REACTION, EMISSIONS, HELICOPTERS = "rsm-chemreact", "rsm-codata-ridge", "rsm-heli"
FIRST_ORDER, YARN = "montgomery-ex11.1-steepest-ascent", "nist-yarn-simplex-lattice"


def _study(names: tuple[str, ...]) -> Study:
    return study_of(factors=[range_factor(name) for name in names])


def _fit(case: str, response: str, k: int, *, block: str | None, model: str = "quadratic") -> Fit:
    names = tuple(f"x{i + 1}" for i in range(k))
    rows = [row for row in reference_rows(case) if block != "first" or row["block"] == "1"]
    data, coding = adopt(_study(names), rows, response, block="block" if block == "both" else None)
    return fit_response(data, coding, model=model).fit


def _form(case: str, response: str, k: int, *, block: str | None = None) -> SecondOrder:
    return second_order(_fit(case, response, k, block=block), np.zeros(k))


def _plain_regression(case: str, response: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Fit 1, x1, x2, x1², x1x2, x2² and a block by normal equations, apart from the house."""
    rows = reference_rows(case)
    x1, x2 = (np.array([float(row[name]) for row in rows]) for name in ("x1", "x2"))
    columns = [np.ones_like(x1), x1, x2, x1**2, x1 * x2, x2**2]
    if "block" in rows[0]:
        columns.append(np.array([1.0 if row["block"] == "1" else -1.0 for row in rows]))
    X, y = np.column_stack(columns), np.array([float(row[response]) for row in rows])
    b = np.linalg.lstsq(X, y, rcond=None)[0]
    rest = y - X @ b
    return b, np.linalg.inv(X.T @ X) * (rest @ rest) / (len(y) - len(b)), rest


def test_the_region_of_the_reaction_is_that_of_a_plain_f_test() -> None:
    """Box and Hunter's set at 400 places, by normal equations and the F table alone."""
    form = _form(REACTION, "yield_", 2, block="both")
    test = slope_test(form, stationary_of(form).at_coded)
    assert test is not None
    b, V, rest = _plain_regression(REACTION, "yield_")
    places = np.stack(np.meshgrid(*[np.linspace(-0.2, 0.9, 20)] * 2), axis=-1).reshape(-1, 2)
    df = len(rest) - len(b)
    inside = []
    for x1, x2 in places:
        L = np.zeros((2, len(b)))
        L[0, [1, 3, 4]], L[1, [2, 4, 5]] = (1.0, 2.0 * x1, x2), (1.0, x1, 2.0 * x2)
        f = (L @ b) @ np.linalg.solve(L @ V @ L.T, L @ b) / 2.0
        inside.append(stats.f.sf(f, 2, df) >= 0.05)

    assert 0 < sum(inside) < len(inside)
    np.testing.assert_array_equal(test.holds(places), inside)


@pytest.mark.parametrize(
    ("case", "response", "block"), [(REACTION, "yield_", "both"), (EMISSIONS, "co", None)]
)
def test_the_ends_of_the_region_are_those_of_a_fine_grid(
    case: str, response: str, block: str | None
) -> None:
    """Against a grid of 801 × 801 places over twice the ranges; tolerance: its step."""
    form = _form(case, response, 2, block=block)
    at = stationary_of(form).at_coded
    region = stationary_region(form, at)
    test = slope_test(form, at if np.abs(at).max() < 2 else np.zeros(2))
    assert region is not None
    assert test is not None
    places = np.stack(np.meshgrid(*[np.linspace(-2.0, 2.0, 801)] * 2), axis=-1).reshape(-1, 2)
    held = places[test.holds(places)]

    np.testing.assert_allclose(region.low_coded, held.min(axis=0), atol=0.006)
    np.testing.assert_allclose(region.high_coded, held.max(axis=0), atol=0.006)


def test_the_region_of_the_reaction_lies_inside_the_ranges() -> None:
    """A maximum that eleven runs settle: the point printed, 0.372 and 0.334, and round it."""
    form = _form(REACTION, "yield_", 2, block="both")
    region = stationary_region(form, stationary_of(form).at_coded)
    assert region is not None

    assert not region.leaves
    assert region.low_coded[0] < published(REACTION)["so.xs.x1"][0] < region.high_coded[0]


def test_the_emissions_are_a_ridge_and_its_nearest_place_is_the_printed_one() -> None:
    """Printed 0.1868328 and −8.8868328; without the small one −0.06302658, −0.05997463."""
    form = _form(EMISSIONS, "co", 2)
    canonical, point = canonical_form(form), stationary_of(form)
    printed = published(EMISSIONS)
    found = {
        "xs.x1": point.at_coded[0],
        "xs.x2": point.at_coded[1],
        "ev1": canonical.axes[0].curvature,
        "ev2": canonical.axes[1].curvature,
        "ridge.xs.x1": canonical.nearest[0],
        "ridge.xs.x2": canonical.nearest[1],
    }

    for name, value in found.items():
        expected, tolerance = printed[name]
        assert value == pytest.approx(expected, abs=tolerance), name
    assert [axis.bend for axis in canonical.axes] == ["flat", "down"]
    assert canonical.nature == "ridge"


def test_the_helicopters_stand_on_a_saddle() -> None:
    """Printed 0.8607107 … and 3.258222 to −4.651963, with their directions up to sign."""
    form = _form(HELICOPTERS, "ave", 4, block="both")
    canonical, point = canonical_form(form), stationary_of(form)
    printed = published(HELICOPTERS)

    for i in range(4):
        expected, tolerance = printed[f"xs.x{i + 1}"]
        assert point.at_coded[i] == pytest.approx(expected, abs=tolerance)
        expected, tolerance = printed[f"ev{i + 1}"]
        assert canonical.axes[i].curvature == pytest.approx(expected, abs=tolerance)
        vector = [printed[f"evec.v{i + 1}.{j + 1}"] for j in range(4)]
        cosine = float(canonical.axes[i].direction @ np.array([value for value, _ in vector]))
        assert abs(cosine) == pytest.approx(1.0, abs=1e-7)
    assert canonical.nature == "saddle"


def test_errors_of_bends_are_those_of_a_second_regression_on_the_turned_axes() -> None:
    """Bisgaard and Ankenman (1996): turn the axes, fit again, read the errors of the squares."""
    canonical = canonical_form(_form(EMISSIONS, "co", 2))
    turn = np.column_stack([axis.direction for axis in canonical.axes])
    rows = reference_rows(EMISSIONS)
    x = np.array([[float(row["x1"]), float(row["x2"])] for row in rows]) @ turn
    X = np.column_stack(
        [np.ones(len(x)), x, x[:, 0] * x[:, 1], x**2]
    )  # fmt: skip
    y = np.array([float(row["co"]) for row in rows])
    b = np.linalg.lstsq(X, y, rcond=None)[0]
    rest = y - X @ b
    V = np.linalg.inv(X.T @ X) * (rest @ rest) / (len(y) - 6)

    assert b[3] == pytest.approx(0.0, abs=1e-9)
    for i, axis in enumerate(canonical.axes):
        assert axis.curvature == pytest.approx(b[4 + i], rel=1e-9)
        assert axis.std_error == pytest.approx(np.sqrt(V[4 + i, 4 + i]), rel=1e-9)


def test_steepest_ascent_of_the_first_block_of_the_reaction() -> None:
    """Printed 0.407, 0.291: 83.352 at half a unit; 0.814, 0.581: 83.890 at one."""
    fit = _fit(REACTION, "yield_", 2, block="first", model="linear")
    region = region_of(_study(("x1", "x2")))
    form = second_order(fit, np.zeros(2))
    line = steepest_line(form, region, "highest", distances=np.array([0.0, 0.5, 1.0]))
    printed = published(REACTION)

    for i, distance in ((1, "0.5"), (2, "1.0")):
        for j in (0, 1):
            expected, tolerance = printed[f"fo.path.{distance}.x{j + 1}"]
            assert line.coded[i, j] == pytest.approx(expected, abs=tolerance)
    expected, _ = printed["fo.sa.x1"]
    assert line.coded[2, 0] == pytest.approx(expected, abs=5e-8)
    # The source evaluates at places rounded to three decimals.
    assert line.value[1] == pytest.approx(83.352, abs=0.0011)
    assert line.value[2] == pytest.approx(83.890, abs=0.0011)


def test_steepest_ascent_of_example_11_1() -> None:
    """0.42 coded units of temperature for one of time."""
    fit = _fit(FIRST_ORDER, "y", 2, block=None, model="linear")
    line = steepest_line(second_order(fit, np.zeros(2)), region_of(_study(("x1", "x2"))), "highest")
    step = line.coded[2]

    np.testing.assert_allclose(step, computed(FIRST_ORDER)["sa.unit"], rtol=1e-9)
    assert step[1] / step[0] == pytest.approx(0.42, abs=0.005)


def test_cox_traces_of_the_yarn_follow_the_printed_coefficients() -> None:
    """11.7, 9.4, 16.4, 19.0, 11.4, −9.6: from the centroid, x1 to 1 and the others to halves."""
    study = study_of(shares=[{"name": name, "low": 0, "high": 1} for name in ("x1", "x2", "x3")])
    data, coding = adopt(study, reference_rows(YARN), "elongation")
    fit = fit_response(data, coding, model="quadratic").fit
    traces = cox_traces(fit, region_of(study), np.full(3, 1.0 / 3.0))
    first = traces[0]
    at_half = 9.4 / 2 + 16.4 / 2 - 9.6 / 4

    assert [trace.additive for trace in traces] == ["x1", "x2", "x3"]
    assert first.value[-1] == pytest.approx(11.7, abs=0.05)
    assert first.value[0] == pytest.approx(at_half, abs=0.15)
    assert first.change == pytest.approx(11.7 - at_half, abs=0.2)


def test_the_slope_of_a_linear_blend_is_that_of_coxs_formula() -> None:
    """(βᵢ − Σ sⱼβⱼ) / (1 − sᵢ), on the yarn with a linear blend model."""
    study = study_of(shares=[{"name": name, "low": 0, "high": 1} for name in ("x1", "x2", "x3")])
    data, coding = adopt(study, reference_rows(YARN), "elongation")
    fit = fit_response(data, coding, model="linear").fit
    s = np.array([0.2, 0.5, 0.3])
    beta = fit.coefficients
    traces = cox_traces(fit, region_of(study), s)

    for i, trace in enumerate(traces):
        assert trace.slope == pytest.approx((beta[i] - s @ beta) / (1.0 - s[i]), rel=1e-6)
        row = -s / (1.0 - s[i])
        row[i] = 1.0
        assert trace.slope_error == pytest.approx(np.sqrt(row @ fit.covariance @ row), rel=1e-6)


def test_the_surface_taken_apart_predicts_what_the_model_does() -> None:
    """Fitted values of the chemical reaction at its stationary point, 84.0954 + b'x/2."""
    form = _form(REACTION, "yield_", 2, block="both")
    at = stationary_of(form).at_coded
    value = predict_along(form, at[None, :])[0][0]
    b, _, _ = _plain_regression(REACTION, "yield_")

    assert value == pytest.approx(b[0] + b[1:3] @ at / 2.0, rel=1e-9)

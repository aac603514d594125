"""The search for optimal plans against exact optima from the literature and known in closed form.

Printed plans stand in tests/reference/<case>, each with its source. A search over whole ranges must
do at least as well as one over a grid; tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from functools import cache
from itertools import product
from math import comb, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from doe.layouts.optimal.goal import criterion_values
from doe.layouts.optimal.search import FoundPlan, Wanted, best_plan
from doe.model.coding import Coding, code
from doe.model.expansion import compile_model
from doe.model.moments import region_moments
from doe.model.region import Region, region_of
from doe.model.strata import make_strata
from doe.model.terms import INTERCEPT, Model, make_model, parse_term
from doe.study.brief import Stage
from doe.study.settings import FloatArray
from tests.doe.layouts.briefs import a_study

REFERENCE = Path(__file__).parents[1] / "reference"
STAGE: tuple[Stage, ...] = ("batch",)
# Fine enough that keeping to it moves no printed digit.
STEP = 1e-6


def _case(name: str) -> tuple[dict[str, dict[str, Any]], list[dict[str, str]]]:
    folder = REFERENCE / name
    values = json.loads((folder / "expected.json").read_text(encoding="utf-8"))["values"]
    with (folder / "data.csv").open(encoding="utf-8", newline="") as file:
        return {entry["id"]: entry for entry in values}, list(csv.DictReader(file))


SMALL, SMALL_ROWS = _case("borkowski-2003-exact-designs")
WHEELER, WHEELER_ROWS = _case("algdesign-exact-designs")
HANDBOOK, HANDBOOK_ROWS = _case("nist-d-optimal-example")
CONTINUOUS, CONTINUOUS_ROWS = _case("atkinson-donev-continuous-d")


def _printed(entry: dict[str, Any]) -> tuple[float, float]:
    """Give a printed number and half a unit of its last digit."""
    digits = len(entry["printed"].partition(".")[2])
    return float(entry["printed"]), 0.5 * 10.0**-digits


def _square(k: int, **more: Any) -> Region:
    factors = [{"name": f"x{i + 1}", "low": -1.0, "high": 1.0, **more} for i in range(k)]
    return region_of(a_study(factors))


def _on_levels(*levels: Sequence[float]) -> Region:
    factors = [{"name": f"x{i + 1}", "levels": list(own)} for i, own in enumerate(levels)]
    return region_of(a_study(factors))


def _simplex(q: int) -> Region:
    additives = [
        {"name": f"x{i + 1}", "low": 0.0, "high": 1.0, "step": STEP} for i in range(q)
    ]  # fmt: skip
    return region_of(a_study((), additives))


def _model(coding: Coding, *texts: str) -> Model:
    return Model(name="own", terms=(INTERCEPT, *(parse_term(text, coding) for text in texts)))


def _search(region: Region, n: int, criterion: str, model: Model | str) -> FoundPlan:
    own = make_model(model, region.coding) if isinstance(model, str) else model
    return best_plan(
        Wanted(
            region=region, model=own, weights={criterion: 1.0}, n=n, strata=make_strata(n, ()),
            stages=STAGE * len(region.coding.axes), seed=1, workers=1,
        )
    )  # fmt: skip


@cache
def _fifteen_on_levels(criterion: str) -> FoundPlan:
    """Search a quadratic in three factors on −2 … 2, once for all tests of it."""
    levels = (-2.0, -1.0, 0.0, 1.0, 2.0)
    return _search(_on_levels(levels, levels, levels), 15, criterion, "quadratic")


def _judged(region: Region, values: FloatArray, model: Model | str) -> dict[str, float]:
    """Give D, I and A of runs without any search."""
    own = make_model(model, region.coding) if isinstance(model, str) else model
    expansion = compile_model(region.coding, own)
    X = expansion.matrix(code(values, region.coding))
    return criterion_values(X, np.eye(len(X)), region_moments(region, expansion))


def _rows(rows: list[dict[str, str]], column: str, group: str, *names: str) -> FloatArray:
    return np.array([[float(r[name]) for name in names] for r in rows if r[column] == group])


@pytest.mark.parametrize("n", [6, 8])
def test_the_criterion_of_the_printed_small_plans_is_the_printed_one(n: int) -> None:
    """Borkowski (2003), D = 100 |X'X|^(1/p)/N and A = 100 p / trace(N (X'X)^-1), two factors.

    The settings are printed with six digits, which reach the last digit printed of D and A.
    """
    values = _rows(SMALL_ROWS, "N", f"{n:.1f}", "x1", "x2")
    found = _judged(_square(2), values, "quadratic")
    d, half = _printed(SMALL[f"N{n}.D"])
    a = SMALL[f"N{n}.A"]["value"]

    assert 100 * found["D"] == pytest.approx(d, abs=half)
    assert 100 * 6 / (n * found["A"]) == pytest.approx(a, abs=5e-5)
    assert found["I"] == pytest.approx(SMALL[f"N{n}.IV.average"]["value"], rel=1e-9)


@pytest.mark.parametrize("n", [6, 8])
def test_the_search_ends_at_the_published_small_plans(n: int) -> None:
    """Box and Draper (1971), Technometrics 13, 731-742 (N = 6); Borkowski (2003), Table (N = 8)."""
    found = _search(_square(2, step=STEP), n, "D", "quadratic")
    d, half = _printed(SMALL[f"N{n}.D"])

    assert 100 * found.criteria["D"] == pytest.approx(d, abs=half)


def test_six_runs_stand_where_box_and_draper_put_them() -> None:
    """Three corners, α = (4 − √13)/3 in the middle and 3 α on the edges, up to mirror images.

    Within a thousandth: D is flat at its top, where so much off costs one part in a million.
    """
    alpha = (4.0 - sqrt(13.0)) / 3.0
    values = _search(_square(2, step=STEP), 6, "D", "quadratic").values
    apart = np.sort(np.abs(values).ravel())
    printed = np.sort([*[1.0] * 8, 3 * alpha, 3 * alpha, alpha, alpha])

    np.testing.assert_allclose(apart, printed, atol=1e-3)


def test_nine_runs_are_the_factorial_of_three_levels() -> None:
    """Box and Draper (1971): nine runs of a quadratic in two factors, 100 D = 46.22408."""
    values = _search(_square(2, step=STEP), 9, "D", "quadratic").values
    grid = sorted(product((-1.0, 0.0, 1.0), repeat=2))

    np.testing.assert_allclose(sorted(map(tuple, values)), grid, atol=1e-3)


@pytest.mark.parametrize(
    ("n", "determinant"), [(4, 16), (5, 48), (6, 160), (7, 576), (8, 4096), (9, 14336), (10, 73728)]
)
def test_saturated_first_order_plans_reach_the_largest_determinants(
    n: int, determinant: int
) -> None:
    """|det X| of n runs of n − 1 main effects and a mean.

    Source: Hadamard (1893) for 4 and 8; Williamson (1946), American Mathematical Monthly 53,
    427-434, for 5 to 7; Ehlich (1964), Mathematische Zeitschrift 83, 123-132, for 6 and 10; Ehlich
    and Zeller (1962), ZAMM 42, 20-21, for 9.
    """
    found = _search(_square(n - 1), n, "D", "linear")

    assert (n * found.criteria["D"]) ** (n / 2) == pytest.approx(determinant, rel=1e-9)


@pytest.mark.parametrize(("q", "n"), [(3, 6), (4, 10), (5, 15), (3, 12)])
def test_d_optimal_blends_are_the_simplex_lattice(q: int, n: int) -> None:
    """Kiefer (1961), Annals of Mathematical Statistics 32, 298-325: weight on {q, 2} alone.

    A pair's blend of halves has x·y = 1/4 where every other pair has 0, so |X| = 4^-pairs.
    """
    p, pairs = q * (q + 1) // 2, comb(q, 2)
    found = _search(_simplex(q), n, "D", "quadratic")
    lattice = {
        tuple(0.5 * (np.eye(q)[i] + np.eye(q)[j])) for i in range(q) for j in range(i, q)
    }  # fmt: skip

    assert found.criteria["D"] == pytest.approx(16.0 ** (-pairs / p) / p, rel=1e-6)
    assert {tuple(np.round(row, 3) + 0.0) for row in found.values} == lattice


def test_d_optimal_blends_for_a_special_cubic_are_the_simplex_centroid() -> None:
    """Atwood (1969), Annals of Mathematical Statistics 40, 1570-1602, for three additives."""
    found = _search(_simplex(3), 7, "D", "special cubic")

    assert found.criteria["D"] == pytest.approx((4.0**-6 / 27.0**2) ** (1 / 7) / 7, rel=1e-5)


def test_the_printed_blends_have_the_printed_criteria() -> None:
    """Wheeler, eight blends of thirds: D = 0.03623366 and A = trace((X'X/N)^-1)/p = 98.34085."""
    found = _judged(
        _simplex(3), _rows(WHEELER_ROWS, "design", "mix8", "x1", "x2", "x3"), "quadratic"
    )

    for name, value in (("mix8.D", found["D"]), ("mix8.A", 8 * found["A"] / 6)):
        printed, half = _printed(WHEELER[name])
        assert value == pytest.approx(printed, abs=half)


def test_eight_blends_of_the_whole_simplex_beat_those_of_thirds() -> None:
    """Wheeler's best over the lattice of thirds; ours may use the blends of halves, too."""
    printed, half = _printed(WHEELER["mix8.D"])

    assert _search(_simplex(3), 8, "D", "quadratic").criteria["D"] >= printed - half


@pytest.mark.parametrize(("criterion", "scale"), [("D", 8.0), ("I", 15.0)])
def test_fifteen_runs_on_five_levels_reach_what_is_printed(criterion: str, scale: float) -> None:
    """Wheeler, a quadratic in three factors on −2 … 2: D ≥ 3.675919, I ≤ 8.096772.

    Our columns run from −1 to 1: three of Wheeler's are twice, six four times ours, which makes
    |X'X|^(1/10) 8 times ours. His I is the mean of f'(X'X/N)^-1 f over the grid.
    """
    found = _fifteen_on_levels(criterion).criteria
    printed, half = _printed(WHEELER[f"quad3.n15.{criterion}"])
    gain = 1.0 if criterion == "D" else -1.0

    assert gain * scale * found[criterion] >= gain * printed - half
    assert gain * scale * found[criterion] >= gain * WHEELER[f"quad3.n15.{criterion}.ours"][
        "value"
    ] * (1 - gain * 1e-6)


@pytest.mark.parametrize("criterion", ["D", "I"])
def test_whole_ranges_are_no_worse_than_five_levels(criterion: str) -> None:
    """The same by D over the cube; I is another average there, so it is judged over the cube."""
    grid = _fifteen_on_levels(criterion).values / 2.0
    cube = _square(3)
    whole = _search(cube, 15, criterion, "quadratic").criteria[criterion]
    on_levels = _judged(cube, grid, "quadratic")[criterion]

    assert (whole >= on_levels) if criterion == "D" else (whole <= on_levels)


def test_the_handbook_plan_has_the_printed_criteria_and_the_search_ends_there() -> None:
    """NIST/SEMATECH e-Handbook 5.5.2.1: twelve of twenty settings, D = 0.6825575, I = 4.6625 / 12.

    Three main effects and the square of the first; A is the mean of the diagonal of (X'X/n)^-1.
    """
    region = _on_levels((-1.0, -0.5, 0.0, 0.5, 1.0), (-1.0, 1.0), (-1.0, 1.0))
    model = _model(region.coding, "x1", "x2", "x3", "x1²")
    values = _rows(HANDBOOK_ROWS, "set", "design", "x1", "x2", "x3")
    printed = _judged(region, values, model)
    d, half = _printed(HANDBOOK["D"])

    assert printed["D"] == pytest.approx(d, abs=half)
    assert 12 * printed["A"] / 5 == pytest.approx(HANDBOOK["A"]["value"], abs=0.05)
    assert 12 * printed["I"] == pytest.approx(HANDBOOK["I"]["value"], abs=5e-5)
    assert _search(region, 12, "D", model).criteria["D"] == pytest.approx(d, abs=half)


@pytest.mark.parametrize("k", [2, 3])
def test_the_continuous_plan_obeys_the_equivalence_theorem(k: int) -> None:
    """Kiefer and Wolfowitz (1960): f'M^-1 f is at most p, and p where the plan has weight.

    The weights of tests/reference/atkinson-donev-continuous-d, in our own model matrix.
    """
    x, weight = _continuous(k)
    coding = _square(k).coding
    expansion = compile_model(coding, make_model("quadratic", coding))
    X = expansion.matrix(x)
    inverse = np.linalg.inv((X * weight[:, None]).T @ X)
    grid = expansion.matrix(np.array(list(product(np.linspace(-1, 1, 21), repeat=k))))

    assert np.einsum("ij,jk,ik->i", grid, inverse, grid).max() <= X.shape[1] + 1e-6
    assert float(np.linalg.det(inverse)) == pytest.approx(
        1 / CONTINUOUS[f"k{k}.det.full" if k == 2 else f"k{k}.det"]["value"], rel=1e-6
    )


@pytest.mark.parametrize(("k", "sizes"), [(2, (7, 12, 36, 48)), (3, (14, 30, 60))])
def test_exact_plans_come_near_the_continuous_one_and_never_pass_it(
    k: int, sizes: tuple[int, ...]
) -> None:
    """D per run of any plan is at most that of the continuous one; many runs come close to it."""
    limit = CONTINUOUS[f"k{k}.D_percent"]["value"] / 100
    found = [_search(_square(k), n, "D", "quadratic").criteria["D"] for n in sizes]

    assert max(found) <= limit * (1 + 1e-9)
    assert found[-1] >= 0.9985 * limit


def test_the_three_level_pairs_of_printed_composites_have_the_printed_efficiency() -> None:
    """Wheeler: fourteen runs, cube and star, are 98 % D-efficient against the continuous plan."""
    values = _rows(WHEELER_ROWS, "design", "ccf14", "x1", "x2", "x3")
    found = _judged(_square(3), values, "quadratic")
    printed, half = _printed(WHEELER["ccf14.Deff_percent"])

    assert 100 * found["D"] / (CONTINUOUS["k3.D_percent"]["value"] / 100) == pytest.approx(
        printed, abs=half
    )


def _continuous(k: int) -> tuple[FloatArray, FloatArray]:
    names = [f"x{i + 1}" for i in range(k)]
    rows = [r for r in CONTINUOUS_ROWS if r["k"] == str(k)]
    x = np.array([[float(r[name]) for name in names] for r in rows])
    return x, np.array([float(r["weight"]) for r in rows])

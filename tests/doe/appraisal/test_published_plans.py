"""Efficiencies of printed plans.

Sources: Borkowski (2003), Journal of Probability and Statistical Science 1, 65-88, as quoted in
tests/reference/borkowski-2003-exact-designs (its printed I is not used: its scaling is unknown);
Wheeler, Comments on algorithmic design, tests/reference/algdesign-exact-designs. Tolerance: half a
unit of the last printed digit, or the one that the case gives for a secondary source.
"""

from __future__ import annotations

import csv
import itertools
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from doe.appraisal.appraise import Appraisal
from doe.appraisal.information import information_of
from doe.appraisal.runs import runs_of_values
from doe.study.settings import FloatArray
from tests.doe.appraisal.held_plans import ground, judged
from tests.doe.layouts.briefs import WHOLE_SIMPLEX, a_study

REFERENCE = Path(__file__).parents[2] / "reference"


def _case(name: str) -> tuple[dict[str, Any], list[dict[str, str]]]:
    folder = REFERENCE / name
    values = json.loads((folder / "expected.json").read_text(encoding="utf-8"))["values"]
    with (folder / "data.csv").open(encoding="utf-8", newline="") as file:
        return {entry["id"]: entry for entry in values}, list(csv.DictReader(file))


SQUARES, SQUARE_ROWS = _case("borkowski-2003-exact-designs")
PRINTED, ROWS = _case("algdesign-exact-designs")


def _square(n: int) -> Appraisal:
    study = a_study([{"name": name, "low": -1.0, "high": 1.0} for name in ("dose", "pH")])
    values = [[float(r["x1"]), float(r["x2"])] for r in SQUARE_ROWS if float(r["N"]) == n]
    return judged(study, runs_of_values(np.array(values)), "quadratic")


def _printed(name: str) -> FloatArray:
    return np.array(
        [[float(r[x]) for x in ("x1", "x2", "x3")] for r in ROWS if r["design"] == name]
    )


@pytest.mark.parametrize("n", [6, 8])
def test_small_quadratic_plans_have_the_printed_efficiencies(n: int) -> None:
    """D, A and G of the best six and eight runs over the square, G by search over all of it."""
    found = _square(n)

    for letter, value in (
        ("D", found.d_efficiency), ("A", found.a_efficiency), ("G", found.g_efficiency),
    ):  # fmt: skip
        entry = SQUARES[f"N{n}.{letter}"]
        # The settings are printed with six digits: their rounding reaches the last digit of G.
        tolerance = entry.get("tolerance") or 1e-6 * entry["value"]
        assert 100 * value == pytest.approx(entry["value"], abs=tolerance), letter


@pytest.mark.parametrize("n", [6, 8])
def test_the_average_variance_over_the_square_is_exact(n: int) -> None:
    """Trace of (X'X)^-1 and the moments of the square, worked out with the case."""
    found = _square(n)
    assert found.profile is not None

    assert found.profile.average == pytest.approx(SQUARES[f"N{n}.IV.average"]["value"], rel=1e-9)


def test_a_blend_plan_has_the_printed_efficiencies() -> None:
    """Eight blends, Scheffé's quadratic model; G over the lattice of thirds."""
    _, terrain = ground(a_study((), WHOLE_SIMPLEX), "quadratic")
    values = _printed("mix8")
    information = information_of(terrain.rows(values), runs_of_values(values))
    thirds = [b for b in itertools.product(range(4), repeat=3) if sum(b) == 3]
    worst = information.variance_at(terrain.rows(np.array(thirds) / 3)).max()

    assert information.d_efficiency == pytest.approx(
        PRINTED["mix8.D"]["value"], abs=PRINTED["mix8.D"]["tolerance"]
    )
    assert 1 / information.a_efficiency == pytest.approx(
        PRINTED["mix8.A"]["value"], abs=PRINTED["mix8.A"]["tolerance"]
    )
    assert 6 / (8 * worst) == pytest.approx(PRINTED["mix8.Ge"]["value"], abs=0.005)


def test_a_face_centred_plan_has_the_computed_efficiencies() -> None:
    """Fourteen runs, no centre: D, and G over the three-level grid, where the worst point lies."""
    study = a_study([{"name": n, "low": -1.0, "high": 1.0} for n in ("dose", "pH", "grind time")])
    found = judged(study, runs_of_values(_printed("ccf14")), "quadratic")

    assert found.d_efficiency == pytest.approx(PRINTED["ccf14.D"]["value"], rel=1e-9)
    assert found.g_efficiency == pytest.approx(PRINTED["ccf14.G"]["value"], rel=1e-9)

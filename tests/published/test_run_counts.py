"""Run counts of central composite and Box-Behnken layouts against published tables.

Sources: NIST/SEMATECH e-Handbook 5.3.3.6.3, Table 3.28 (tests/reference/nist-rsm-design-tables/);
Box and Behnken (1960), Technometrics 2, 455-475, Table 4: 48 runs and 56 runs without centre for
six and seven factors.
"""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
import pytest

from doe.layouts.box_behnken import CENTRE, box_behnken_runs
from doe.layouts.central_composite import central_composite_runs
from doe.layouts.checking import make_layout
from tests.doe.layouts.briefs import RANGES, a_request, a_study

CASE = Path(__file__).parents[1] / "reference" / "nist-rsm-design-tables" / "expected.json"
PUBLISHED = {v["id"]: v["value"] for v in json.loads(CASE.read_text())["values"]}


@pytest.mark.parametrize("k", [3, 4, 5, 6])
def test_box_behnken_counts_agree_with_the_handbook(k: int) -> None:
    """15, 27, 46 and 54 runs, centre runs among them."""
    request = a_request(a_study(RANGES[:k]), models=("quadratic",))

    assert len(make_layout("Box-Behnken", request)) == PUBLISHED[f"bbd_runs.k{k}"]


@pytest.mark.parametrize(("k", "runs"), [(3, 12), (4, 24), (5, 40), (6, 48), (7, 56)])
def test_box_behnken_tables_have_the_published_runs_and_balance(k: int, runs: int) -> None:
    """No repeated run, orthogonal main effects and interactions, every factor equally often."""
    table = box_behnken_runs(k)
    pairs = np.array([table[:, i] * table[:, j] for i, j in itertools.combinations(range(k), 2)])
    first_order = np.vstack([table.T, pairs])
    gram = first_order @ first_order.T

    assert len(table) == runs
    assert len({tuple(row) for row in table}) == runs
    assert np.abs(gram - np.diag(np.diag(gram))).max() == 0.0
    assert len(set((table**2).sum(axis=0))) == 1


def test_box_behnken_of_seven_factors_has_62_runs() -> None:
    """56 runs and 6 at the centre (Box and Behnken 1960, Table 4)."""
    assert len(box_behnken_runs(7)) + CENTRE[7] == 62


@pytest.mark.parametrize(
    ("k", "entry", "centre"),
    [(2, "k2", 5), (3, "k3", 6), (4, "k4", 6), (5, "k5.frac", 7), (6, "k6.frac", 10)],
)
def test_central_composite_counts_agree_with_the_handbook(k: int, entry: str, centre: int) -> None:
    """Core of at least resolution V, 2k axial runs and the handbook's centre runs."""
    table, _ = central_composite_runs(k, 1.0)

    assert len(table) + centre == PUBLISHED[f"ccd_runs.{entry}"]

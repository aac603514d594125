"""Layouts against the tables of handbooks: axial distances, settings, Plackett-Burman.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 5.3.3.5 and 5.3.3.6 (Tables 3.18, 3.23,
3.25); Lenth (2009), Journal of Statistical Software 32(7); data in tests/reference/.
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from doe.layouts.central_composite import block_distance, central_composite_runs, rotatable_distance
from doe.layouts.checking import make_layout
from doe.layouts.plackett_burman import plackett_burman_runs
from tests.doe.layouts.briefs import a_request, a_study

REFERENCE = Path(__file__).parents[1] / "reference"
HANDBOOK = json.loads((REFERENCE / "nist-rsm-design-tables" / "expected.json").read_text())
PUBLISHED = {v["id"]: v for v in HANDBOOK["values"]}
BLOCKED = list(
    csv.DictReader(
        (REFERENCE / "rsm-ccd-blocking-alpha" / "data.csv").read_text(encoding="utf-8").splitlines()
    )
)


@pytest.mark.parametrize("entry", [k for k in PUBLISHED if k.startswith("alpha.")])
def test_rotatable_distance_agrees_with_the_handbook(entry: str) -> None:
    """Table 3.23 lists the fourth root of the core runs."""
    n_core = int(entry.split(".nf")[1])

    assert rotatable_distance(n_core) == pytest.approx(
        PUBLISHED[entry]["value"], abs=PUBLISHED[entry]["tolerance"]
    )


@pytest.mark.parametrize("row", BLOCKED)
def test_distances_of_blocked_layouts_agree_with_lenth(row: dict[str, str]) -> None:
    """Ten blocked central composite layouts of five factors, six printed decimals.

    A row counts runs of one core block and one axial block; blocks repeat them (blks_c, bbr_s).
    """
    blocks = int(row["blks_c"]) * int(row["bbr_c"])
    core, core_centre = int(row["n_c"]) * blocks, int(row["n0_c"]) * blocks
    repeats = int(row["wbr_s"])
    axial = int(row["n_s"])
    # One axial block has n_s runs in which each point stands wbr_s times; centre runs beside it.
    orthogonal = block_distance(core, core_centre, axial, int(row["n0_s"]), repeats)
    rotatable = rotatable_distance(core, repeats * int(row["bbr_s"]))

    assert orthogonal == pytest.approx(float(row["alpha_orth"]), abs=5e-7)
    assert rotatable == pytest.approx(float(row["alpha_rot"]), abs=5e-7)


def _two_factors(low: float, high: float) -> list[dict[str, object]]:
    return [{"name": name, "low": low, "high": high} for name in ("first", "second", "third")]


def test_shrunk_core_of_a_rotatable_layout_agrees_with_the_handbook() -> None:
    """Table 3.25: a range of 10 to 20 in three factors puts an inscribed core at 12 and 18."""
    request = a_request(a_study(_two_factors(10, 20)), axial="rotatable", models=("quadratic",))

    values = make_layout("central composite", request).values

    core = values[:8]
    assert np.unique(np.round(core)).tolist() == [12.0, 18.0]
    assert (values.min(), values.max()) == (10.0, 20.0)


def test_axial_runs_beyond_the_ranges_agree_with_the_handbook() -> None:
    """Table 3.25: circumscribed axial runs at 6.6 and 23.4."""
    request = a_request(a_study(_two_factors(10, 20)), axial_beyond=True, models=("quadratic",))

    values = make_layout("central-composite", request).values

    assert values.min() == pytest.approx(PUBLISHED["ccc.low"]["value"], abs=0.05)
    assert values.max() == pytest.approx(PUBLISHED["ccc.high"]["value"], abs=0.05)


def test_core_and_axial_runs_have_the_radius_of_a_rotatable_layout() -> None:
    """With four factors core and axial runs lie on one sphere of radius 2."""
    runs, n_core = central_composite_runs(4, rotatable_distance(16))

    assert n_core == 16
    np.testing.assert_allclose(np.linalg.norm(runs, axis=1), 2.0)


def test_twelve_run_table_is_the_published_one() -> None:
    """Table 3.18 up to order: one row of + and eleven cyclic shifts, orthogonal and balanced.

    The transcription in tests/reference prints a wrong last row (SOURCE.md); the first eleven rows
    are the cyclic ones. A 12-run Hadamard matrix is unique up to order and signs (Todd 1933), so
    orthogonality with balance proves the table.
    """
    table = plackett_burman_runs(11)

    np.testing.assert_array_equal(table.T @ table, 12 * np.eye(11))
    np.testing.assert_array_equal(table.sum(axis=0), np.zeros(11))


@pytest.mark.parametrize("n_factors", range(2, 32))
def test_every_plackett_burman_table_is_orthogonal_and_balanced(n_factors: int) -> None:
    """Plackett and Burman (1946): X'X = n I and each column as often + as −."""
    table = plackett_burman_runs(n_factors)
    n_runs = len(table)

    np.testing.assert_array_equal(table.T @ table, n_runs * np.eye(n_factors))
    np.testing.assert_array_equal(table.sum(axis=0), np.zeros(n_factors))
    assert n_runs % 4 == 0
    assert n_runs > n_factors

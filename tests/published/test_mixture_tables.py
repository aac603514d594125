"""Layouts of blends against the tables of the NIST/SEMATECH e-Handbook and McLean and Anderson.

Sources: e-Handbook 5.5.4.2-5.5.4.4 (Tables 5.3, 5.5), data in
tests/reference/nist-mixture-design-tables/; McLean and Anderson (1966), Technometrics 8, 447-454,
data in tests/reference/mclean-anderson-flare/. Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from doe.layouts.checking import make_layout
from doe.layouts.simplex_centroid import simplex_centroid_points
from doe.layouts.simplex_lattice import simplex_lattice_points
from tests.doe.layouts.briefs import a_request, a_study

REFERENCE = Path(__file__).parents[1] / "reference"
HANDBOOK = REFERENCE / "nist-mixture-design-tables"
VALUES = json.loads((HANDBOOK / "expected.json").read_text())["values"]
PUBLISHED = {v["id"]: v["value"] for v in VALUES}
ROWS = list(csv.DictReader((HANDBOOK / "data.csv").read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("entry", [k for k in PUBLISHED if k.startswith("lattice.count.")])
def test_lattice_counts_agree_with_the_handbook(entry: str) -> None:
    """(q + m − 1)! / (m! (q − 1)!) points."""
    q, m = int(entry[-3]), int(entry[-1])

    assert len(simplex_lattice_points(q, m)) == PUBLISHED[entry]


def test_lattice_of_three_parts_and_degree_three_is_the_printed_one() -> None:
    """Table 5.3, printed to three decimals (one entry to four)."""
    printed = [
        [float(row[x]) for x in ("x1", "x2", "x3")]
        for row in ROWS
        if row["table"].startswith("5.3")
    ]
    points = simplex_lattice_points(3, 3)

    gaps = np.abs(np.array(printed)[:, None, :] - points[None, :, :]).max(axis=2)
    assert len(points) == len(printed)
    assert gaps.min(axis=1).max() < 0.0005
    assert gaps.min(axis=0).max() < 0.0005


@pytest.mark.parametrize("q", [2, 3, 4, 5])
def test_centroid_counts_agree_with_the_handbook(q: int) -> None:
    """2^q − 1 points."""
    assert len(simplex_centroid_points(q)) == PUBLISHED[f"centroid.count.q{q}"]


def test_centroid_layout_with_lower_limits_is_the_printed_one() -> None:
    """Table 5.5: lower limits 0.3, 0.4 and 0.1; real shares printed to four decimals."""
    names = ("first", "second", "third")
    additives = [
        {"name": name, "low": low, "high": 1.0}
        for name, low in zip(names, (0.3, 0.4, 0.1), strict=True)
    ]
    request = a_request(a_study((), additives), models=("special cubic",), centre=0, checks=0)
    printed = np.array(
        [[float(row[c]) for c in ("orig1", "orig2", "orig3")] for row in ROWS if row["orig1"]]
    )

    values = make_layout("simplex centroid", request).values

    gaps = np.abs(printed[:, None, :] - values[None, :, :]).max(axis=2)
    assert len(values) == 7
    # The last printed entry, 0.1666, is cut off and not rounded (0.16667).
    assert gaps.min(axis=1).max() < 0.0001


def test_extreme_vertices_of_the_flare_are_the_published_ones() -> None:
    """Eight vertices, six face centroids and the overall centroid of McLean and Anderson (1966)."""
    limits = ((0.4, 0.6), (0.1, 0.5), (0.1, 0.5), (0.03, 0.08))
    names = ("magnesium", "nitrate", "oxidiser", "binder")
    additives = [
        {"name": name, "low": low, "high": high}
        for name, (low, high) in zip(names, limits, strict=True)
    ]
    request = a_request(a_study((), additives), models=("special cubic",), centre=1, checks=0)
    flare = REFERENCE / "mclean-anderson-flare" / "data.csv"
    table = csv.DictReader(flare.read_text(encoding="utf-8").splitlines())
    printed = np.array([[float(row[f"x{i}"]) for i in range(1, 5)] for row in table])

    runs = make_layout("extreme vertices", request)

    gaps = np.abs(printed[:, None, :] - runs.values[None, :, :]).max(axis=2)
    assert runs.details["vertices"] == 8
    assert runs.details["face centroids"] == 6
    # Printed to four decimals.
    assert gaps.min(axis=1).max() < 0.00005

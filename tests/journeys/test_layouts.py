"""Layouts through `plan --json`, held against published tables, and plans that are refused."""

from __future__ import annotations

import csv
import json
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.journeys.briefs import RESPONSE, every_file, factors, package, study_of
from tests.journeys.conftest import Millbase

REFERENCE = Path(__file__).parents[1] / "reference"
WHOLE = ((0.0, 1.0),)


def published(case: str) -> dict[str, Any]:
    """Read the kept answers of a case, by id."""
    page = json.loads((REFERENCE / case / "expected.json").read_text(encoding="utf-8"))
    return {entry["id"]: entry["value"] for entry in page["values"]} | {"page": page}


def planned(folder: Path, body: str, millbase: Millbase, *options: object) -> Any:
    """Plan a study and give the contract's object."""
    answer = millbase("plan", study_of(folder, body, RESPONSE), "--json", *options)
    assert answer.status == 0, answer.err
    return answer.json


def points(plan: Any, *kinds: str) -> Any:
    """Give the settings of a plan's runs as rows, of these kinds or of all."""
    rows = [
        list(run["settings"].values()) for run in plan["runs"] if not kinds or run["kind"] in kinds
    ]
    return np.array(rows)


def assert_same_points(found: Any, wanted: Any) -> None:
    """Compare two sets of points, whatever their order."""
    assert found.shape == wanted.shape
    apart = np.abs(found[:, None, :] - wanted[None, :, :]).max(axis=2)
    assert apart.min(axis=0).max() <= 1e-9
    assert apart.min(axis=1).max() <= 1e-9


@pytest.mark.parametrize("k", [3, 4, 5, 6])
def test_box_behnken_run_counts(k: int, tmp_path: Path, millbase: Millbase) -> None:
    """Source: NIST/SEMATECH e-Handbook 5.3.3.6.3, Table 3.28."""
    plan = planned(tmp_path / "s", factors(k), millbase, "--layout", "box-behnken")

    assert len(plan["runs"]) == published("nist-rsm-design-tables")[f"bbd_runs.k{k}"]


@pytest.mark.parametrize(
    ("k", "entry", "centre", "distance"),
    [(2, "k2", 5, "k2.nf4"), (3, "k3", 6, "k3.nf8"), (4, "k4", 6, "k4.nf16"),
     (5, "k5.frac", 7, "k5.nf16"), (6, "k6.frac", 10, "k6.nf32")],
)  # fmt: skip
def test_central_composite_run_counts_and_axial_distances(
    k: int, entry: str, centre: int, distance: str, tmp_path: Path, millbase: Millbase
) -> None:
    """Source: NIST/SEMATECH e-Handbook 5.3.3.6.1 and 5.3.3.6.3, Tables 3.23 and 3.28."""
    tables = published("nist-rsm-design-tables")
    options = ("--layout", "central composite", "--axial-beyond", "--centre", centre)
    plan = planned(tmp_path / "s", factors(k), millbase, *options)
    axial = points(plan, "axial")

    assert len(plan["runs"]) == tables[f"ccd_runs.{entry}"]
    assert plan["details"]["axial distance"] == pytest.approx(tables[f"alpha.{distance}"], abs=5e-4)
    assert len(axial) == 2 * k
    np.testing.assert_allclose(np.abs(axial).max(axis=1), plan["details"]["axial distance"])


def test_central_composite_beyond_the_ranges_in_lab_units(
    tmp_path: Path, millbase: Millbase
) -> None:
    """Source: NIST/SEMATECH e-Handbook 5.3.3.6.1, Table 3.25: range 10 to 20, axial 6.6 to 23.4."""
    tables = published("nist-rsm-design-tables")
    options = ("--layout", "central composite", "--axial-beyond")
    plan = planned(tmp_path / "s", factors(3, 10.0, 20.0), millbase, *options)
    axial = points(plan, "axial")

    assert axial.min() == pytest.approx(tables["ccc.low"], abs=0.05)
    assert axial.max() == pytest.approx(tables["ccc.high"], abs=0.05)


@pytest.mark.parametrize(
    ("k", "runs", "resolution", "generators"),
    [
        (3, 4, 3, {(1, 2, 3)}),
        (4, 8, 4, {(1, 2, 3, 4)}),
        (5, 8, 3, {(1, 2, 4), (1, 3, 5)}),
        (5, 16, 5, {(1, 2, 3, 4, 5)}),
        (6, 16, 4, {(1, 2, 3, 5), (2, 3, 4, 6)}),
        (7, 8, 3, {(1, 2, 4), (1, 3, 5), (2, 3, 6), (1, 2, 3, 7)}),
    ],
)
def test_fractions_and_what_is_mixed_up_in_them(
    k: int, runs: int, resolution: int, generators: set[tuple[int, ...]], tmp_path: Path,
    millbase: Millbase,
) -> None:  # fmt: skip
    """Source: NIST/SEMATECH e-Handbook 5.3.3.4.7; resolutions and words as printed there.

    Which factor takes which column is free, so the words are compared by their lengths.
    """
    options = ("--layout", "fractional factorial", "--for", "screening", "--runs", runs)
    plan = planned(tmp_path / "s", factors(k), millbase, *options)
    x = points(plan)
    words = [word.split(" × ") for word in plan["details"]["defining relation"]]
    lengths = sorted(len(word) for word in group_of(generators))

    assert len(x) == plan["details"]["runs of the fraction"] == runs
    assert plan["details"]["resolution"] == resolution
    assert sorted(map(len, words)) == lengths
    for word in words:
        column = np.prod([x[:, int(name[1:]) - 1] for name in word], axis=0)
        assert abs(column.sum()) == runs, "a word of the relation is constant over the runs"


def test_what_is_mixed_up_is_named_with_the_factors_own_names(
    tmp_path: Path, millbase: Millbase
) -> None:
    """Source: Box, Hunter and Hunter, 2^(3-1) with I = 123: 1 = 23, 2 = 13, 3 = 12."""
    options = ("--layout", "fractional factorial", "--for", "screening", "--runs", 4)
    plan = planned(tmp_path / "s", factors(3), millbase, *options)
    sets = {frozenset(one) for one in plan["details"]["aliases"]}

    assert sets == {
        frozenset({"z1", "z2 × z3"}), frozenset({"z2", "z1 × z3"}), frozenset({"z3", "z1 × z2"}),
    }  # fmt: skip
    assert any("z1 = z2 × z3" in reason for reason in plan["reasons"])


def test_runs_obey_the_aliases_that_are_named(tmp_path: Path, millbase: Millbase) -> None:
    """Effects of one set have columns that agree over all runs, or are opposed over all."""
    options = ("--layout", "fractional factorial", "--for", "screening", "--runs", 16)
    plan = planned(tmp_path / "s", factors(7), millbase, *options)
    x = points(plan)
    named = [
        [np.prod([x[:, int(z[1:]) - 1] for z in effect.split(" × ")], axis=0) for effect in one]
        for one in plan["details"]["aliases"]
    ]

    # Resolution IV: 21 pairs in 7 sets of 3.
    assert sorted(map(len, named)) == [3] * 7
    assert all(abs(columns[0] @ other) == len(x) for columns in named for other in columns)


def group_of(generators: set[tuple[int, ...]]) -> list[frozenset[int]]:
    """Multiply out a defining relation."""
    words = {frozenset[int]()}
    for generator in generators:
        words |= {word ^ frozenset(generator) for word in words}
    return [word for word in words if word]


def test_twelve_run_plackett_burman_is_orthogonal(tmp_path: Path, millbase: Millbase) -> None:
    """Source: Plackett and Burman (1946); e-Handbook 5.3.3.5: X'X = 12 I for eleven factors."""
    options = ("--layout", "Plackett-Burman", "--for", "screening", "--centre", 0)
    x = points(planned(tmp_path / "s", factors(11), millbase, *options))

    np.testing.assert_allclose(x.T @ x, 12 * np.eye(11), atol=1e-9)
    np.testing.assert_allclose(x.sum(axis=0), 0, atol=1e-9)


@pytest.mark.parametrize("m", [4, 6])
def test_definitive_screening_structure(m: int, tmp_path: Path, millbase: Millbase) -> None:
    """Source: Jones and Nachtsheim (2011), J. Quality Technology 43, 1-15."""
    options = ("--layout", "definitive screening", "--for", "screening")
    x = points(planned(tmp_path / "s", factors(m), millbase, *options))
    second = np.array([x[:, i] * x[:, j] for i, j in combinations(range(m), 2)] + list(x.T**2))

    assert len(x) == published("definitive-screening-structure")[f"m{m}.runs"]
    assert_same_points(x, -x)
    assert np.abs(second @ x).max() == 0.0


@pytest.mark.parametrize(
    ("q", "model", "entry"),
    [(3, "quadratic", "q3m2"), (4, "quadratic", "q4m2"), (5, "quadratic", "q5m2")],
)
def test_simplex_lattice_counts(
    q: int, model: str, entry: str, tmp_path: Path, millbase: Millbase
) -> None:
    """Source: NIST/SEMATECH e-Handbook 5.5.4.2, beside check blends and centres of ours."""
    options = ("--layout", "simplex lattice", "--model", model)
    plan = planned(tmp_path / "s", package(WHOLE * q), millbase, *options)

    count = published("nist-mixture-design-tables")[f"lattice.count.{entry}"]
    assert plan["details"]["points"] == len(points(plan, "design")) == count
    np.testing.assert_allclose(points(plan).sum(axis=1), 1.0, atol=1e-12)


@pytest.mark.parametrize("q", [3, 4])
def test_simplex_centroid_counts(q: int, tmp_path: Path, millbase: Millbase) -> None:
    """Source: NIST/SEMATECH e-Handbook 5.5.4.3: 2^q - 1 blends."""
    options = ("--layout", "simplex centroid", "--model", "special cubic")
    plan = planned(tmp_path / "s", package(WHOLE * q), millbase, *options)

    count = published("nist-mixture-design-tables")[f"centroid.count.q{q}"]
    assert plan["details"]["points"] == count


def test_vertices_of_the_flare_region(tmp_path: Path, millbase: Millbase) -> None:
    """Source: McLean and Anderson (1966), Technometrics 8, 447-454: runs 1 to 8, and 15."""
    case = published("mclean-anderson-flare")
    bounds = case["page"]["bounds"]
    limits = [(float(a), float(b)) for a, b in zip(bounds["lower"], bounds["upper"], strict=True)]
    with (REFERENCE / "mclean-anderson-flare" / "data.csv").open(encoding="utf-8") as file:
        table = np.array([[float(cell) for cell in row[:4]] for row in list(csv.reader(file))[1:]])
    options = ("--layout", "extreme vertices", "--model", "linear", "--centre", 1)
    plan = planned(tmp_path / "s", package(limits), millbase, *options)

    assert plan["details"]["vertices"] == case["n_vertices"] == 8
    assert_same_points(points(plan, "design"), table[:8])
    assert_same_points(points(plan, "centre"), table[14:15])
    # Two stated limits cannot be reached; the region says so itself.
    implied = [f["evidence"]["implied"] for f in plan["findings"] if "implied" in f["evidence"]]
    assert set(implied) == {0.47}


@pytest.mark.parametrize(
    ("body", "options", "words"),
    [
        (factors(3), ("--layout", "fractional factorial", "--model", "quadratic"),
         ("can't estimate the quadratic model", "'Box-Behnken' (15 runs)")),
        (package(((0.1, 0.6),) * 3), ("--layout", "simplex lattice"),
         ("leave the region", "share of x1: 0.1 to 0.6", "'extreme vertices'")),
        (factors(3) + "[[limit]]\nsum = { z1 = 1, z2 = 1 }\nat_most = 1\n",
         ("--layout", "central composite"), ("leave the region", "limit on z1 + z2", "'optimal'")),
        (factors(3), ("--layout", "Box-Behnken", "--runs", 8),
         ("needs 13 runs", "8 are asked for", "13 or more")),
        (package(WHOLE * 3), ("--layout", "Box-Behnken"), ("must sum to 1", "simplex")),
        (factors(2), ("--layout", "simplex lattice"), ("work here",)),
        (factors(3), ("--layout", "crossed"), ("work here",)),
        (factors(2), ("--layout", "star"), ("no layout 'star'", "Box-Behnken", "optimal")),
        (factors(2), ("--model", "cubic sixth"), ("no model", "quadratic")),
        (factors(1), ("--layout", "Box-Behnken"), ("work here",)),
    ],
)  # fmt: skip
def test_what_cannot_work_is_refused_with_what_would(
    body: str, options: tuple[object, ...], words: tuple[str, ...], tmp_path: Path,
    millbase: Millbase,
) -> None:  # fmt: skip
    """A refusal names the reason and a layout, model or number that was tried and works."""
    study = study_of(tmp_path / "s", body, RESPONSE)
    before = every_file(study)
    answer = millbase("plan", study, *options)
    said = answer.err.splitlines()[1:]

    assert answer.status == 2
    assert answer.out == ""
    assert 1 <= len(said) <= 3
    for word in words:
        assert word in answer.err
    assert every_file(study) == before


def test_what_a_refusal_offers_does_work(tmp_path: Path, millbase: Millbase) -> None:
    """The layouts named in a refusal are plans of as many runs as it says."""
    study = study_of(tmp_path / "s", factors(3), RESPONSE)
    refused = millbase(
        "plan", study, "--layout", "fractional factorial", "--model", "quadratic", "--json"
    )
    offered = {"Box-Behnken": 15, "central composite": 17, "full factorial": 27}
    assert all(f"'{name}' ({n} runs)" in refused.json["error"]["do"] for name, n in offered.items())

    for name, n_runs in offered.items():
        plan = planned(
            tmp_path / name, factors(3), millbase, "--layout", name, "--model", "quadratic"
        )
        assert len(plan["runs"]) == n_runs


def test_without_a_layout_one_is_picked_and_the_reason_given(
    tmp_path: Path, millbase: Millbase
) -> None:
    """The first reason says why this layout; the last what it costs."""
    plan = planned(tmp_path / "s", factors(3), millbase)

    assert plan["layout"] == "central composite"
    assert "quadratic surface" in plan["reasons"][0]
    assert plan["costs"]["mill batches"] == len(plan["runs"]) == 17

"""Published compromises through the command line: `adopt`, then `choose --json` and `predict`."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from itertools import product
from math import sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.journeys.conftest import Millbase

REFERENCE = Path(__file__).parents[1] / "reference"
AXIAL = 1.633
TREAD = {
    "Y1": 'aim = "high"\nworst = 120\nbest = 170',
    "Y2": 'aim = "high"\nworst = 1000\nbest = 1300',
    "Y3": 'aim = "target"\nworst_low = 400\nbest = 500\nworst_high = 600',
    "Y4": 'aim = "target"\nworst_low = 60\nbest = 67.5\nworst_high = 75',
}
PROCESS = {
    "conversion": 'aim = "high"\nworst = 80\nbest = 97',
    "activity": 'aim = "target"\nworst_low = 55\nbest = 57.5\nworst_high = 60',
}


def printed(case: str) -> dict[str, tuple[float, float]]:
    """Read what a case prints, by id: value and tolerance.

    The printed digits decide, except where the source itself rounded on the way.
    """
    page = json.loads((REFERENCE / case / "expected.json").read_text(encoding="utf-8"))
    return {
        entry["id"]: (
            entry["value"],
            entry[
                "tolerance_from_rounding" if entry["agrees_at_rounding"] else "tolerance"
            ],
        )
        for entry in page["values"]
        if entry["kind"] == "published" and entry["agrees"]
    }  # fmt: skip


def kept(case: str) -> dict[str, Any]:
    """Read the numbers that were computed for a case, by id."""
    page = json.loads((REFERENCE / case / "expected.json").read_text(encoding="utf-8"))
    return {entry["id"]: entry["value"] for entry in page["values"] if entry["kind"] == "computed"}


def brief(reach: float, goals: Mapping[str, str]) -> str:
    """Write a brief of three factors coded alike, from -reach to reach."""
    parts = ["format = 1", "[study]", 'title = "published compromise"']
    for name in ("x1", "x2", "x3"):
        parts += ["[[factor]]", f'name = "{name}"', f"low = {-reach}", f"high = {reach}"]
    for name, goal in goals.items():
        parts += ["[[response]]", f'name = "{name}"', 'per = "batch"', goal]
    return "\n".join(parts) + "\n"


def adopted(folder: Path, text: str, table: Path, millbase: Millbase) -> Path:
    """Make a study of a brief and a table."""
    study = folder / "study"
    study.mkdir()
    (study / "study.toml").write_text(text, encoding="utf-8")
    answer = millbase("adopt", table, study)
    assert answer.status == 0, answer.err
    return study


def compromise(study: Path, millbase: Millbase) -> Any:
    """Search for the compromise and give the contract's object."""
    answer = millbase("choose", study, "--json")
    assert answer.status == 0, answer.err
    return answer.json


def assert_printed(found: Mapping[str, float], case: str) -> None:
    """Hold numbers against what a case prints under the same ids."""
    expected = printed(case)
    for name, value in found.items():
        number, tolerance = expected[name]
        assert value == pytest.approx(number, abs=tolerance), name


# The paper searches as far as its axial runs; its optimum lies inside the cube, so either reach
# must find it.
@pytest.mark.parametrize("reach", [AXIAL, 1.0])
def test_tread_compound_of_derringer_and_suich(
    reach: float, tmp_path: Path, millbase: Millbase
) -> None:
    """Source: Derringer and Suich (1980), J. Quality Technology 12, 214-219; x* and D printed."""
    case = "derringer-suich-1980-optimum"
    study = adopted(tmp_path, brief(reach, TREAD), REFERENCE / case / "data.csv", millbase)
    best = compromise(study, millbase)
    expected = best["predictions"]

    assert_printed({"opt.D": best["desirability"]}, case)
    assert_printed({f"opt.{name}": value for name, value in best["settings"].items()}, case)
    assert_printed({f"at_xstar.d{i}": expected[f"Y{i}"]["desirability"] for i in range(1, 5)}, case)
    assert best["desirability"] >= kept(case)["opt.D.full"] - 1e-9


def test_tread_compound_at_its_printed_optimum(tmp_path: Path, millbase: Millbase) -> None:
    """Source: as above; predictions of all four quadratics at x* = (-0.050, 0.145, -0.868)."""
    case = "derringer-suich-1980-optimum"
    study = adopted(tmp_path, brief(AXIAL, TREAD), REFERENCE / case / "data.csv", millbase)
    at = [f"--at={name}={printed(case)[f'opt.{name}'][0]}" for name in ("x1", "x2", "x3")]
    answer = millbase("predict", study, *at, "--json")
    (row,) = answer.json["rows"]

    assert row["settings"] == {"x1": -0.05, "x2": 0.145, "x3": -0.868}
    found = {f"pred_at_xstar.{name}": one["value"] for name, one in row["predictions"].items()}
    assert len(found) == 4
    assert_printed(found, case)


@pytest.fixture
def handbook(tmp_path: Path, millbase: Millbase) -> Path:
    """Adopt the handbook's table; its x3 signs and its first-order Y3 are taken as printed."""
    case = "nist-tire-tread-desirability"
    study = adopted(tmp_path, brief(1.0, TREAD), REFERENCE / case / "data.csv", millbase)
    linear = ("--only", "Y3", "--model", "linear")
    answer = millbase("fit", study, *linear, "--keep", "--because", "as the handbook does")
    assert answer.status == 0, answer.err
    return study


def test_tread_compound_of_the_handbook(handbook: Path, millbase: Millbase) -> None:
    """Source: NIST/SEMATECH e-Handbook, section 5.5.3.2.2; searched over the factorial cube."""
    case = "nist-tire-tread-desirability"
    best = compromise(handbook, millbase)

    assert_printed({f"opt.{name}": value for name, value in best["settings"].items()}, case)
    assert_printed({"at_xstar.D": best["desirability"]}, case)
    assert best["desirability"] >= kept(case)["opt.fullprecision.cube1.D"] - 1e-7
    assert any("x3" in sentence for sentence in best["binding"])


def test_tread_compound_of_the_handbook_at_its_printed_optimum(
    handbook: Path, millbase: Millbase
) -> None:
    """Source: as above; x* is printed to two decimals, so predictions agree to about 1 %."""
    case = "nist-tire-tread-desirability"
    answer = millbase(
        "predict", handbook, "--at", "x1=-0.10", "--at", "x2=0.15", "--at", "x3=-1", "--json"
    )
    (row,) = answer.json["rows"]

    found = {f"pred_at_xstar.{name}": one["value"] for name, one in row["predictions"].items()}
    assert len(found) == 4
    assert_printed(found, case)


def process_columns(x: Any) -> Any:
    """Give the columns of the full quadratic in the order of the kept coefficients."""
    x1, x2, x3 = np.moveaxis(np.asarray(x), -1, 0)
    squares = [x1 * x1, x2 * x2, x3 * x3]
    pairs = [x1 * x2, x1 * x3, x2 * x3]
    return np.stack([np.ones_like(x1), x1, x2, x3, *squares, *pairs], axis=-1)


def printed_process() -> tuple[list[str], Any]:
    """Read the printed equations of conversion and activity: terms and coefficients (10, 2)."""
    text = (REFERENCE / "kuhn-desirability-chemical" / "data.csv").read_text(encoding="utf-8")
    rows = list(csv.reader(text.splitlines()))[1:]
    return [row[0] for row in rows], np.array([[float(cell) for cell in row[1:]] for row in rows])


def process_desirability(y: Any) -> Any:
    """Compute the overall desirability of conversion and activity by its definition."""
    d1 = np.clip((y[..., 0] - 80) / 17, 0, 1)
    d2 = np.clip(1 - np.abs(y[..., 1] - 57.5) / 2.5, 0, 1)
    return np.sqrt(d1 * d2)


def test_two_response_process_on_its_printed_equations(tmp_path: Path, millbase: Millbase) -> None:
    """Source: Kuhn (2016), models of Myers and Montgomery (1995); D = 0.9425 over the cube.

    The printed equations hold four slips against the data, so the table here is made from the
    equations, without scatter.
    """
    case = "kuhn-desirability-chemical"
    terms, coefficients = printed_process()
    assert terms[:4] == ["1", "x1", "x2", "x3"]
    runs = [*product((-1.0, 1.0), repeat=3), *[(0.0, 0.0, 0.0)] * 2]
    runs += [tuple(s * 1.682 * (i == j) for j in range(3)) for i in range(3) for s in (-1.0, 1.0)]
    order = {name: i for i, name in enumerate(terms)}
    columns = {
        "1": 0, "x1": 1, "x2": 2, "x3": 3, "x1^2": 4, "x2^2": 5, "x3^2": 6,
        "x1x2": 7, "x1x3": 8, "x2x3": 9,
    }  # fmt: skip
    place = [order[name] for name in columns]
    y = process_columns(runs) @ coefficients[place]
    lines = ["x1,x2,x3,conversion,activity"]
    lines += [
        ",".join(repr(float(v)) for v in (*run, *values))
        for run, values in zip(runs, y, strict=True)
    ]
    table = tmp_path / "equations.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    best = compromise(adopted(tmp_path, brief(1.682, PROCESS), table, millbase), millbase)

    assert best["desirability"] >= printed(case)["cube.D_at_printed"][0] - 5e-8
    assert_printed(
        {
            "cube.opt.D": best["desirability"],
            "cube.conv": best["predictions"]["conversion"]["value"],
            "cube.act": best["predictions"]["activity"]["value"],
        },
        case,
    )


def test_two_response_process_on_its_data(tmp_path: Path, millbase: Millbase) -> None:
    """Source: Myers and Montgomery, conversion and activity; coefficients without the slips.

    The compromise of the data has no printed value: it must beat a dense grid over the refitted
    equations, and give what they give at its settings.
    """
    case = "mm-chemical-process"
    study = adopted(tmp_path, brief(1.682, PROCESS), REFERENCE / case / "data.csv", millbase)
    best = compromise(study, millbase)
    table = np.loadtxt(REFERENCE / case / "data.csv", delimiter=",", skiprows=1)
    coefficients = np.linalg.lstsq(process_columns(table[:, :3]), table[:, 3:], rcond=None)[0]
    axis = np.linspace(-1.682, 1.682, 61)
    grid = np.stack(np.meshgrid(axis, axis, axis), axis=-1)
    found = process_columns(list(best["settings"].values())) @ coefficients

    assert best["desirability"] >= process_desirability(process_columns(grid) @ coefficients).max()
    assert best["desirability"] == pytest.approx(float(process_desirability(found)), abs=1e-6)
    assert best["desirability"] == pytest.approx(
        sqrt(
            best["predictions"]["conversion"]["desirability"]
            * best["predictions"]["activity"]["desirability"]
        )
    )


def test_two_response_process_at_the_centre(tmp_path: Path, millbase: Millbase) -> None:
    """Source: Kuhn (2016): 81.09 and 59.85 at the centre, untouched by the slips."""
    case = "mm-chemical-process"
    study = adopted(tmp_path, brief(1.682, PROCESS), REFERENCE / case / "data.csv", millbase)
    centre = ["--at=x1=0", "--at=x2=0", "--at=x3=0"]
    (row,) = millbase("predict", study, *centre, "--json").json["rows"]

    assert_printed(
        {
            "centre.conv": row["predictions"]["conversion"]["value"],
            "centre.act": row["predictions"]["activity"]["value"],
        },
        "kuhn-desirability-chemical",
    )

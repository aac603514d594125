"""Chemistries beside a package, a resin or a limit, in a report and in a table that exists.

Everything is invented: additives by chemistry and function, truths, scatter.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from tests.journeys.chemistry_studies import (
    ENDS,
    HEAD,
    HEIGHT,
    MIDDLES,
    PROCESS,
    RESPONSES,
    Truth,
    by_chemistry,
    chemistries,
    walk,
)
from tests.journeys.conftest import Millbase
from tests.journeys.whole_way import runs_of

OTHERS: Mapping[str, tuple[str, Truth, tuple[object, ...]]] = {
    "package by neutraliser": (
        HEAD
        + """\
[package]
[[package.additive]]
name = "wetting agent"
low = 0.10
high = 0.40
active_percent = 60.0
[[package.additive]]
name = "dispersant"
low = 0.40
high = 0.80
active_percent = 40.0
[[package.additive]]
name = "hydrophobic co-additive"
low = 0.00
high = 0.30
active_percent = 30.0
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
[[factor.range]]
when = { neutraliser = "ammonia" }
low = 1.0
high = 2.4
[[factor.range]]
when = { neutraliser = "sodium hydroxide" }
low = 0.6
high = 1.6
[[factor]]
name = "neutraliser"
levels = ["ammonia", "sodium hydroxide"]
"""
        + RESPONSES,
        lambda row: (
            7 * float(row["wetting agent"]) + 6 * float(row["dispersant"])
            + 6.5 * float(row["hydrophobic co-additive"])
            + (0.2 if row["neutraliser"] == "ammonia" else 0.0),
            40 + 10 * float(row["dispersant"]) + 3 * float(row["dose"]),
        ),
        ("--layout", "optimal", "--starts", "1"),
    ),
    "resin in the grind": (
        HEAD
        + """\
[[factor]]
name = "grind type"
levels = ["resin-free", "resin-containing"]
[[factor]]
name = "resin share"
unit = "% of millbase"
[[factor.range]]
when = { "grind type" = "resin-containing" }
low = 2.0
high = 8.0
[[factor]]
name = "order of addition"
levels = ["dispersant first", "pigment first"]
"""
        + RESPONSES,
        lambda row: (
            6.3 + (0.05 * float(row["resin share"]) if row["resin share"] else 0.0)
            + (0.2 if row["order of addition"] == "pigment first" else 0.0),
            45 + (12.0 if row["resin share"] else 0.0),
        ),
        ("--layout", "full factorial", "--replicates", "4"),
    ),
    "steps, logs, a limit, a forbid": (
        HEAD
        + chemistries(("sodium polyacrylate", "electrosteric", "none"), spacing="log")
        + """\
[[factor]]
name = "bead diameter"
unit = "mm"
levels = [0.6, 0.8, 1.2]
[[factor]]
name = "grind time"
unit = "min"
low = 15
high = 45
step = 5
[[limit]]
sum = { dose = 1.0, "grind time" = 0.04 }
at_most = 4.0
because = "foam"
[[forbid]]
settings = { chemistry = "electrosteric", "bead diameter" = 1.2 }
"""
        + RESPONSES,
        lambda row: (
            HEIGHT[row["chemistry"]] - 0.01 * float(row["grind time"])
            - (0.2 * math.log(float(row["dose"])) if row["dose"] else 0.0),
            50 - 3 * float(row["bead diameter"]) + 0.1 * float(row["grind time"]),
        ),
        ("--layout", "optimal", "--starts", "1"),
    ),
}  # fmt: skip


def test_the_report_names_every_chemistry_with_its_own_range(tmp_path: Path) -> None:
    """Pairs of levels, each level at its best, and its own −1 and +1."""
    brief = HEAD + chemistries(("none", "electrosteric", "multi-anchor")) + RESPONSES
    made = walk(
        tmp_path / "study", brief, lambda row: by_chemistry({**row, **MIDDLES}),
        "--layout", "optimal", "--runs", "18", "--starts", "1", then=("report",),
    )  # fmt: skip
    results = made.folder / "results"
    tables = {path.stem for path in (results / "tables").glob("*.csv")}
    coding = (results / "tables" / "coding.csv").read_text(encoding="utf-8")
    page = (results / "report.html").read_text(encoding="utf-8")

    assert {"viscosity-levels", "gloss-levels", "chemistry-each-at-its-best"} <= tables
    assert '"dose, chemistry none",the level lacks it' in coding
    assert "1 % on pigment,3 % on pigment" in coding
    assert "between the range middles" in page


@pytest.mark.parametrize("name", OTHERS)
def test_other_studies_go_the_whole_way(name: str, tmp_path: Path, millbase: Millbase) -> None:
    """From the brief to a compromise that lies inside what the brief allows."""
    brief, truth, options = OTHERS[name]
    made = walk(tmp_path / "study", brief, truth, *options)
    found = made.record("choose")
    again = [f"{n}={v}" for n, v in found["settings"].items()]
    at = [word for one in again for word in ("--at", one)]
    predicted = millbase("predict", made.folder, "--json", *at)

    assert predicted.status == 0, predicted.err
    assert predicted.json["rows"][0]["predictions"]["gloss"]["inside"]
    assert not [f for f in predicted.json["findings"] if "Outside" in f["what"]]


def test_a_table_with_chemistries_is_adopted_with_blanks_and_zeros(
    tmp_path: Path, millbase: Millbase
) -> None:
    """A table writes 0 where there is no additive; a dose there would be left aside, and said."""
    brief = HEAD + chemistries(("none", "electrosteric", "multi-anchor")) + PROCESS + RESPONSES
    study = tmp_path / "study"
    study.mkdir()
    (study / "study.toml").write_text(brief, encoding="utf-8")
    rng = np.random.default_rng(9)
    rows = []
    for level in ("none", "electrosteric", "multi-anchor"):
        ends = ENDS[level]
        for dose, pH, time in product(
            [0.0] if ends is None else np.linspace(*ends, 3), (8.0, 8.75, 9.5), (15, 30, 45)
        ):
            row = {
                "chemistry": level,
                "dose": f"{dose:g}",
                "pH": f"{pH:g}",
                "grind time": f"{time}",
            }
            viscosity, gloss = by_chemistry(row)
            row["viscosity"] = f"{math.exp(viscosity + 0.03 * rng.standard_normal()):.5g}"
            row["gloss"] = f"{gloss + 0.5 * rng.standard_normal():.5g}"
            rows.append(row)
    table = tmp_path / "old table.csv"
    with table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    adopted = millbase("adopt", table, study, "--json")
    fitted = millbase("fit", study, "--json").json["responses"]["viscosity"]
    labels = {row["label"]: row["estimate"] for row in fitted["coefficients"]}

    assert adopted.status == 0, adopted.err
    said = [f for f in adopted.json["findings"] if "the level lacks 'dose'" in f["what"]]
    assert [f["level"] for f in said] == ["note"]
    assert all(row["dose"] == "" for row in runs_of(study).values() if row["chemistry"] == "none")
    # (7.6 + 0.3·0.36 …): the truth's height of none over the mean of the three at their middles.
    heights = {level: HEIGHT[level] + (0.108 if ENDS[level] else 0.0)
               for level in ("none", "electrosteric", "multi-anchor")}  # fmt: skip
    mean = sum(heights.values()) / 3
    assert labels["chemistry (none)"] == pytest.approx(heights["none"] - mean, abs=0.03)

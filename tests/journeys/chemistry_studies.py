"""Invented studies of chemistries, each over its own doses, from the brief to results."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tests.journeys.whole_way import done, runs_of

HEAD = """\
format = 1
[study]
title = "Invented: which chemistry, at which dose?"
seed = 11
[pigment]
name = "red iron oxide"
[millbase]
batch_g = 500.0
sample_g = 60.0
pigment_percent = 55.0
"""
RESPONSES = """\
[[response]]
name = "viscosity"
unit = "mPa·s"
per = "batch"
aim = "low"
best = 300
worst = 2500
scale = "log"
accept = { at_most = 1800 }
[[response]]
name = "gloss"
per = "batch"
aim = "high"
best = 75
worst = 25
"""
ENDS: Mapping[str, tuple[float, float] | None] = {
    "none": None, "sodium polyacrylate": (0.3, 0.9), "ammonium polyacrylate": (0.4, 1.2),
    "electrosteric": (0.8, 2.4), "multi-anchor": (1.0, 3.0),
}  # fmt: skip
HEIGHT = {
    "none": 7.6, "sodium polyacrylate": 6.5, "ammonium polyacrylate": 6.6, "electrosteric": 6.1,
    "multi-anchor": 6.45,
}  # fmt: skip
Row = Mapping[str, str]
Truth = Callable[[Row], tuple[float, float]]


def chemistries(levels: tuple[str, ...], *, spacing: str = "even") -> str:
    """Write the choice and the dose with a range at each chemistry that has one."""
    text = f'[[factor]]\nname = "chemistry"\nlevels = {list(levels)!r}\n'
    text += (
        f'[[factor]]\nname = "dose"\nrole = "dose"\nunit = "% on pigment"\nspacing = "{spacing}"\n'
    )
    text += "step = 0.01\n" if spacing == "even" else "step = 0.05\n"
    for level in levels:
        ends = ENDS[level]
        if ends is not None:
            text += f'[[factor.range]]\nwhen = {{ chemistry = "{level}" }}\n'
            text += f"low = {ends[0]}\nhigh = {ends[1]}\n"
    return text


PROCESS = """\
[[factor]]
name = "pH"
low = 8.0
high = 9.5
step = 0.05
[[factor]]
name = "grind time"
unit = "min"
low = 15
high = 45
"""


MIDDLES = {"pH": "8.75", "grind time": "30"}


def by_chemistry(row: Row) -> tuple[float, float]:
    """Give ln viscosity and gloss: each chemistry is best at four fifths of its own range."""
    chemistry, pH, time = row["chemistry"], float(row["pH"]), float(row["grind time"])
    P, T = (pH - 8.75) / 0.75, (time - 30) / 15
    ends = ENDS[chemistry]
    viscosity = HEIGHT[chemistry] - 0.2 * T + 0.15 * (P - 0.2) ** 2
    gloss = 45.0 + 5 * T
    if ends is not None:
        D = (float(row["dose"]) - sum(ends) / 2) / ((ends[1] - ends[0]) / 2)
        viscosity += 0.3 * (D - 0.6) ** 2
        gloss += 6 * D - 4 * D * D
    return viscosity, gloss


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """A study that went all the way: its folder, and what the screen said by command."""

    folder: Path
    said: Mapping[str, str]

    def record(self, command: str) -> Any:
        """Read what a command wrote; it is what its `--json` prints."""
        file = self.folder / "results" / f"{command}.json"
        return json.loads(file.read_text(encoding="utf-8"))


def walk(
    folder: Path,
    brief: str,
    truth: Truth,
    *options: object,
    then: tuple[str, ...] = ("fit", "choose"),
) -> Walk:
    """Go from the brief to results, readings from a truth with a seeded scatter."""
    folder.mkdir()
    (folder / "study.toml").write_text(brief, encoding="utf-8")
    done("check", folder)
    done("plan", folder, *options)
    done("sheet", folder)
    rng = np.random.default_rng(5)
    lines = ["run,viscosity,gloss"]
    for run, row in runs_of(folder).items():
        viscosity, gloss = truth(row)
        noise = rng.standard_normal(2)
        lines.append(
            f"{run},{math.exp(viscosity + 0.03 * noise[0]):.6g},{gloss + 0.5 * noise[1]:.5g}"
        )
    bench = folder / "bench.csv"
    bench.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done("enter", folder, bench)
    return Walk(folder=folder, said={command: done(command, folder).out for command in then})

"""An invented study that its team agrees on: twelve grinds of two settings and their viscosity."""

from __future__ import annotations

from pathlib import Path

from doe.steps.adopt import adopt_table

BRIEF = """\
format = 1
[study]
title = "invented"
seed = 3
roles = ["formulator", "production"]
[millbase]
batch_g = 500
pigment_percent = 50
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
low = 0.8
high = 2.4
scatter_sd = 0.05
[[factor]]
name = "grind time"
unit = "min"
low = 15
high = 45
[[response]]
name = "viscosity"
unit = "mPa·s"
scale = "log"
aim = "low"
best = 200
worst = 900
accept = { at_most = 700 }
"""
# What is agreed on, inside the ranges; the viscosity of the surface there is 304 mPa·s.
AT = ("dose=1.8", "grind time=40")
_SCATTER = (5, -7, 3, -4, 6, -2, 1, -6, 4, 2, -3, 1)


def adopted_study(folder: Path, brief: str = BRIEF) -> Path:
    """Write a brief, and adopt twelve runs with a little scatter from a table."""
    (folder / "study.toml").write_text(brief, encoding="utf-8")
    lines = ["run,dose,grind time,viscosity"]
    for number, off in enumerate(_SCATTER):
        dose, time = (0.8, 1.6, 2.4)[number % 3], (15, 25, 35, 45)[number // 3]
        lines.append(f"{number + 1},{dose},{time},{600 - 120 * dose - 2 * time + off}")
    table = folder / "table.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(table, folder)
    return folder

"""Invented studies that go the whole way: a paint, and one whose names need every script."""

from __future__ import annotations

import math

from tests.journeys.whole_way import Invented

PAINT = Invented(
    brief="""\
format = 1
[study]
title = "Invented: dose and pH of a red millbase"
seed = 3
roles = ["formulator", "colourist"]
[pigment]
name = "red iron oxide"
[millbase]
batch_g = 500.0
sample_g = 60.0
pigment_percent = 55.0
[package]
[[package.additive]]
name = "dispersant"
low = 1.0
high = 1.0
active_percent = 40.0
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
low = 0.8
high = 2.4
[[factor]]
name = "pH"
low = 8.0
high = 9.5
step = 0.05
[[control]]
name = "present formula"
every = "day"
settings = { dose = 1.5, pH = 8.8, dispersant = 1.0 }
[[response]]
name = "viscosity"
unit = "mPa·s"
per = "batch"
aim = "low"
best = 200
worst = 900
scale = "log"
accept = { at_most = 600 }
[[response]]
name = "gloss"
per = "batch"
aim = "high"
best = 60
worst = 20
[[view]]
role = "colourist"
importance = { gloss = 3.0 }
""",
    truths={
        "viscosity": lambda run, x: math.exp(
            6 - 0.5 * float(x["dose"]) + 0.3 * (float(x["pH"]) - 8.9) ** 2
            + 0.03 * math.sin(7 * run)
        ),
        "gloss": lambda run, x: 40 + 8 * float(x["dose"]) - 3 * float(x["pH"])
        + 0.5 * math.cos(11 * run),
    },
    at=("dose=1.4", "pH=9"),
    drop="dose*pH",
    role="formulator",
    weighed="dispersant",
)  # fmt: skip

# Letters of several scripts, ×, ², %, accents, quotes, commas, signs that a spreadsheet runs.
SCRIPTS = Invented(
    brief="""\
format = 1
[study]
title = "=1+1 Выдуманный «грунт» 红色, 100 % × m²"
question = "Quelle dose épaissit le moins ?"
seed = 5
roles = ["Färber", "технолог"]
[pigment]
name = "氧化铁红"
[millbase]
batch_g = 500.0
sample_g = 60.0
pigment_percent = 55.0
balance = "eau déminéralisée"
[letdown]
millbase_g = 25.0
[[letdown.ingredient]]
name = "дисперсия"
grams = 75.0
[package]
[[package.additive]]
name = "润湿剂 A²"
low = 0.1
high = 0.5
active_percent = 60.0
[[package.additive]]
name = "=диспергатор"
low = 0.5
high = 0.9
active_percent = 40.0
[[factor]]
name = "dose × 1, %"
role = "dose"
unit = "% на пигмент"
low = 0.8
high = 2.4
[[factor]]
name = "pH d'après m²"
low = 8.0
high = 9.5
[[control]]
name = "+контроль"
every = "day"
settings = { "dose × 1, %" = 1.5, "pH d'après m²" = 8.8, "=диспергатор" = 1.0 }
[[response]]
name = "粘度 @ 50/s"
unit = "mPa·s"
per = "batch"
aim = "low"
best = 200
worst = 900
scale = "log"
accept = { at_most = 600 }
[[response]]
name = "=прочность цвета, %"
unit = "%"
per = "batch"
aim = "high"
best = 101
worst = 85
[[view]]
role = "Färber"
importance = { "=прочность цвета, %" = 3.0 }
""",
    truths={
        "粘度 @ 50/s": lambda run, x: math.exp(
            6 - 0.3 * float(x["dose × 1, %"]) + 0.2 * (float(x["pH d'après m²"]) - 8.7) ** 2
            + float(x["润湿剂 A²"]) + 0.03 * math.sin(7 * run)
        ),
        "=прочность цвета, %": lambda run, x: 90 + 3 * float(x["dose × 1, %"])
        - 10 * float(x["润湿剂 A²"]) + 0.3 * math.cos(11 * run),
    },
    at=("dose × 1, %=1.4", "PH  D'APRÈS M2=9", "=диспергатор=0,7"),
    drop="'dose × 1, %' * \"pH d'après m²\"",
    role="Färber",
    weighed="=диспергатор",
    options=("--layout", "optimal", "--runs", "18", "--starts", "3"),
)  # fmt: skip

"""Every fault of a brief is reported, together, with line and mend."""

from __future__ import annotations

import re

import pytest

from doe.errors import StudyError
from doe.study.brief_file import parse_brief

BRIEF = """format = 1
[study]
title = "Brick-red millbase"
roles = ["formulator", "colourist"]
[pigment]
name = "red iron oxide"
[millbase]
batch_g = 500.0
sample_g = 60.0
pigment_percent = 55.0
balance = "water"
[[millbase.ingredient]]
name = "defoamer"
percent = 0.3
[letdown]
millbase_g = 25.0
[[letdown.ingredient]]
name = "acrylic dispersion"
grams = 75.0
[tint]
letdown_g = 2.0
white_g = 40.0
[package]
set_per = "batch"
[[package.additive]]
name = "wetting agent"
low = 0.10
high = 0.40
active_percent = 60.0
[[package.additive]]
name = "dispersant"
low = 0.40
high = 0.80
step = 0.01
[[package.additive]]
name = "co-additive"
low = 0.00
high = 0.30
[[factor]]
name = "dose"
role = "dose"
unit = "% on pigment"
low = 0.8
high = 2.4
spacing = "log"
[[factor.range]]
when = { neutraliser = "ammonia" }
low = 1.0
high = 2.4
[[factor]]
name = "pH"
low = 8
high = 9.5
set_by = "base"
step = 0.05
scatter_sd = 0.1
[[factor]]
name = "grind time"
unit = "min"
levels = [15, 30, 45]
set_per = "sample"
[[factor]]
name = "neutraliser"
levels = ["ammonia", "sodium hydroxide"]
[[factor]]
name = "mill temperature"
low = 25
high = 45
noise = true
production = { mean = 35, sd = 4 }
[[factor]]
name = "bead diameter"
value = 0.8
[[limit]]
sum = { dose = 1.0, pH = 0.02 }
at_most = 3.0
[[forbid]]
settings = { neutraliser = "ammonia", pH = "> 9.3" }
[[block]]
name = "mill"
size = 6
[[control]]
name = "present formula"
every = "day"
settings = { dose = 1.5, dispersant = 1.0, neutraliser = "ammonia" }
[[response]]
name = "viscosity"
aim = "low"
best = 800
worst = 3000
accept = { at_most = 2500 }
scale = "log"
[[response]]
name = "gloss"
aim = "target"
best = 12
worst_low = 7
worst_high = 17
[[view]]
role = "colourist"
importance = { gloss = 3.0 }
[plan]
sd = { viscosity = 0.08 }
"""

# what stands in the brief → what is written instead, the text of the line that is named,
# and parts of the message
FAULTS: list[tuple[str, str, str, tuple[str, ...]]] = [
    # --- the file and its keys
    ("format = 1", "format = 2", "format = 2", ("format = 2", "newer millbase")),
    ("format = 1", 'format = "1"', 'format = "1"', ("format", "allowed: 1")),
    ("format = 1", "format = 0", "format = 0", ("format is 0", "Write format = 1")),
    ("format = 1", "format = true", "format = true", ("format is True",)),
    ('title = "Brick-red millbase"\n', "", "[study]", ("title is missing", "Add title")),
    ('"Brick-red millbase"', '"  "', 'title = "  "', ("study, title", "the title is empty")),
    ('"Brick-red millbase"', "7", "title = 7", ("title is 7", 'Write title = "7"')),
    ("low = 8\n", "lwo = 8\n", "lwo = 8", ('factor 2 "pH", lwo', "Probably low is meant")),
    ("low = 8\n", "Low = 8\n", "Low = 8", ("key Low is not known", "Probably low")),
    ("low = 8\n", "min = 8\n", "min = 8", ("key min is not known", "Probably low")),
    ("low = 8\n", "low = 8\nat_most = 9\n", "at_most = 9", ("It belongs in", "[limit]")),
    ("low = 8\n", "low = 8\nseed = 9\n", "seed = 9", ("It belongs in [study]",)),
    ("low = 8\n", "low = 8\nzzz = 9\n", "zzz = 9", ("zzz", "allowed: name, role")),
    ("[plan]", "[wishes]", "[wishes]", ("wishes is not known", "Probably plan")),
    ("[[view]]", "[[views]]", "[[views]]", ("views", "Probably view")),
    # --- kinds of values
    ("low = 8\n", 'low = "8"\n', 'low = "8"', ('2 "pH", low', "low = 8 without quotes")),
    ("low = 8\n", 'low = "8,0"\n', 'low = "8,0"', ("decimal comma", "Write low = 8.0")),
    ("low = 8\n", 'low = "8 pH"\n', 'low = "8 pH"', ('unit = "pH"', "Write low = 8")),
    ("low = 8\n", 'low = "eight"\n', 'low = "eight"', ('the text "eight"', "a number is due")),
    ("low = 8\n", "low = true\n", "low = true", ("low is true where a number is due",)),
    ("low = 8\n", "low = 2026-01-14\n", "low = 2026-01-14", ("the date 2026-01-14",)),
    ("low = 8\n", "low = [8]\n", "low = [8]", ("low is a list where a number is due",)),
    ("low = 8\n", "low = nan\n", "low = nan", ("low is nan where a number is due",)),
    ("high = 9.5", "high = inf", "high = inf", ("high is inf where a number is due",)),
    ("value = 0.8", "value = inf", "value = inf", ("value",)),
    ("size = 6", "size = 6.5", "size = 6.5", ("a whole number is due",)),
    ("size = 6", "size = 0", "size = 0", ("size is 0", "allowed: above 0")),
    ("noise = true", 'noise = "yes"', 'noise = "yes"', ("noise = true or noise = false",)),
    ("step = 0.05", "step = -1", "step = -1", ("step is -1", "allowed: above 0")),
    ("pigment_percent = 55.0", "pigment_percent = 101", "= 101", ("allowed: below 100",)),
    ('set_per = "sample"', 'set_per = "smaple"', '"smaple"', ("day, batch,", 'Probably "sample"')),
    ('spacing = "log"', 'spacing = "logarithmic"', "logarithmic", ("allowed: even, log",)),
    ('aim = "target"', 'aim = "max"', 'aim = "max"', ("allowed: low, high, target",)),
    ('roles = ["formulator", "colourist"]', 'roles = "colourist"', "roles =", ("is not a list",)),
    ("[15, 30, 45]", '[15, "30", 45]', "levels = [15", ("mixes numbers and words",)),
    ("[15, 30, 45]", "15", "levels = 15", ("levels is not a list",)),
    ("[15, 30, 45]", "[15, nan]", "levels = [15, nan]", ("levels",)),
    ("{ dose = 1.0, pH = 0.02 }", "{}", "sum = {}", ("holds too little",)),
    ("{ dose = 1.0, pH = 0.02 }", "3", "sum = 3", ("no table of names",)),
    ('name = "gloss"\n', "", "[[response]]\naim", ("response 2", "name is missing")),
    # --- names
    ('name = "bead diameter"', 'name = "Dose"', 'name = "Dose"',
     ('also factor 1 (as "dose")', "own name")),
    ('name = "present formula"', 'name = " Co-additive"', 'name = " Co-additive"',
     ("also additive 3",)),
    ('name = "bead diameter"', 'name = "Day"', 'name = "Day"', ("our own tables", '"curing days"')),
    ('name = "bead diameter"', 'name = "intercept"', "intercept", ("our own tables", "offset")),
    ('name = "bead diameter"', 'name = " "', 'name = " "', ("is empty",)),
    ('name = "bead diameter"', "name = 'bead \"x\"'", "bead \"x\"", ("a quote",)),
    ('name = "mill"', 'name = "batch"', 'name = "batch"', ("our own tables",)),
    ('name = "mill"', 'name = "PH"', 'name = "PH"', ("stands twice", "also factor 2")),
    ('["formulator", "colourist"]', '["a", "A", "colourist"]', "roles", ('"A" stands twice',)),
    # --- factors
    ("low = 8\nhigh = 9.5", "low = 9.5\nhigh = 8", "high = 8", ("from 9.5 to 8", "low below high")),
    ("low = 25", "low = 45", "low = 45", ("from 45 to 45", "Widen the range")),
    ("low = 0.8\nhigh = 2.4\nspacing", "low = -0.8\nhigh = 2.4\nspacing", "low = -0.8",
     ('spacing = "log"', "allowed: low above 0")),
    ("high = 45\n", "", "low = 25", ("has low but no high", "value = … if it is held")),
    ("value = 0.8", "", '[[factor]]\nname = "bead', ("has no settings", "Add one of them")),
    ("value = 0.8", "value = 0.8\nlow = 1\nhigh = 2", '[[factor]]\nname = "bead',
     ("low and high as well as value", "Keep one")),
    ("value = 0.8", "levels = []", "levels = []", ("no levels", "at least two")),
    ("value = 0.8", "levels = [1]", "levels = [1]", ("one level", "at least two")),
    ("value = 0.8", "levels = [1, 2, 1.0]", "levels = [1, 2", ("stand twice: 1",)),
    ("value = 0.8", "levels = [0,5, 1,5]", "levels = [0,5", ("stand twice: 5", "decimal comma")),
    ("value = 0.8", 'levels = ["a", "A "]', '["a", "A', ('stand twice: "A"',)),
    ("value = 0.8", 'levels = ["a", ""]', '["a", ""', ("is empty",)),
    ("value = 0.8", 'levels = [0, 1]\nspacing = "log"', "levels = [0", ("not above 0",)),
    ("value = 0.8", 'levels = ["a", "b"]\nspacing = "log"', 'spacing = "log"\n[[l',
     ("no spacing",)),
    ("value = 0.8", 'value = 0.8\nspacing = "log"', 'spacing = "log"\n[[l', ("nothing to space",)),
    ("step = 0.05", "step = 2", "step = 2", ("larger than the range 8 to 9.5",)),
    ("value = 0.8", "value = 0.8\nstep = 0.1", "step = 0.1", ("it is held", "Delete step")),
    ("[15, 30, 45]", "[15, 30, 45]\nstep = 5", "step = 5", ("all that the bench can set",)),
    ("scatter_sd = 0.1", "scatter_sd = 0.1\ntolerance = 0.2", "tolerance = 0.2", ("± 2",)),
    ("value = 0.8", 'levels = ["a", "b"]\nset_by = "x"', 'set_by = "x"', ("are words",)),
    ("value = 0.8", 'levels = ["a", "b"]\ntolerance = 1', "tolerance = 1", ("do not scatter",)),
    ("noise = true\n", "", "production = {", ("no noise factor", "noise = true")),
    ("production = { mean = 35, sd = 4 }", "tolerance = 1", "tolerance = 1", ("noise factor",)),
    ("value = 0.8", "value = 0.8\nnoise = true", "noise = true\n[[l", ("held and yet",)),
    ("value = 0.8", 'levels = ["a", "b"]\nnoise = true\nproduction = { mean = 1, sd = 1 }',
     "production = { mean = 1", ("neither mean nor sd",)),
    # --- ranges by level
    ('when = { neutraliser = "ammonia" }', 'when = { neutraliser = "amonia" }', "amonia",
     ('no level of "neutraliser"', 'Probably "ammonia"')),
    ('when = { neutraliser = "ammonia" }', 'when = { neutralizer = "ammonia" }', "neutralizer",
     ("no setting of this brief", 'Probably "neutraliser"')),
    ('when = { neutraliser = "ammonia" }', 'when = { pH = "9" }', "when = { pH",
     ("no named choice", '"neutraliser"')),
    ('when = { neutraliser = "ammonia" }', "when = {}", "when = {}", ("0 conditions",)),
    ('levels = ["ammonia"', 'set_per = "sample"\nlevels = ["ammonia"', "when = { neutraliser",
     ("set later, per sample", 'Set "dose" per sample')),
    ("low = 1.0\nhigh = 2.4", "low = 2.4\nhigh = 1.0", "high = 1.0", ("range 1", "Swap")),
    ("low = 1.0\nhigh = 2.4", "low = 1.0\nhigh = 2.6", "high = 2.6", ("leaves the 0.8 to 2.4",)),
    ("low = 1.0\nhigh = 2.4", "low = 2.3\nhigh = 2.4\n[[factor]]\nname = 'lean'\nstep = 0.5\n"
     "[[factor.range]]\nwhen = { neutraliser = 'ammonia' }\nlow = 1.0\nhigh = 1.4", "step = 0.5",
     ("larger than the range 1 to 1.4",)),
    ("value = 0.8", "value = 0.8\n[[factor.range]]\nwhen = { neutraliser = 'ammonia' }\n"
     "low = 1.0\nhigh = 1.4", '[[factor]]\nname = "bead', ("ranges by level as well as value",)),
    ("low = 1.0\nhigh = 2.4\n", 'low = 1.0\nhigh = 2.4\n[[factor.range]]\nlow = 1\nhigh = 2\n'
     'when = { neutraliser = "ammonia" } # again\n', "# again", ("two ranges at ammonia",)),
    # --- dose and package
    ('name = "pH"', 'name = "pH"\nrole = "dose"', 'role = "dose"\nlow = 8', ("a second dose",)),
    ('low = 0.8\nhigh = 2.4\nspacing = "log"', "low = 0\nhigh = 2.4", "low = 0\n",
     ("goes down to 0 % on pigment", "[[control]]")),
    ('set_per = "batch"', 'set_per = "panel"', 'set_per = "panel"', ("set per panel",)),
    ("low = 0.10\nhigh = 0.40", "low = 0.40\nhigh = 0.10", "high = 0.10", ("0.4 to 0.1", "Swap")),
    ("high = 0.40\n", "high = 40\n", "high = 40", ("high is 40", "at most 1")),
    ("low = 0.40\nhigh = 0.80", "low = 0.95\nhigh = 0.99", "[[package.additive]]",
     ("add to 1.05", "at most 1")),
    ("low = 0.40\nhigh = 0.80", "low = 0.1\nhigh = 0.2", "[[package.additive]]", ("add to 0.9",)),
    ("step = 0.01", "step = 0.9", "step = 0.9", ("larger than the range",)),
    ("active_percent = 60.0", "active_percent = 60.0\nsolvent_percent = 50", "solvent_percent",
     ("more than 100 %",)),
    # --- limits and forbids
    ("{ dose = 1.0, pH = 0.02 }", "{ doze = 1.0, pH = 0.02 }", "{ doze", ('Probably "dose"',)),
    ("{ dose = 1.0, pH = 0.02 }", "{ dose = 1, Dose = 2 }", "{ dose = 1, D", ("stands twice",)),
    ("{ dose = 1.0, pH = 0.02 }", "{ viscosity = 1 }", "{ viscosity", ("It is a response",)),
    ("{ dose = 1.0, pH = 0.02 }", "{ dose = 0, pH = 0.02 }", "{ dose = 0", ("counts 0 times",)),
    ("{ dose = 1.0, pH = 0.02 }", "{ neutraliser = 1.0, pH = 0.02 }", "sum = { neutr",
     ("in words",)),
    ("{ dose = 1.0, pH = 0.02 }", '{ pH = 0.1, "bead diameter" = 1.5 }', "{ pH = 0.1",
     ("held at 0.8", "at_most = 1.8")),
    ("at_most = 3.0\n", "", "[[limit]]", ("neither at_most nor at_least",)),
    ("at_most = 3.0", "at_most = 3.0\nat_least = 4.0", "at_least = 4.0", ("above at_most 3",)),
    ("at_most = 3.0", "at_most = 0.5", "at_most = 0.5", ("between 0.96 and 2.59",)),
    ("at_most = 3.0", "at_least = 5", "at_least = 5", ("cannot be met",)),
    ('pH = "> 9.3"', 'pH = "> 9,3"', '"> 9,3"', ("decimal comma", 'Write "> 9.3"')),
    ('pH = "> 9.3"', 'pH = "≥ 9.3"', '"≥ 9.3"', ("no condition", 'Write ">= 9.3"')),
    ('pH = "> 9.3"', 'pH = "= 9.3"', '"= 9.3"', ('Write ">= 9.3" or "<= 9.3"',)),
    ('pH = "> 9.3"', 'pH = "high"', '"high"', ("no condition", "> 9.3")),
    ('pH = "> 9.3"', "pH = 9.3", "pH = 9.3", ("cannot be cut out", '"> 9.3" or "< 9.3"')),
    ('pH = "> 9.3"', 'pH = "> 9.5"', '"> 9.5"', ("never occurs", "8 to 9.5")),
    ('pH = "> 9.3"', '"grind time" = 20', '"grind time" = 20', ("no level", "15, 30, 45")),
    ('pH = "> 9.3"', '"bead diameter" = 0.8', '"bead diameter" =', ("is held at 0.8",)),
    ('pH = "> 9.3"', '"co-additive" = "> 0.3"', '"co-additive" =', ("never occurs",)),
    ('neutraliser = "ammonia", pH', 'neutraliser = "lime", pH', '"lime"', ("no level of",)),
    ('neutraliser = "ammonia", pH', "neutraliser = 3, pH", "= 3, pH", ("3 is no level",)),
    ('{ neutraliser = "ammonia", pH = "> 9.3" }', '{ pH = "> 7" }', "[[forbid]]",
     ("forbids every setting",)),
    ('{ neutraliser = "ammonia", pH = "> 9.3" }', '{ "grind time" = [15, 30, 45] }', "[[forbid]]",
     ("forbids every setting",)),
    ('{ neutraliser = "ammonia", pH = "> 9.3" }', "{ neutraliser = [] }", "neutraliser = []",
     ("an empty list is no level",)),
    # --- recipes, controls, blocks
    ("percent = 0.3", "percent = 50", "pigment_percent", ("add to 105 %", "at most 100 %")),
    ("sample_g = 60.0", "sample_g = 600", "sample_g = 600", ("more than the batch of 500 g",)),
    ('balance = "water"', 'balance = ""', 'balance = ""', ("the balance has no name",)),
    ('name = "defoamer"', 'name = "Water"', 'name = "Water"', ("is the balance",)),
    ('name = "defoamer"', 'name = "Dispersant"', 'name = "Dispersant"', ("an additive of the",)),
    ('name = "defoamer"\n', 'name = "defoamer"\npercent = 1\n[[millbase.ingredient]]\n'
     'name = "Defoamer"\n', 'name = "Defoamer"', ("weighed twice",)),
    ("millbase_g = 25.0", "millbase_g = 65", "millbase_g = 65", ("65 g of a sample of 60 g",)),
    ("letdown_g = 2.0", "letdown_g = 200", "letdown_g = 200", ("of a let-down of 100 g",)),
    ('every = "day"', 'every = "week"', 'every = "week"', ('"day", "round", "mill"',)),
    ("settings = { dose = 1.5", "# settings = { dose = 1.5", "[[control]]", ("neither settings",)),
    ('every = "day"\n', 'ingredient = [{ name = "x", grams = 1 }]\n', "[[control]]",
     ("as well as",)),
    ("dispersant = 1.0,", "dispersant = 0.7,", "settings = { dose = 1.5",
     ("add to 0.7", "allowed: 1")),
    ("dispersant = 1.0, ", "", "settings = { dose = 1.5", ("a dose of 1.5 but no shares",)),
    ("dispersant = 1.0,", "dispersent = 1.0,", "dispersent", ('Probably "dispersant"',)),
    ("{ dose = 1.5, dispersant = 1.0", "{ dose = -1, dispersant = 1.0", "dose = -1", ("the dose",)),
    ('neutraliser = "ammonia" }\n[[resp', 'neutraliser = "lime" }\n[[resp', '"lime"',
     ("no level",)),
    ('neutraliser = "ammonia" }\n[[resp', 'pH = "8,8" }\n[[resp', '"8,8"', ("quotes, 8.8",)),
    ('neutraliser = "ammonia" }\n[[resp', "neutraliser = 2 }\n[[resp", "neutraliser = 2",
     ("set in words",)),
    ("size = 6", "size = 1", "size = 1", ("holds one run",)),
    # --- responses and views
    ('aim = "low"\n', "", "best = 800", ("has best and worst but no aim",)),
    ("best = 800", "best = 8000", "best = 8000", ("best below worst", "Swap the two")),
    ("best = 800", "best = 3000", "best = 3000", ("best below worst", "Move them apart")),
    ('aim = "low"', 'aim = "high"', "best = 800", ("best above worst",)),
    ("best = 800\n", "", 'aim = "low"', ("no best", "Add best")),
    ("best = 12", "best = 20", "best = 20", ("worst_low below best below worst_high",)),
    ("worst_low = 7", "worst_low = 7\nworst = 1", "worst = 1\n", ("does not know", "Delete worst")),
    ("worst_low = 7\n", "", 'aim = "target"', ("no worst_low",)),
    ("{ at_most = 2500 }", "{}", "accept = {}", ("accept", "is empty")),
    ("{ at_most = 2500 }", "{ at_most = 1, at_least = 2 }", "accept = {", ("from 2 to 1",)),
    ('scale = "log"', 'scale = "logit"', 'scale = "logit"', ("no bounds", "bounds = [0, 100]")),
    ('scale = "log"', 'scale = "power"', 'scale = "power"', ("no power",)),
    ('scale = "log"', "power = 0.5", "power = 0.5", ('scale = "power"',)),
    ('scale = "log"', 'scale = "power"\npower = 0', "power = 0", ('scale = "log"',)),
    ('scale = "log"', 'scale = "logit"\nbounds = [9000, 0]', "bounds", ("Swap",)),
    ('scale = "log"', 'scale = "logit"\nbounds = [0, 2700]', "worst = 3000",
     ("outside its bounds",)),
    ('scale = "log"', 'scale = "logit"\nbounds = [0]', "bounds", ("holds too little",)),
    ('scale = "log"', 'scale = "logit"\nbounds = [0,5, 99]', "bounds", ("decimal comma",)),
    ("best = 800\nworst = 3000", "best = -2\nworst = 3000", "best = -2",
     ("cannot take", "0 or more")),
    ("{ at_most = 2500 }", "{ at_most = 0 }", "accept = {", ("at_most", "allowed: above 0")),
    ('role = "colourist"', 'role = "colorist"', 'role = "colorist"', ('Probably "colourist"',)),
    ('role = "colourist"', 'role = "plant"', 'role = "plant"', ("Add it to roles",)),
    ("{ gloss = 3.0 }", "{ glos = 3.0 }", "{ glos =", ("no response", 'Probably "gloss"')),
    ("{ gloss = 3.0 }", "{ gloss = 0 }", "{ gloss = 0", ("importance", "above 0")),
    ("{ gloss = 3.0 }", "{}", "importance = {}", ("weighs nothing",)),
    ("[[view]]", '[[view]]\nrole = "Colourist"\nimportance = { viscosity = 2 }\n[[view]]',
     'role = "colourist"', ("two views",)),
    ("sd = { viscosity = 0.08 }", "sd = { viscosty = 0.08 }", "viscosty",
     ('Probably "viscosity"',)),
    ("sd = { viscosity = 0.08 }", "effect = { viscosity = 0 }", "effect = {", ("above 0",)),
]  # fmt: skip


def _faults(text: str) -> list[str]:
    with pytest.raises(StudyError) as caught:
        parse_brief(text.encode())
    return [fault.sentence() for fault in caught.value.faults]


def test_the_brief_behind_the_table_is_sound() -> None:
    """Else the table below would prove nothing."""
    assert parse_brief(BRIEF.encode()).about.title == "Brick-red millbase"


@pytest.mark.parametrize(("old", "new", "at", "parts"), FAULTS)
def test_a_fault_is_told_once_with_its_line_and_mend(
    old: str, new: str, at: str, parts: tuple[str, ...]
) -> None:
    """One fault in, one sentence out: no echoes, and the place is where the user must write."""
    assert old in BRIEF
    text = BRIEF.replace(old, new, 1)

    faults = _faults(text)

    assert len(faults) == 1, faults
    line = text[: text.index(at)].count("\n") + 1
    assert faults[0].startswith(f"study.toml, line {line}, ")
    for part in parts:
        assert part in faults[0]
    assert re.search(r"; allowed: |[.?!] .", faults[0])


def test_ten_faults_of_ten_kinds_are_ten() -> None:
    """DESIGN.md, section 2: every fault of a brief is reported together."""
    text = BRIEF
    for old, new in [
        ("roles = [", "rolls = ["),
        ("batch_g = 500.0", "batch_g = 500,0"),
        ("high = 0.80", "high = 0.20"),
        ('name = "pH"', "name = “pH”"),
        ("step = 0.05", 'step = "0.05"'),
        ("high = 45", "high = 15"),
        ("at_most = 3.0", "at_mots = 3.0"),
        ('pH = "> 9.3"', 'pH = "> 9.9"'),
        ("best = 800", "best = 8000"),
        ("sd = { viscosity", "sd = { viscositi"),
    ]:
        assert old in text
        text = text.replace(old, new, 1)

    faults = _faults(text)

    assert len(faults) == 10, faults
    lines = [int(re.findall(r"line (\d+)", fault)[0]) for fault in faults]
    assert lines == sorted(lines)


@pytest.mark.parametrize(
    ("top", "part"),
    [
        ("package = 3", "package is 3 where a table is due. Write [package]"),
        ("factor = 3", "factor is 3 where a table is due. Write [[factor]]"),
        ("factor = [1]", "factor is 1 where a table is due. Write [[factor]]"),
        ("factor = { name = 'a', low = 1, high = 2 }", "is one table where a list of tables"),
        ("plan = [{ variance_ratio = 1 }]", "is a list of tables where one table is due"),
        ("plan = { sd = 3 }", "sd is no table of names"),
    ],
)
def test_tables_of_the_wrong_build_are_told(top: str, part: str) -> None:
    """Double brackets stand for things of which there are several."""
    text = f"{top}\n[study]\ntitle = 'x'\n[[response]]\nname = 'y'\n"
    if not top.startswith("factor"):
        text += "[[factor]]\nname = 'a'\nlow = 1\nhigh = 2\n"

    faults = _faults(text)

    assert len(faults) == 1, faults
    assert part in faults[0]
    assert "line 1" in faults[0]


def test_what_is_not_there_is_told_without_a_line() -> None:
    """There is no line to name."""
    assert _faults("format = 1\n[study]\ntitle = 'x'\n") == [
        "study.toml: the brief has neither a factor nor a package. Add a [[factor]] for each thing "
        "to vary, or a [package] with its additives.",
        "study.toml: the brief has no response. Add a [[response]] for each thing to be measured.",
    ]


def test_held_settings_alone_are_no_experiment() -> None:
    """Something must vary."""
    text = "[study]\ntitle='x'\n[[factor]]\nname='pH'\nvalue=8\n[[response]]\nname='y'\n"

    assert "nothing varies" in _faults(text)[0]


@pytest.mark.parametrize(
    ("old", "new", "kinds"),
    [
        ("high = 45", "high = fourtyfive", ["a word without quotes", "the text"]),
        ("low = 8\n", "low = 8 to 9\n", ["one number is due"]),
        ('[[response]]\nname = "viscosity"', '[[]]\nname = "viscosity"', ["cannot be read"]),
        ("levels = [15, 30, 45]", "levels = [15, 30, 45", ["that is not closed"]),
    ],
)
def test_what_only_follows_from_a_fault_is_not_told(old: str, new: str, kinds: list[str]) -> None:
    """An echo sends the user looking for a fault that is not there."""
    faults = _faults(BRIEF.replace(old, new, 1))

    assert len(faults) == len(kinds), faults
    for fault, kind in zip(faults, kinds, strict=True):
        assert kind in fault


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("low = 8\n", "low = 8.0e0\n"),
        ("low = 0.40\nhigh = 0.80", "low = 0.60\nhigh = 0.60"),
        ("high = 0.30\n", "high = 0.90\n"),
        ("neutraliser = \"ammonia\", pH", "NEUTRALISER = [\"Ammonia\"], PH"),
        ('pH = "> 9.3"', 'pH = "<=9"'),
        ('pH = "> 9.3"', '"grind time" = [15, 30]'),
        ('every = "day"', 'every = "Mill"'),
        ("{ at_most = 2500 }", "{ at_least = 100, at_most = 2500 }"),
        ("best = 800", "best = 0"),
        ('scale = "log"', 'scale = "logit"\nbounds = [0, 9000]'),
        ('scale = "log"', 'scale = "power"\npower = -0.5'),
        ("settings = { dose = 1.5, dispersant = 1.0, neutraliser = \"ammonia\" }", "settings = {}"),
        ("settings = { dose = 1.5, dispersant = 1.0", "settings = { dose = 0"),
        ("dispersant = 1.0, neutraliser", '"bead diameter" = 1, dispersant = 1.0, neutraliser'),
        ('settings = { dose = 1.5, dispersant = 1.0, neutraliser = "ammonia" }',
         'ingredient = [{ name = "present paste", grams = 12 }]'),
        ('role = "dose"\n', ""),
        ('spacing = "log"\n', ""),
        ("value = 0.8", 'value = "glass"'),
        ("value = 0.8", "value = 0.8\nset_by = \"sieve\"\ntolerance = 0.1"),
        ('name = "bead diameter"', 'name = "粒径 × 10² (%) é Ø"'),
    ],
)  # fmt: skip
def test_what_is_allowed_is_taken(old: str, new: str) -> None:
    """A check that refuses sound briefs is worse than none."""
    assert old in BRIEF
    parse_brief(BRIEF.replace(old, new, 1).encode())


def test_a_package_of_one_is_wholly_its_additive() -> None:
    """What varies then is the dose; other limits of its share would contradict that."""
    text = BRIEF.split("[package]")[0] + "[package]\n[[package.additive]]\nname = 'all'\n" \
        "low = {}\nhigh = {}\n[[factor]]\nname = 'dose'\nlow = 1\nhigh = 2\n" \
        "[[response]]\nname = 'y'\n"  # fmt: skip

    assert parse_brief(text.format(1, 1).encode()).additives[0].low == 1
    assert "whole package" in _faults(text.format(0.2, 0.6))[0]


def test_the_only_share_of_a_control_goes_without_saying() -> None:
    """Unnamed shares are 0, but a package of one additive has no other share than 1."""
    text = """[study]
title = "t"
[[package.additive]]
name = "settled package"
low = 1
high = 1
[[factor]]
name = "dose"
role = "dose"
low = 1
high = 2
[[control]]
name = "present"
settings = { dose = 1.5 }
[[control]]
name = "none"
settings = { dose = 0 }
[[response]]
name = "y"
"""

    study = parse_brief(text.encode())

    assert [dict(control.settings) for control in study.controls] == [
        {"dose": 1.5, "settled package": 1.0},
        {"dose": 0.0},
    ]


def test_references_take_the_spelling_of_the_names_they_mean() -> None:
    """Everything behind the door compares names letter by letter."""
    text = (
        BRIEF.replace("{ dose = 1.0, pH = 0.02 }", '{ DOSE = 1.0, " ph " = 0.02 }')
        .replace('"ammonia", pH = "> 9.3" }', '["AMMONIA"], PH = " >9.30" }')
        .replace(
            'dispersant = 1.0, neutraliser = "ammonia"', 'Dispersant = 1, Neutraliser = "Ammonia"'
        )
        .replace("{ gloss = 3.0 }", "{ Gloss = 3.0 }")
        .replace('role = "colourist"', 'role = "Colourist"')
        .replace("sd = { viscosity", "sd = { VISCOSITY")
        .replace('when = { neutraliser = "ammonia" }', 'when = { NEUTRALISER = "Ammonia" }')
        .replace('name = "pH"', 'name = " pH "')
    )

    study = parse_brief(text.encode())

    assert study.setting_names[4] == "pH"
    assert dict(study.limits[0].sum) == {"dose": 1.0, "pH": 0.02}
    assert dict(study.forbids[0].settings) == {"neutraliser": ("ammonia",), "pH": "> 9.3"}
    assert dict(study.controls[0].settings) == {
        "dose": 1.5, "dispersant": 1.0, "neutraliser": "ammonia",
    }  # fmt: skip
    assert dict(study.views[0].importance) == {"gloss": 3.0}
    assert study.views[0].role == "colourist"
    assert dict(study.wishes.sd) == {"viscosity": 0.08}
    assert dict(study.factors[0].ranges[0].when) == {"neutraliser": "ammonia"}


def test_numbers_are_numbers_and_words_stay_words() -> None:
    """Nothing is turned into anything else on the quiet."""
    study = parse_brief(BRIEF.replace("value = 0.8", 'levels = ["1", "2.5"]').encode())

    assert study.factors[1].low == 8.0
    assert isinstance(study.factors[1].low, float)
    assert study.factors[2].levels == (15.0, 30.0, 45.0)
    assert all(isinstance(level, float) for level in study.factors[2].levels)
    assert study.factors[5].levels == ("1", "2.5")
    assert study.factors[5].kind == "choice"


def test_names_in_any_script_work() -> None:
    """Spaces, ×, ², %, accents, Cyrillic and Chinese."""
    text = """[study]
title = "Красная паста"
[[package.additive]]
name = "смачиватель"
low = 0.1
high = 0.4
[[package.additive]]
name = "分散剂"
low = 0.6
high = 0.9
[[factor]]
name = "Mahldauer × Energie (kJ/m²)"
low = 1
high = 2
[[limit]]
sum = { "СМАЧИВАТЕЛЬ" = 1, "mahldauer × energie (kj/m2)" = 0.1 }
at_most = 0.5
[[response]]
name = "Stärke, %"
"""

    study = parse_brief(text.encode())

    assert list(study.limits[0].sum) == ["смачиватель", "Mahldauer × Energie (kJ/m²)"]


def test_a_factor_may_have_ranges_by_level_and_no_low_and_high_of_its_own() -> None:
    """Each chemistry has its own dose range; there is no general one to repeat."""
    text = """\
format = 1
[study]
title = "Invented chemistries"
[[factor]]
name = "chemistry"
levels = ["none", "electrosteric", "multi-anchor"]
[[factor]]
name = "dose"
[[factor.range]]
when = { chemistry = "electrosteric" }
low = 0.8
high = 2.4
[[factor.range]]
when = { chemistry = "multi-anchor" }
low = 1.0
high = 3.0
[[limit]]
sum = { dose = 1.0 }
at_most = 0.5
[[response]]
name = "viscosity"
"""
    dose = parse_brief(text.encode()).factors[1]

    assert dose.ends == (0.8, 3.0)
    assert dose.low is None

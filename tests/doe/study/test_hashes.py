"""Two hashes: one for where runs may lie, one for what is wished of them."""

from __future__ import annotations

import pytest

from doe.study.brief import Study
from doe.study.brief_file import parse_brief
from doe.study.hashes import content_hash, goals_hash, region_hash

BRIEF = """[study]
title = "t"
[package]
[[package.additive]]
name = "wetting agent"
low = 0.1
high = 0.4
active_percent = 60
[[package.additive]]
name = "dispersant"
low = 0.6
high = 0.9
[[factor]]
name = "pH"
low = 8
high = 9.5
scatter_sd = 0.1
[[factor]]
name = "neutraliser"
levels = ["ammonia", "soda"]
[[limit]]
sum = { pH = 1.0, dispersant = 0.5 }
at_most = 9.9
because = "foam"
[[forbid]]
settings = { neutraliser = "ammonia", pH = "> 9.3" }
[[block]]
name = "day"
size = 6
[[control]]
name = "old"
settings = { dispersant = 1.0 }
[[response]]
name = "viscosity"
aim = "low"
best = 800
worst = 3000
[[response]]
name = "gloss"
"""


def _study(*edits: tuple[str, str]) -> Study:
    text = BRIEF
    for old, new in edits:
        assert old in text
        text = text.replace(old, new, 1)
    return parse_brief(text.encode())


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("low = 8\n", "low = 8.1\n"),
        ("high = 0.4\n", "high = 0.35\n"),
        ("high = 0.4\n", "high = 0.4\nstep = 0.01\n"),
        ("high = 9.5\n", 'high = 9.5\nspacing = "log"\n'),
        ("high = 9.5\n", 'high = 9.5\nset_per = "sample"\n'),
        ("high = 9.5\n", "high = 9.5\nstep = 0.1\n"),
        ("[package]\n", '[package]\nset_per = "sample"\n'),
        ('["ammonia", "soda"]', '["ammonia", "soda", "amine"]'),
        ('["ammonia", "soda"]', '["soda", "ammonia"]'),
        ("at_most = 9.9", "at_most = 9.8"),
        ("pH = 1.0", "pH = 1.1"),
        ('"> 9.3"', '"> 9.4"'),
        ("size = 6", "size = 8"),
        ('name = "day"', 'name = "mill"'),
        ("[[limit]]", "[[factor]]\nname = 'bead'\nvalue = 0.8\n[[limit]]"),
    ],
)
def test_what_moves_the_region_changes_its_hash(old: str, new: str) -> None:
    """Each of these decides where runs may lie or how they are coded."""
    assert region_hash(_study((old, new))) != region_hash(_study())


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('title = "t"', 'title = "u"'),
        ("scatter_sd = 0.1", "scatter_sd = 0.2"),
        ("active_percent = 60", "active_percent = 50"),
        ("active_percent = 60", "active_percent = 60\nprice_per_kg = 3"),
        ("high = 9.5\n", 'high = 9.5\nunit = "-"\n'),
        ('because = "foam"', 'because = "air"'),
        ("dispersant = 1.0", "dispersant = 0.5, 'wetting agent' = 0.5"),
        ("best = 800", "best = 700"),
        ('name = "gloss"', 'name = "shine"'),
        ("[[block]]", "[pigment]\nname = 'red'\n[[block]]"),
    ],
)
def test_what_is_wished_changes_the_goals_alone(old: str, new: str) -> None:
    """Goals may change at any time without touching a run."""
    assert region_hash(_study((old, new))) == region_hash(_study())
    assert goals_hash(_study((old, new))) != goals_hash(_study())


def test_order_remarks_and_spelling_change_nothing() -> None:
    """The same study, written by another hand."""
    shuffled = """# another hand
[[response]]
name = "gloss"
[[response]]
worst = 3000.0
best = 800
aim = "low"
name = "viscosity"
[[control]]
settings = { Dispersant = 1 }
name = "old"
[[block]]
size = 6
name = "day"
[[forbid]]
settings = { pH = ">9.30", neutraliser = "Ammonia" }
[[limit]]
because = "foam"
at_most = 9.90
sum = { DISPERSANT = 0.50, pH = 1 }
[[factor]]
levels = ["ammonia", "soda"]
name = "neutraliser"
[[factor]]
scatter_sd = 0.1
name = "pH"
high = 9.50
low = 8.0
[package]
[[package.additive]]
high = 0.9
low = 0.6
name = "dispersant"
[[package.additive]]
active_percent = 60.0
high = 0.4
low = 0.10
name = "wetting agent"
[study]
title = "t"
"""
    again = parse_brief(shuffled.encode())

    assert region_hash(again) == region_hash(_study())
    assert goals_hash(again) == goals_hash(_study())


def test_contents_have_the_start_of_their_sha256() -> None:
    """Source: FIPS 180-4, test vector “abc”."""
    assert content_hash(b"abc") == "ba7816bf8f01cfea"


def test_contents_do_not_run_together() -> None:
    """Two files are two, wherever one ends."""
    assert content_hash(b"ab", b"c") != content_hash(b"a", b"bc")
    assert content_hash(b"ab", b"c") != content_hash(b"abc")

"""Data of raw materials that contradict themselves, or belong to nobody."""

from __future__ import annotations

import pytest

from doe.errors import StudyError
from doe.methods.settling import settle_methods
from doe.study.brief_file import parse_brief

HEAD = """
format = 1
[study]
title = "t"
[millbase]
batch_g = 500
pigment_percent = 50
[[factor]]
name = "dose"
role = "dose"
low = 1
high = 3
[[factor]]
name = "chemistry"
levels = ["old", "new"]
[[response]]
name = "viscosity"
[[response]]
name = "cost"
from = "cost per kg"
"""


def faults_of(more: str) -> list[str]:
    """Read a brief and say its faults, one sentence each."""
    try:
        parse_brief((HEAD + more).encode(), settle=settle_methods)
    except StudyError as error:
        return [fault.sentence() for fault in error.faults]
    return []


def test_sound_data_are_taken() -> None:
    """A level of a choice with its data."""
    assert not faults_of('[[material]]\nname = "Old"\nactive_percent = 40\nvoc_percent = 5\n')


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (
            '[[millbase.ingredient]]\nname = "coalescent"\npercent = 1\nactive_percent = 100\n'
            "voc_percent = 100\n",
            "active_percent 100 + voc_percent 100 = 200 %",
        ),
        ('[[material]]\nname = "newer"\n', '"newer" is no level of a named choice'),
        ("[plan]\nsd = { cost = 0.1 }\n", "'cost' is computed from the recipe"),
        (
            '[[package.additive]]\nname = "wetting agent"\nlow = 1\nhigh = 1\n'
            "active_percent = 60\nsolvent_percent = 20\nvoc_percent = 5\n",
            "20 % of co-solvent, of which 5 % are VOC, exempt or solids",
        ),
    ],
)
def test_a_contradiction_is_one_fault(more: str, said: str) -> None:
    """Named with its numbers, once."""
    found = faults_of(more)

    assert len(found) == 1
    assert said in found[0]

"""Responses computed from the recipe that lack data are told before planning."""

from __future__ import annotations

import pytest

from doe.methods.settling import settle_methods
from doe.model.region import region_of
from doe.steps.demo import invented_brief
from doe.steps.recipe_check import recipe_findings
from doe.study.brief import Study
from doe.study.brief_file import parse_brief

# The demo has no let-down.
PART = 'with = { part = "mill base" }'


def _study(method: str, old: str = "", new: str = "") -> Study:
    added = f'[[response]]\nname = "computed"\nfrom = "{method}"\n{PART}\n\n[plan]'
    text = invented_brief().replace("\n[plan]", f"\n{added}", 1).replace(old, new)
    return parse_brief(text.encode(), settle=settle_methods)


def test_missing_prices_are_named_material_by_material() -> None:
    """A planned study whose cost can never be told is found out late."""
    study = _study("cost per kg")
    found = recipe_findings(study, region_of(study))

    assert {one.level for one in found} == {"caution"}
    assert any("price_per_kg is missing" in one.what and "[pigment]" in one.what for one in found)
    assert any("balance_price_per_kg is missing" in one.what for one in found)


def test_nothing_is_told_where_nothing_is_lacking() -> None:
    """What the package brings of active matter needs no more than the recipe."""
    study = _study("active on paint")

    assert recipe_findings(study, region_of(study)) == ()


@pytest.mark.parametrize("key", ["solvent_percent", "voc_percent"])
def test_an_additive_without_solvent_is_asked_for_its_own_key(key: str) -> None:
    """Either key mends it, and the message names the one that additives have."""
    active = "active_percent = 40.0"
    bare = _study("VOC of the recipe")
    mended = _study("VOC of the recipe", active, f"{active}\n{key} = 0.0")
    before, after = (
        [one.what for one in recipe_findings(study, region_of(study)) if "additive]]" in one.what]
        for study in (bare, mended)
    )

    assert any("solvent_percent is missing" in what for what in before)
    assert not any("voc_percent" in what for what in before)
    assert len(after) < len(before)

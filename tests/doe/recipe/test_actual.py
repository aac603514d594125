"""Grams weighed, read back as dose, shares and doubts."""

from __future__ import annotations

from typing import Any

import pytest

from doe.recipe.actual import actual_settings, check_weighing
from doe.recipe.weigh import weigh_batch
from doe.study.brief import Study

ROW: dict[str, float | str | None] = {
    "wetting agent": 0.2,
    "dispersant": 0.6,
    "co-additive": 0.2,
    "dose": 1.6,
}


def grams_of(study: Study) -> dict[str, float]:
    """Weigh to plan."""
    return {line.name: line.as_supplied_g for line in weigh_batch(study, ROW).lines}


def test_more_dispersant_raises_dose_and_its_share(study: Study) -> None:
    """Twice 6.6 g as supplied, 2.64 g active more on 4.4 g."""
    grams = grams_of(study)
    actual = actual_settings(study, {**grams, "dispersant": 2 * grams["dispersant"]})

    assert actual["dose"] == pytest.approx(100 * (4.4 + 2.64) / 275)
    assert actual["dispersant"] == pytest.approx(5.28 / 7.04)
    assert sum(actual[name] for name in ("wetting agent", "dispersant", "co-additive")) == (
        pytest.approx(1.0)
    )


def test_pigment_weighed_short_raises_the_dose(study: Study) -> None:
    """The dose is on the pigment that is there; names are compared case-blind."""
    actual = actual_settings(study, {**grams_of(study), "RED IRON  OXIDE": 250.0})

    assert actual["dose"] == pytest.approx(100 * 4.4 / 250)


def test_missing_grams_without_a_plan_tell_nothing(study: Study) -> None:
    """The planned value stands, so none is returned."""
    assert actual_settings(study, {"dispersant": 6.6}) == {}


def test_missing_grams_count_as_planned(study: Study) -> None:
    """One line filled in is enough where the plan is known."""
    actual = actual_settings(study, {"dispersant": 13.2}, ROW)

    assert actual["dose"] == pytest.approx(100 * (4.4 + 2.64) / 275)


def test_grams_of_other_materials_tell_nothing_of_the_package(study: Study) -> None:
    """A water line alone leaves dose and shares as planned."""
    assert actual_settings(study, {"water": 190.0}, ROW) == {}


def test_held_dose_is_no_setting_of_the_plan(brief: dict[str, Any]) -> None:
    """Only what the plan varies is returned."""
    brief["factor"] = [{"name": "dose", "role": "dose", "value": 1.6}]
    study = Study.model_validate(brief)

    assert "dose" not in actual_settings(study, grams_of(study))


def test_package_set_per_sample_is_on_the_pigment_of_the_letdown(brief: dict[str, Any]) -> None:
    """13.75 g pigment in 25 g mill base."""
    brief["package"] = {**brief["package"], "set_per": "sample"}
    study = Study.model_validate(brief)

    assert actual_settings(study, {"dispersant": 0.33}, ROW)["dose"] == pytest.approx(1.6)


def test_weighing_to_plan_raises_no_doubt(study: Study) -> None:
    """Within 2 % nothing is said."""
    grams = {name: 1.015 * value for name, value in grams_of(study).items()}

    assert check_weighing(weigh_batch(study, ROW).lines, grams, unit="batch 3") == ()


def test_miss_of_more_than_2_percent_is_named(study: Study) -> None:
    """With target, actual and how far off."""
    grams = {**grams_of(study), "dispersant": 6.93}
    (finding,) = check_weighing(weigh_batch(study, ROW).lines, grams, unit="batch 3")

    assert finding.what == "batch 3: 6.93 g of 'dispersant' were weighed for 6.6 g (+5.0 %)."
    assert finding.evidence["off target, %"] == 5.0


def test_swapped_additives_give_one_finding_of_their_own(study: Study) -> None:
    """Both misses are explained by the swap."""
    grams = grams_of(study)
    grams["wetting agent"], grams["dispersant"] = grams["dispersant"], grams["wetting agent"]
    (finding,) = check_weighing(weigh_batch(study, ROW).lines, grams, unit="batch 3")

    assert "look transposed" in finding.what
    assert "'wetting agent' and 'dispersant'" in finding.what


def test_extra_material_where_none_was_due_is_named(study: Study) -> None:
    """A target of 0 g has no per cent."""
    recipe = weigh_batch(study, {**ROW, "dispersant": 0.8, "co-additive": 0.0})
    (finding,) = check_weighing(recipe.lines, {"co-additive": 1.0}, unit="batch 3")

    assert "for 0 g." in finding.what


def _chemistries(brief: dict[str, Any]) -> Study:
    own = {"low": 0.8, "high": 2.4, "when": {"chemistry": "electrosteric"}}
    brief["factor"] = [
        {"name": "chemistry", "levels": ["none", "electrosteric"]},
        {"name": "dose", "role": "dose", "unit": "% on pigment", "range": [own]},
    ]
    del brief["package"], brief["control"]
    return Study.model_validate(brief)


def test_a_dose_by_chemistry_is_weighed_under_its_name(brief: dict[str, Any]) -> None:
    """1.6 % of 275 g pigment; the level without a dose weighs nothing."""
    study = _chemistries(brief)
    with_dose = weigh_batch(study, {"chemistry": "electrosteric", "dose": 1.6}).lines
    without = weigh_batch(study, {"chemistry": "none", "dose": None}).lines
    grams = {line.name: line.as_supplied_g for line in with_dose}

    assert grams["electrosteric (active matter)"] == pytest.approx(4.4)
    assert not [line for line in without if line.kind == "additive"]


def test_grams_of_a_dose_by_chemistry_are_read_back(brief: dict[str, Any]) -> None:
    """5.5 g on 275 g are 2 %; a level that lacks the dose has none to read."""
    study = _chemistries(brief)
    planned = {"chemistry": "electrosteric", "dose": 1.6}
    grams = {"electrosteric (active matter)": 5.5}

    assert actual_settings(study, grams, planned) == {"dose": pytest.approx(2.0)}
    assert actual_settings(study, {"red iron oxide": 250.0}, planned) == {
        "dose": pytest.approx(1.76)
    }
    assert actual_settings(study, {"red iron oxide": 250.0}, {"chemistry": "none"}) == {}

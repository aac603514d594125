"""The weigh-out of a batch and of a sample, case by case."""

from __future__ import annotations

from typing import Any

import pytest

from doe.errors import PlanError
from doe.recipe.batch_recipe import HELD_BACK_OF_BATCH, HELD_BACK_OF_WATER, weigh_batch
from doe.recipe.letdown import weigh_sample
from doe.study.brief import Study

ROW: dict[str, float | str | None] = {
    "wetting agent": 0.2,
    "dispersant": 0.6,
    "co-additive": 0.2,
    "dose": 1.6,
    "pH": 8.6,
    "neutraliser": "ammonia",
    "grind time": 30.0,
}


def test_ingredient_counts_as_supplied_and_brings_its_water(study: Study) -> None:
    """0.4 % of 500 g at 25 % active."""
    line = weigh_batch(study, ROW).line("defoamer")

    assert (line.as_supplied_g, line.active_g, line.water_g) == pytest.approx((2.0, 0.5, 1.5))


def test_cosolvent_is_not_water(study: Study) -> None:
    """40 % active and 10 % solvent leave half of the material as water."""
    line = weigh_batch(study, ROW).line("dispersant")

    assert line.active_g == pytest.approx(275 * 0.016 * 0.6)
    assert line.water_g == pytest.approx(line.as_supplied_g * 0.5)
    assert line.solvent_g == pytest.approx(line.as_supplied_g * 0.1)


def test_order_of_addition_is_water_additives_ingredients_pigment(study: Study) -> None:
    """Pigment goes in last, under shear."""
    kinds = [line.kind for line in weigh_batch(study, ROW).lines]

    assert kinds == ["balance", "additive", "additive", "additive", "ingredient", "pigment"]


def test_titrated_batch_holds_water_back(study: Study) -> None:
    """5 % of the batch where there is water enough."""
    recipe = weigh_batch(study, ROW)

    assert recipe.held_back_g == pytest.approx(HELD_BACK_OF_BATCH * 500)
    assert recipe.first_water_g + recipe.held_back_g == recipe.water_to_weigh_g


def test_little_water_is_held_back_by_half(brief: dict[str, Any]) -> None:
    """The pigment must still be wetted."""
    millbase = {**brief["millbase"], "pigment_percent": 93.0}
    recipe = weigh_batch(Study.model_validate({**brief, "millbase": millbase}), ROW)

    assert recipe.water_to_weigh_g < 30
    assert recipe.held_back_g == HELD_BACK_OF_WATER * recipe.water_to_weigh_g


def test_set_by_that_names_a_choice_takes_its_level(study: Study) -> None:
    """The card names the base of this batch."""
    (titration,) = weigh_batch(study, ROW).titrations

    assert (titration.factor, titration.target, titration.titrant) == ("pH", 8.6, "ammonia")


def test_untitrated_batch_holds_nothing_back(study: Study) -> None:
    """A control that leaves the pH open is not titrated."""
    assert weigh_batch(study, {**ROW, "pH": None}).held_back_g == 0.0


def test_held_dose_counts(brief: dict[str, Any]) -> None:
    """A package alone is weighed at the held dose."""
    brief["factor"] = [{"name": "dose", "role": "dose", "value": 2.0}]
    recipe = weigh_batch(Study.model_validate(brief), {"dispersant": 1.0})

    assert recipe.dose == 2.0
    assert recipe.line("dispersant").active_g == pytest.approx(5.5)


def test_package_without_a_dose_is_refused_with_advice(brief: dict[str, Any]) -> None:
    """Shares alone are no grams."""
    brief["factor"] = []

    with pytest.raises(PlanError, match=r'role = "dose".*value = 1\.5'):
        weigh_batch(Study.model_validate(brief), {"dispersant": 1.0})


def test_no_millbase_is_refused_with_advice(brief: dict[str, Any]) -> None:
    """A study of settings alone has no weigh-out."""
    del brief["millbase"]

    with pytest.raises(PlanError, match=r"\[millbase\]"):
        weigh_batch(Study.model_validate(brief), ROW)


def test_overfull_batch_names_run_shortfall_and_mend(brief: dict[str, Any]) -> None:
    """96 % pigment at 2.4 % of 30 % active matter cannot be made."""
    brief["millbase"] = {**brief["millbase"], "pigment_percent": 96.0}
    study = Study.model_validate(brief)
    row = {**ROW, "wetting agent": 0.1, "dispersant": 0.6, "co-additive": 0.3, "dose": 2.4}

    with pytest.raises(PlanError) as caught:
        weigh_batch(study, row, where="plan.csv, run 12")

    (fault,) = caught.value.faults
    assert fault.where == "plan.csv, run 12"
    assert "no room is left for water" in fault.what
    assert "by 12.7 g" in fault.what
    assert "pigment_percent down to 93.6 or less" in fault.do
    brief["millbase"] = {**brief["millbase"], "pigment_percent": 93.6}
    assert weigh_batch(Study.model_validate(brief), row).water_to_weigh_g >= 0


def test_shares_that_do_not_add_to_one_are_refused(study: Study) -> None:
    """A control may forget a share."""
    with pytest.raises(PlanError, match=r"add to 0\.8"):
        weigh_batch(study, {**ROW, "co-additive": 0.0})


def test_dose_zero_weighs_no_additive(study: Study) -> None:
    """The blank control."""
    recipe = weigh_batch(study, {"dose": 0.0})

    assert [line.as_supplied_g for line in recipe.additives] == [0.0, 0.0, 0.0]


def test_dose_without_a_package_is_weighed_as_active_matter(brief: dict[str, Any]) -> None:
    """Said in a finding, as the water of the additive is unknown."""
    del brief["package"]
    recipe = weigh_batch(Study.model_validate({**brief, "control": []}), {"dose": 2.0})

    assert recipe.additives[0].as_supplied_g == pytest.approx(5.5)
    assert "no package" in recipe.findings[0].what


def test_own_ingredients_stand_in_place_of_the_package(study: Study) -> None:
    """Pigment and total water stay comparable."""
    recipe = weigh_batch(study, {}, control=study.controls[1])

    assert [line.name for line in recipe.lines] == [
        "water", "polyacrylate", "defoamer", "red iron oxide",
    ]  # fmt: skip
    assert recipe.water_to_weigh_g == pytest.approx(500 - 275 - 9 - 2)
    assert recipe.dose is None


def test_own_ingredients_with_the_balance_are_the_whole_recipe(brief: dict[str, Any]) -> None:
    """Nothing is added to a recipe that states its own water."""
    own = [("Water", 180.0), ("Red Iron Oxide", 250.0), ("polyacrylate", 9.0)]
    brief["control"] = [{"name": "old", "ingredient": [{"name": n, "grams": g} for n, g in own]}]
    study = Study.model_validate(brief)
    recipe = weigh_batch(study, {}, control=study.controls[0])

    assert recipe.batch_g == pytest.approx(439.0)
    assert recipe.pigment_g == 250.0
    assert recipe.line("water").as_supplied_g == 180.0


def test_sample_is_let_down_and_tinted(study: Study) -> None:
    """One line a sample."""
    sample = weigh_sample(study, ROW)

    assert sample.draw_g == 60.0
    assert [(line.name, line.as_supplied_g) for line in sample.letdown] == [
        ("mill base", 25.0), ("acrylic dispersion", 75.0),
    ]  # fmt: skip
    assert [(line.name, line.as_supplied_g) for line in sample.tint] == [
        ("let-down", 2.0), ("white paste", 40.0),
    ]  # fmt: skip


def test_package_set_per_sample_is_weighed_into_the_letdown(brief: dict[str, Any]) -> None:
    """25 g mill base carry 13.75 g pigment."""
    brief["package"] = {**brief["package"], "set_per": "sample"}
    study = Study.model_validate(brief)

    assert weigh_batch(study, ROW).additives == ()
    assert weigh_sample(study, ROW).letdown[2].active_g == pytest.approx(13.75 * 0.016 * 0.6)

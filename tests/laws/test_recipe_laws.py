"""Laws of the weigh-out that hold for any recipe."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.recipe.actual import actual_settings
from doe.recipe.weigh import weigh_batch
from doe.study.brief import Study

NAMES = ("wetting agent", "dispersant", "hydrophobic co-additive")
actives = st.lists(st.floats(20, 100), min_size=3, max_size=3)
amounts = st.lists(st.floats(0.01, 1), min_size=3, max_size=3)
doses = st.floats(0.1, 5)


def brief(active_percents: list[float], *, titrated: bool = False) -> Study:
    """Write a brief of 500 g mill base at 45 % pigment with three additives."""
    ph = {"name": "pH", "low": 8.0, "high": 9.5} | ({"set_by": "base"} if titrated else {})
    return Study.model_validate(
        {
            "study": {"title": "law"},
            "millbase": {
                "batch_g": 500.0,
                "pigment_percent": 45.0,
                "ingredient": [{"name": "defoamer", "percent": 0.3, "active_percent": 30.0}],
            },
            "package": {
                "additive": [
                    {"name": name, "low": 0, "high": 1, "active_percent": percent}
                    for name, percent in zip(NAMES, active_percents, strict=True)
                ]
            },
            "factor": [{"name": "dose", "role": "dose", "low": 0.1, "high": 5.0}, ph],
        }
    )


def row(parts: list[float], dose: float) -> dict[str, float | str | None]:
    """Make a row of settings whose shares add to 1."""
    shares = {name: part / sum(parts) for name, part in zip(NAMES, parts, strict=True)}
    return {**shares, "dose": dose, "pH": 8.8}


@given(actives, amounts, doses)
def test_lines_add_to_the_batch(percents: list[float], parts: list[float], dose: float) -> None:
    """Nothing is lost and nothing comes from nowhere."""
    recipe = weigh_batch(brief(percents), row(parts, dose))

    assert sum(line.as_supplied_g for line in recipe.lines) == pytest.approx(500.0, abs=1e-9)


@given(actives, amounts, doses)
def test_each_line_is_active_matter_water_and_solvent(
    percents: list[float], parts: list[float], dose: float
) -> None:
    """As supplied is what is in it."""
    recipe = weigh_batch(brief(percents), row(parts, dose))

    for line in recipe.lines:
        assert line.active_g + line.water_g + line.solvent_g == pytest.approx(line.as_supplied_g)


@given(actives, amounts, doses)
def test_dose_moves_no_solids_but_its_own(
    percents: list[float], parts: list[float], dose: float
) -> None:
    """Total water falls by the active matter of the dose alone, whatever the additives bring."""
    none = weigh_batch(brief(percents), row(parts, 0.0))
    dosed = weigh_batch(brief(percents), row(parts, dose))
    active_g = sum(line.active_g for line in dosed.additives)

    assert dosed.pigment_g == none.pigment_g
    assert none.total_water_g - dosed.total_water_g == pytest.approx(active_g, abs=1e-9)


@given(actives, amounts, doses)
def test_grams_of_the_plan_give_back_its_settings(
    percents: list[float], parts: list[float], dose: float
) -> None:
    """Weighed to plan, actual settings are planned ones."""
    study, planned = brief(percents), row(parts, dose)
    recipe = weigh_batch(study, planned)
    actual = actual_settings(study, {line.name: line.as_supplied_g for line in recipe.lines})

    assert actual == pytest.approx({name: planned[name] for name in (*NAMES, "dose")})


@given(actives, amounts, doses, st.sampled_from(NAMES))
def test_missing_grams_stand_as_planned(
    percents: list[float], parts: list[float], dose: float, given_name: str
) -> None:
    """One weighing to plan, the others blank, changes nothing."""
    study, planned = brief(percents), row(parts, dose)
    grams = {given_name: weigh_batch(study, planned).line(given_name).as_supplied_g}

    assert actual_settings(study, grams, planned) == pytest.approx(
        {name: planned[name] for name in (*NAMES, "dose")}
    )


@given(actives, amounts, doses)
def test_water_held_back_is_part_of_the_water(
    percents: list[float], parts: list[float], dose: float
) -> None:
    """A titrated batch weighs the same water in two steps."""
    plain = weigh_batch(brief(percents), row(parts, dose))
    titrated = weigh_batch(brief(percents, titrated=True), row(parts, dose))

    assert titrated.water_to_weigh_g == plain.water_to_weigh_g
    assert 0 < titrated.held_back_g <= titrated.water_to_weigh_g / 2
    assert titrated.held_back_g <= 0.05 * 500.0

"""A worked mill-base recipe: 1000 g, 60 % pigment, 1.8 % active on pigment, three additives.

Source: the trade's definitions of dose (active mass = pigment × dose / 100; as supplied = active
/ active fraction), worked by hand for this recipe; the dose of 10 % active for a surface of
50 m²/g at 2 mg/m² is the case of a published dispersant note on phthalocyanine blue.
Tolerance: half a unit of the last printed digit.
"""

from __future__ import annotations

import pytest

from doe.recipe.recipe import BatchRecipe
from doe.recipe.weigh import weigh_batch
from doe.study.brief import Study


def mill_base(additives: dict[str, float], dose: float) -> Study:
    """Write the brief of 600 g pigment in 1000 g, with defoamer and biocide."""
    return Study.model_validate(
        {
            "study": {"title": "worked recipe"},
            "millbase": {
                "batch_g": 1000.0,
                "pigment_percent": 60.0,
                "ingredient": [
                    {"name": "defoamer", "percent": 0.3},
                    {"name": "biocide", "percent": 0.2},
                ],
            },
            "package": {
                "additive": [
                    {"name": name, "low": 0.0, "high": 1.0, "active_percent": active}
                    for name, active in additives.items()
                ]
            },
            "factor": [{"name": "dose", "role": "dose", "value": dose}],
        }
    )


@pytest.fixture
def worked() -> BatchRecipe:
    """Weigh the recipe at 15 / 55 / 30 of active matter."""
    study = mill_base(
        {"wetting agent": 70.0, "dispersant": 40.0, "hydrophobic co-dispersant": 35.0}, 1.8
    )
    shares = {"wetting agent": 0.15, "dispersant": 0.55, "hydrophobic co-dispersant": 0.30}
    return weigh_batch(study, shares)


@pytest.mark.parametrize(
    ("name", "active_g", "as_supplied_g", "water_g"),
    [
        ("wetting agent", 1.620, 2.3143, 0.694),
        ("dispersant", 5.940, 14.8500, 8.910),
        ("hydrophobic co-dispersant", 3.240, 9.2571, 6.017),
    ],
)
def test_each_additive_agrees_with_the_worked_recipe(
    worked: BatchRecipe, name: str, active_g: float, as_supplied_g: float, water_g: float
) -> None:
    """Active matter, as supplied and the water inside, line by line."""
    line = worked.line(name)

    assert line.active_g == pytest.approx(active_g, abs=0.0005)
    assert line.as_supplied_g == pytest.approx(as_supplied_g, abs=0.00005)
    assert line.water_g == pytest.approx(water_g, abs=0.0005)


def test_active_matter_of_the_package_is_10_8_g(worked: BatchRecipe) -> None:
    """600 g at 1.8 %."""
    assert sum(line.active_g for line in worked.additives) == pytest.approx(10.8, abs=0.05)


def test_package_as_supplied_weighs_26_4214_g(worked: BatchRecipe) -> None:
    """More than twice the active matter: the two must not be mixed up."""
    assert sum(line.as_supplied_g for line in worked.additives) == pytest.approx(
        26.4214, abs=0.00005
    )


def test_water_inside_the_package_is_15_621_g(worked: BatchRecipe) -> None:
    """What is taken off the water to weigh."""
    assert sum(line.water_g for line in worked.additives) == pytest.approx(15.621, abs=0.0005)


def test_water_to_weigh_is_368_5786_g(worked: BatchRecipe) -> None:
    """1000 − 600 − 26.4214 − 3 − 2."""
    assert worked.water_to_weigh_g == pytest.approx(368.5786, abs=0.00005)


def test_total_water_is_384_2000_g(worked: BatchRecipe) -> None:
    """Weighed water and water inside the additives."""
    assert worked.total_water_g == pytest.approx(384.2000, abs=0.00005)


def test_non_volatile_of_pigment_actives_and_defoamer_is_61_38_percent(
    worked: BatchRecipe,
) -> None:
    """The source leaves the 2 g of biocide out of the non-volatile matter."""
    percent = 100 * (worked.non_volatile_g - worked.line("biocide").active_g) / worked.batch_g

    assert percent == pytest.approx(61.38, abs=0.005)


@pytest.mark.parametrize(
    ("name", "percent"),
    [
        ("wetting agent", 8.7591),
        ("dispersant", 56.2044),
        ("hydrophobic co-dispersant", 35.0365),
    ],
)
def test_shares_as_supplied_differ_from_shares_of_active_matter(
    worked: BatchRecipe, name: str, percent: float
) -> None:
    """Shares are of active matter; on the balance they look different."""
    total_g = sum(line.as_supplied_g for line in worked.additives)

    assert 100 * worked.line(name).as_supplied_g / total_g == pytest.approx(percent, abs=0.00005)


def test_one_additive_of_40_percent_at_1_8_on_pigment() -> None:
    """10.8 g active are 27.0 g as supplied with 16.2 g water: 4.5 % as supplied on pigment."""
    recipe = weigh_batch(mill_base({"dispersant": 40.0}, 1.8), {"dispersant": 1.0})
    line = recipe.line("dispersant")

    assert line.active_g == pytest.approx(10.8, abs=0.05)
    assert line.as_supplied_g == pytest.approx(27.0, abs=0.05)
    assert line.water_g == pytest.approx(16.2, abs=0.05)
    assert 100 * line.as_supplied_g / recipe.pigment_g == pytest.approx(4.5, abs=0.05)

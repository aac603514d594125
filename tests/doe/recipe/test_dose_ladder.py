"""Ladders: their doses, their weigh-outs at constant pigment and water, their settings."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from doe.errors import PlanError
from doe.recipe.dose_ladder import ladder_doses, plan_ladder, widened
from doe.recipe.ladder_settings import ladder_settings
from doe.study.brief import Study

BRIEF: dict[str, Any] = {
    "study": {"title": "t"},
    "millbase": {"batch_g": 500.0, "pigment_percent": 55.0},
    "package": {
        "additive": [
            {"name": "w", "low": 0.05, "high": 0.35, "active_percent": 70.0},
            {"name": "d", "low": 0.35, "high": 0.85, "active_percent": 40.0},
            {"name": "h", "low": 0.10, "high": 0.45, "active_percent": 35.0},
        ]
    },
    "factor": [
        {"name": "dose", "role": "dose", "low": 0.8, "high": 2.4},
        {"name": "pH", "low": 8.0, "high": 9.5},
        {"name": "base", "levels": ["ammonia", "amine"]},
    ],
}


@pytest.fixture
def study() -> Study:
    """Give a package of three with two other factors."""
    return Study.model_validate(BRIEF)


def test_doses_are_even_in_their_logarithm() -> None:
    """Equal ratios, to the rounding of two digits."""
    doses = ladder_doses(0.4, 3.2, 8)
    ratios = [b / a for a, b in pairwise(doses)]

    assert (doses[0], doses[-1], len(doses)) == (0.4, 3.2, 8)
    assert ratios == pytest.approx([8 ** (1 / 7)] * 7, rel=0.08)


def test_widened_range_lies_below_the_demand_too() -> None:
    """Half of the low end, one and a half of the high one."""
    assert widened(2.0, 3.0) == (1.0, 4.5)


@pytest.mark.parametrize(
    ("low", "high", "steps", "grid"),
    [(0.0, 2.0, 8, None), (2.0, 1.0, 8, None), (0.5, 2.0, 5, None), (0.5, 2.0, 11, None),
     (0.5, 0.6, 8, 0.05)],
)  # fmt: skip
def test_impossible_ladders_are_refused(
    low: float, high: float, steps: int, grid: float | None
) -> None:
    """No dose 0 among them, ends in order, 6 to 10 pots, no two doses alike."""
    with pytest.raises(PlanError):
        ladder_doses(low, high, steps, grid)


def test_pigment_and_total_water_are_the_same_in_every_pot(study: Study) -> None:
    """Else the dose would be mixed up with the solids; the control has no additive at all."""
    doses = ladder_doses(0.4, 3.2, 8)
    row = ladder_settings(study, (), ())
    pots = sorted(plan_ladder(study, doses, row, seed=1).pots, key=lambda pot: pot.number)
    recipes = [pot.recipe for pot in pots if pot.recipe]

    assert len(recipes) == 9
    assert [one.pigment_g for one in recipes] == pytest.approx([275.0] * 9)
    assert [one.total_water_g for one in recipes] == pytest.approx([recipes[0].total_water_g] * 9)
    assert sum(line.as_supplied_g for line in recipes[0].additives) == 0
    for pot, recipe in zip(pots, recipes, strict=True):
        active = sum(line.active_g for line in recipe.additives)
        assert active == pytest.approx(275.0 * pot.dose / 100)
        assert recipe.batch_g == pytest.approx(sum(line.as_supplied_g for line in recipe.lines))


def test_middle_pot_is_the_briefs_batch(study: Study) -> None:
    """It weighs batch_g; the others more or less by their active matter."""
    doses = ladder_doses(0.4, 3.2, 8)
    pots = plan_ladder(study, doses, ladder_settings(study, (), ()), seed=1).pots
    masses = {pot.number: pot.recipe.batch_g for pot in pots if pot.recipe}

    assert masses[6] == pytest.approx(500.0)
    assert np.all(np.diff([masses[number] for number in sorted(masses)]) > 0)


def test_order_is_random_by_seed_or_rising_with_a_reason(study: Study) -> None:
    """The same seed gives the same order; a rising one says why."""
    row, doses = ladder_settings(study, (), ()), ladder_doses(0.4, 3.2, 8)
    one, same, other = (plan_ladder(study, doses, row, seed=seed) for seed in (7, 7, 8))
    rising = plan_ladder(study, doses, row, seed=7, ascending_because="one pot")

    assert [pot.dose for pot in one.pots] == [pot.dose for pot in same.pots]
    assert [pot.dose for pot in one.pots] != [pot.dose for pot in other.pots]
    assert [pot.dose for pot in rising.pots] == [0.0, *doses]
    assert "because one pot" in rising.order_words


def test_package_stands_at_the_middle_of_its_corners(study: Study) -> None:
    """The mean of the five corners of the limits: .20, .52, .28, calculated in the trade brief."""
    row = ladder_settings(study, (), ())

    assert [row[name] for name in "wdh"] == pytest.approx([0.20, 0.52, 0.28])
    assert (row["pH"], row["base"]) == (8.75, "ammonia")


def test_shares_and_settings_can_be_given(study: Study) -> None:
    """One share left out is what the others leave."""
    row = ladder_settings(study, [("w", "0.1"), ("D", "0.6")], [("ph", "9"), ("base", "Amine")])

    assert [row[name] for name in "wdh"] == pytest.approx([0.1, 0.6, 0.3])
    assert (row["pH"], row["base"]) == (9.0, "amine")


def test_all_faults_of_given_settings_come_together(study: Study) -> None:
    """Names, levels and numbers."""
    with pytest.raises(PlanError) as caught:
        ladder_settings(study, [("x", "0.1")], [("pH", "high"), ("base", "lime")])

    assert len(caught.value.faults) == 3


def test_too_much_water_in_the_additives_is_refused() -> None:
    """A thick mill base has no room for a weak additive at a high dose."""
    thick = Study.model_validate({**BRIEF, "millbase": {"batch_g": 500, "pigment_percent": 85}})
    with pytest.raises(PlanError, match="dose"):
        plan_ladder(thick, ladder_doses(1, 20, 8), ladder_settings(thick, (), ()), seed=1)

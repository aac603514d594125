"""Trade-offs where the answer is known beforehand: one setting, straight lines."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.choice.again import Search
from analysis.choice.frontier import WORTHLESS, find_frontier
from analysis.choice.least_dose import find_least_dose
from analysis.choice.limit_prices import find_limit_prices, sensible_unit
from analysis.choice.regret import find_least_regret
from analysis.choice.weights import pull_of_views, pull_of_weights
from doe.model.coding import coding_of
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.choice.searches import search_in

HIGH = {"aim": "high", "worst": 0.0, "best": 10.0}


def opposed(**more: Any) -> Search:
    """Two responses of one setting x from 0 to 10: strength is x, dryness 10 − x."""
    study = brief(
        [{"name": "x", "low": 0.0, "high": 10.0}],
        [{"name": "strength", **HIGH}, {"name": "dryness", **HIGH}],
        **more,
    )
    coding = coding_of(study)
    fits = {
        "strength": fit_of(coding, "strength", [5.0, 5.0], model="linear"),
        "dryness": fit_of(coding, "dryness", [5.0, -5.0], model="linear"),
    }
    return search_in(study, fits)


def limited(accept: dict[str, float], *, uptake_aim: bool = False) -> Search:
    """Strength x, uptake 2 x, of one setting from 0 to 10, with a limit on uptake."""
    uptake: dict[str, Any] = {"name": "uptake", "unit": "%", "accept": accept}
    if uptake_aim:
        uptake |= {"aim": "low", "worst": 20.0, "best": 0.0}
    study = brief([{"name": "x", "low": 0.0, "high": 10.0}], [{"name": "strength", **HIGH}, uptake])
    coding = coding_of(study)
    fits = {
        "strength": fit_of(coding, "strength", [5.0, 5.0], model="linear"),
        "uptake": fit_of(coding, "uptake", [10.0, 10.0], model="linear"),
    }
    return search_in(study, fits)


def test_doubling_an_importance_moves_the_compromise_to_its_share() -> None:
    """D = (x/10)^w (1 − x/10)^(1 − w) is greatest at x = 10 w; w is 2/3, then 1/3."""
    pulls = pull_of_weights(opposed())
    told = {(one.response, one.times): float(one.recipe.settings["x"]) for one in pulls}

    assert told == {
        ("strength", 0.5): pytest.approx(10 / 3, abs=1e-4),
        ("strength", 2.0): pytest.approx(20 / 3, abs=1e-4),
        ("dryness", 0.5): pytest.approx(20 / 3, abs=1e-4),
        ("dryness", 2.0): pytest.approx(10 / 3, abs=1e-4),
    }
    assert all(one.moved == pytest.approx(1 / 6, abs=1e-4) for one in pulls)
    assert all(one.gained > 0.0 for one in pulls)


def test_opposite_views_meet_in_the_middle() -> None:
    """Weights 3:1 and 1:3 want x = 7.5 and 2.5; by symmetry the least worst regret is at 5."""
    search = opposed(
        view=[
            {"role": "colourist", "importance": {"strength": 3.0}},
            {"role": "painter", "importance": {"dryness": 3.0}},
        ]
    )
    found = find_least_regret(search)
    best = 0.75**0.75 * 0.25**0.25

    assert [float(one.recipe.settings["x"]) for one in pull_of_views(search)] == [
        pytest.approx(7.5, abs=1e-4), pytest.approx(2.5, abs=1e-4)
    ]  # fmt: skip
    assert found is not None
    assert float(found.recipe.settings["x"]) == pytest.approx(5.0, abs=1e-4)
    assert found.worst == pytest.approx(best - 0.5, abs=1e-6)
    assert [one.view for one in found.views] == ["brief", "colourist", "painter"]


def test_without_views_there_is_no_regret() -> None:
    """One weighting alone regrets nothing."""
    assert find_least_regret(opposed()) is None


def test_a_binding_limit_costs_its_slope() -> None:
    """Uptake 2 x at most 8 allows x = 4, D = 0.4; at most 9 allows 4.5: the price is 0.05."""
    found = find_limit_prices(limited({"at_most": 8.0}))
    (price,) = found.prices

    assert (price.by, price.unit, price.binds) == (1.0, "%", True)
    assert found.within.desirability == pytest.approx(0.4, abs=1e-6)
    assert price.gain == pytest.approx(0.05, abs=1e-6)
    assert price.changes["strength"] == pytest.approx(0.5, abs=1e-5)
    assert not price.beyond_tried


def test_a_limit_with_room_costs_nothing() -> None:
    """D² = x/10 (1 − x/10) is greatest at x = 5, where uptake is 10 and may be 15."""
    (price,) = find_limit_prices(limited({"at_most": 15.0}, uptake_aim=True)).prices

    assert (price.gain, price.binds) == (0.0, False)
    assert price.changes == {"strength": 0.0, "uptake": 0.0}


def test_the_end_of_a_range_has_a_price_and_a_warning() -> None:
    """Strength alone wants x beyond 10, where it would gain if 10 were not its best already."""
    study = brief(
        [{"name": "x", "low": 0.0, "high": 10.0}],
        [{"name": "strength", "aim": "high", "worst": 0.0, "best": 20.0}],
    )
    coding = coding_of(study)
    search = search_in(study, {"strength": fit_of(coding, "strength", [5.0, 5.0], model="linear")})
    (price,) = find_limit_prices(search).prices

    assert (price.kind, price.by) == ("range", 1.0)
    assert price.gain == pytest.approx(0.05, abs=1e-6)
    assert price.beyond_tried


@pytest.mark.parametrize(("given_away", "dose"), [(0.1, 2.7), (0.02, 3.0), (0.25, 2.3)])
def test_the_lowest_dose_is_the_first_mark_that_does_it(given_away: float, dose: float) -> None:
    """D = dose / 3, on marks of 0.1 from 1 to 3: the first with D ≥ 1 − what is given away."""
    study = brief(
        [{"name": "dose", "role": "dose", "low": 1.0, "high": 3.0, "step": 0.1, "unit": "%"}],
        [{"name": "strength", "aim": "high", "worst": 0.0, "best": 3.0}],
        [{"name": "a", "low": 0.0, "high": 1.0}, {"name": "b", "low": 0.0, "high": 1.0}],
    )
    coding = coding_of(study)
    columns = [1.0 if name == "dose" else 2.0 for name in coding.names]
    search = search_in(study, {"strength": fit_of(coding, "strength", columns, model="linear")})
    found = find_least_dose(search, given_away)

    assert found is not None
    assert found.of_compromise == pytest.approx(3.0)
    assert found.dose == pytest.approx(dose)


def test_without_a_dose_there_is_no_lowest_dose() -> None:
    """The factor must be called the dose by its role."""
    assert find_least_dose(opposed()) is None


def test_the_frontier_of_two_opposed_lines_is_the_whole_line() -> None:
    """Every x is non-dominated; the ends are the best of each."""
    found = find_frontier(opposed())

    assert found is not None
    np.testing.assert_allclose(found.values.sum(axis=1), 10.0, atol=1e-6)
    assert found.cover <= 0.01
    assert [found.values[i, j] for j, i in enumerate(found.anchors)] == pytest.approx([10.0, 10.0])


def test_recipes_without_worth_are_written_up_only_if_there_are_no_others() -> None:
    """The ends of the line, of desirability 0, are on the frontier but not in its table."""
    found = find_frontier(opposed())

    assert found is not None
    assert found.desirability.min() < WORTHLESS
    assert all(found.desirability[i] >= WORTHLESS for i in found.shown)
    assert [one.desirability for one in found.recipes] == pytest.approx(
        [float(found.desirability[i]) for i in found.shown]
    )


@pytest.mark.parametrize(
    ("width", "unit"), [(12.0, 1.0), (600.0, 10.0), (0.8, 0.01), (4.0, 1.0), (100.0, 1.0)]
)
def test_a_unit_is_one_where_that_is_sensible(width: float, unit: float) -> None:
    """One unit between a hundredth and a quarter of the ramp, else a power of ten."""
    assert sensible_unit(width) == pytest.approx(unit)

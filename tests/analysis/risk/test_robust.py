"""The robust choice against dense samples, and what it says where nothing differs."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.risk.robust import EQUAL, RobustChoice, RobustQuestion, choose_robustly, fine_chance
from doe.model.coding import coding_of
from doe.model.sampling import sample_region
from doe.study.brief import Study
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.risk.robust_studies import question, two_way, two_way_fits
from tests.analysis.risk.small_studies import certain

DENSE = 300


def _dense(asked: RobustQuestion) -> tuple[np.ndarray, np.ndarray]:
    """Give the joint probability and overall desirability of a dense sample."""
    from analysis.choice.desirability import aims_of
    from analysis.choice.objective import make_objective
    from analysis.surface.noise import NO_NOISE

    rows = sample_region(asked.region, DENSE, np.random.default_rng(4))
    objective = make_objective(asked.surfaces, aims_of(asked.study), (), NO_NOISE)
    chance = fine_chance(asked.model, 77)
    return chance.probability(rows), objective.overall(objective.values(rows))


@pytest.fixture(scope="module")
def asked() -> RobustQuestion:
    """Two responses that pull apart, no steps."""
    study = two_way()
    return question(study, two_way_fits(study), level=0.95)


@pytest.fixture(scope="module")
def found(asked: RobustQuestion) -> RobustChoice:
    """What is found, beside settings that miss the level."""
    return choose_robustly(asked, np.array([2.9, 20.0]))


def test_no_point_of_a_dense_sample_is_better(asked: RobustQuestion, found: RobustChoice) -> None:
    """Neither more probable nor, at the level, more desirable."""
    chance, overall = _dense(asked)
    assert found.most_probable.probability.value >= chance.max() - 5e-4
    best = found.best_at_level
    assert best is not None
    assert best.probability.value >= asked.level
    assert best.recipe.desirability >= overall[chance >= asked.level].max() - 1e-4
    # The level costs something here, or the test would say nothing of it.
    assert best.recipe.desirability < overall.max() - 0.005


def test_both_stand_beside_what_was_asked_about(found: RobustChoice) -> None:
    """Settings, desirability, probability tested and true, each response, and what to weigh."""
    assert [one.name for one in found.standings] == [
        "compromise", "most probable", "best at the level",
    ]  # fmt: skip
    beside, most, best = found.standings
    assert beside.recipe.settings == {"dose": 2.9, "time": 20.0}
    assert beside.probability.value < found.level < most.probability.value
    assert most.recipe.desirability <= best.recipe.desirability
    assert {one.response for one in most.recipe.expected} == {"thinness", "strength"}
    assert any("other settings reach" in one.what for one in found.findings)


def test_on_the_steps_the_choice_is_the_best_mark() -> None:
    """Every mark of 0.25 by 4 minutes is tried by hand; the loss is what rounding gave."""
    study = two_way(step=0.25)
    factors = [one.model_dump(exclude_none=True) for one in study.factors]
    factors[1]["step"] = 4.0
    study = study.model_copy(update={"factors": _factors(study, factors)})
    asked = question(study, two_way_fits(study), level=0.95)
    most = choose_robustly(asked).most_probable
    grid = np.array([(d, t) for d in np.arange(1, 3.01, 0.25) for t in (10, 14, 18, 22, 26, 30.0)])
    chance = fine_chance(asked.model, 77).probability(grid)
    assert most.on_steps
    assert np.any(np.all(np.isclose(most.row, grid), axis=1))
    assert most.probability.value >= chance.max() - EQUAL / 2
    assert 0.0 <= most.loss < 0.05


def _factors(study: Study, bodies: list[dict[str, object]]) -> object:
    kind = type(study.factors)
    return kind(
        type(one).model_validate(body) for one, body in zip(study.factors, bodies, strict=True)
    )


def test_where_probability_is_flat_it_says_anywhere_here() -> None:
    """Nine standard deviations of room: any dose will do, and the most desirable is taken."""
    study = brief(
        [{"name": "dose", "low": 1.0, "high": 3.0}],
        [{"name": "y", "aim": "low", "best": 5.0, "worst": 15.0, "accept": {"at_most": 14.0}}],
    )
    found = choose_robustly(question(study, {"y": certain(coding_of(study), "y", [8, -2.0], 0.2)}))
    assert found.flat_part == 1.0
    (extent,) = found.anywhere
    assert (extent.low, extent.high) == (pytest.approx(1.0), pytest.approx(3.0))
    assert any("almost anywhere here" in one.what for one in found.findings)
    assert found.most_probable.row[0] == pytest.approx(3.0, abs=1e-3)


def test_a_level_out_of_reach_is_said_and_the_best_that_was_found_given() -> None:
    """Half of the batches miss at best."""
    study = brief(
        [{"name": "dose", "low": 1.0, "high": 3.0}],
        [{"name": "y", "aim": "low", "best": 5.0, "worst": 15.0, "accept": {"at_most": 6.0}}],
    )
    found = choose_robustly(question(study, {"y": certain(coding_of(study), "y", [8, -2.0], 1.0)}))
    assert found.best_at_level is None
    assert found.most_probable.probability.value == pytest.approx(0.5, abs=0.01)
    assert any("No settings were found" in one.what for one in found.findings)


def test_choices_and_shares_are_searched_too() -> None:
    """The best level of a choice and a blend inside the package, shares adding to 1."""
    study = brief(
        [{"name": "base", "levels": ["ammonia", "soda"]}],
        [{"name": "y", "accept": {"at_most": 10.0}}],
        [{"name": n, "low": 0.1, "high": 0.7, "weighing_percent": 1.0} for n in "abc"],
    )
    coding = coding_of(study)
    p = len(fit_of(coding, "y", np.zeros(4), model="linear").columns)
    fit = fit_of(coding, "y", [10.0, 12.0, 11.0, 0.7][:p], model="linear", sd=0.5)
    asked = question(study, {"y": fit})
    most = choose_robustly(asked).most_probable
    assert sum(float(most.recipe.settings[n]) for n in "abc") == pytest.approx(1.0)
    rows = sample_region(asked.region, 400, np.random.default_rng(1))
    assert most.probability.value >= fine_chance(asked.model, 5).probability(rows).max() - 1e-3

"""Scatter of production: what a brief states, and grams carried back into shares and dose."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.risk.stated import scatter_of
from doe.model.coding import coding_of
from doe.recipe.weigh import actual_package, weigh_batch, weigh_sample
from doe.study.brief import Study
from tests.analysis.choice.problems import brief

ADDITIVES = [
    {"name": "wetting agent", "low": 0.1, "high": 0.4, "active_percent": 60.0,
     "weighing_percent": 2.0},
    {"name": "dispersant", "low": 0.4, "high": 0.8, "active_percent": 40.0,
     "weighing_percent": 1.0},
    {"name": "co-additive", "low": 0.0, "high": 0.3, "active_percent": 30.0},
]  # fmt: skip
DOSE = {"name": "dose", "role": "dose", "low": 0.8, "high": 2.4, "unit": "% on pigment"}


def _package(set_per: str = "batch") -> Study:
    return Study.model_validate(
        {
            "study": {"title": "invented"},
            "pigment": {"name": "red", "weighing_percent": 0.5},
            "millbase": {"batch_g": 500.0, "pigment_percent": 55.0},
            "letdown": {"millbase_g": 25.0},
            "package": {"set_per": set_per, "additive": ADDITIVES},
            "factor": [DOSE],
            "response": [{"name": "y", "accept": {"at_most": 1.0}}],
        }
    )


@pytest.mark.parametrize("set_per", ["batch", "sample"])
def test_grams_weighed_wrong_give_the_shares_and_dose_of_the_recipe(set_per: str) -> None:
    """Weigh out, put an error on each grams, and read back as from a bench's record."""
    study = _package(set_per)
    scatter = scatter_of(study, coding_of(study))
    z = np.random.default_rng(4).standard_normal((5, len(scatter.sources)))
    nominal = np.array([0.2, 0.6, 0.2, 1.4])
    found = scatter.settings(nominal, z)
    row = dict(zip(study.setting_names, nominal, strict=True))
    lines = weigh_batch(study, row).lines
    if set_per == "sample":
        lines = weigh_sample(study, row).letdown

    assert scatter.names == (
        "weighing of wetting agent", "weighing of dispersant", "weighing of red",
    )  # fmt: skip
    for i, (wetting, dispersant, pigment) in enumerate(z):
        errors = {"wetting agent": 0.02 * wetting, "dispersant": 0.01 * dispersant}
        grams = {
            line.name: line.as_supplied_g * (1 + errors.get(line.name, 0.0))
            for line in lines
            if line.kind == "additive"
        }
        red_g, batch_g = 275.0 * (1 + 0.005 * pigment), 500.0 + 275.0 * 0.005 * pigment
        grams["red"] = red_g if set_per == "batch" else 25.0 * red_g / batch_g
        actual = actual_package(study, grams)
        np.testing.assert_allclose(found[i, :3], list(actual.shares.values()), rtol=1e-12)
        assert found[i, 3] == pytest.approx(actual.dose, rel=1e-12)
        assert found[i, :3].sum() == pytest.approx(1.0, abs=1e-12)


def test_each_setting_scatters_as_the_brief_says() -> None:
    """Sd as stated, a tolerance as two of them, noise about its mean, a level as a number."""
    study = brief(
        [
            {"name": "pH", "low": 8.0, "high": 9.5, "scatter_sd": 0.1},
            {"name": "time", "low": 15.0, "high": 45.0, "tolerance": 6.0},
            {"name": "beads", "levels": [0.4, 0.8, 1.2], "scatter_sd": 0.02},
            {"name": "base", "levels": ["ammonia", "amine"]},
            {"name": "heat", "low": 25, "high": 45, "noise": True,
             "production": {"mean": 33, "sd": 4}},
            {"name": "lot", "levels": ["a", "b", "c"], "noise": True},
        ],
        [{"name": "y", "accept": {"at_most": 1.0}}],
    )  # fmt: skip
    scatter = scatter_of(study, coding_of(study))
    z = np.random.default_rng(4).standard_normal((40_000, len(scatter.sources)))
    found = scatter.settings(np.array([8.8, 30.0, 0.8, 1.0, np.nan, np.nan]), z)

    np.testing.assert_allclose(found[:, :5].mean(0), [8.8, 30, 0.8, 1, 33], rtol=2e-3)
    np.testing.assert_allclose(found[:, :5].std(0), [0.1, 3, 0.02, 0, 4], rtol=0.02)
    np.testing.assert_allclose(np.bincount(found[:, 5].astype(int)) / 40_000, 1 / 3, atol=0.01)
    assert any("± 2 standard deviations" in one.what for one in scatter.findings)
    assert not any("'time'" in one.what for one in scatter.findings if one.level == "caution")


def test_what_falls_below_zero_is_cut_and_counted() -> None:
    """Time 1 ± 1 min: Φ(−1) of the draws would lie below 0."""
    factors = [{"name": "time", "low": 0.0, "high": 45.0, "scatter_sd": 1.0}]
    study = brief(factors, [{"name": "y", "accept": {"at_most": 1.0}}])
    scatter = scatter_of(study, coding_of(study))
    z = np.random.default_rng(4).standard_normal((20_000, 1))

    assert scatter.settings(np.array([1.0]), z).min() == 0.0
    assert scatter.cut(np.array([1.0]), z)[0] == pytest.approx(0.1587, abs=0.01)


def test_a_hair_beyond_the_end_is_not_called_outside() -> None:
    """A hundredth of the range is allowed for, as choices lie at ends."""
    study = brief(
        [{"name": "time", "low": 10.0, "high": 20.0}], [{"name": "y", "accept": {"at_most": 1.0}}]
    )
    scatter = scatter_of(study, coding_of(study))
    assert list(scatter.outside(np.array([[9.95], [9.85], [20.05], [20.2]]))) == [
        False, True, False, True,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({}, "no production scatter of 'time'"),
        ({"tolerance": 2.0}, "± 2 standard deviations of production"),
    ],
)
def test_what_is_assumed_is_said(more: dict[str, Any], words: str) -> None:
    """A setting without a stated scatter counts as exact, and the team must know."""
    factors = [{"name": "time", "low": 10.0, "high": 20.0, **more}]
    study = brief(factors, [{"name": "y", "accept": {"at_most": 1.0}}])
    said = scatter_of(study, coding_of(study)).findings
    assert any(words in one.what for one in said)


def test_an_additive_dosed_alone_is_weighed_with_the_error_of_its_level() -> None:
    """Levels stand for additives of their own: only the second has a weighing error."""
    study = Study.model_validate(
        {
            "study": {"title": "invented"},
            "millbase": {"batch_g": 500.0, "pigment_percent": 55.0},
            "material": [{"name": "old"}, {"name": "new", "weighing_percent": 3.0}],
            "factor": [DOSE, {"name": "chemistry", "levels": ["old", "new"]}],
            "response": [{"name": "y", "accept": {"at_most": 1.0}}],
        }
    )
    scatter = scatter_of(study, coding_of(study))
    z = np.array([[1.0], [-2.0]])
    np.testing.assert_allclose(scatter.settings(np.array([1.5, 0.0]), z)[:, 0], 1.5)
    np.testing.assert_allclose(
        scatter.settings(np.array([1.5, 1.0]), z)[:, 0], [1.5 * 1.03, 1.5 * 0.94]
    )

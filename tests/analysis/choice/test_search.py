"""The choice of the compromise on briefs whose answer is known."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from analysis.choice.compromise import Compromise
from analysis.choice.search import choose_compromise
from analysis.fits.fit import Fit, Scale
from doe.errors import OptimumError
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.study.brief import Study
from tests.analysis.choice.problems import brief, fit_of

DOSE = {"name": "dose", "low": 1.0, "high": 3.0, "unit": "%", "role": "dose"}
PH = {"name": "pH", "low": 8.0, "high": 10.0}
VISCOSITY = {"name": "viscosity", "unit": "mPa·s", "aim": "low", "best": 800, "worst": 3000}
UPTAKE = {"name": "water uptake", "unit": "%", "aim": "low", "best": 5, "worst": 15}


def _choose(study: Study, fits: Mapping[str, Fit], **more: Any) -> Compromise:
    return choose_compromise(study, region_of(study), fits, rng=np.random.default_rng(3), **more)


def _linear(study: Study, name: str, *coefficients: float, **more: Any) -> Fit:
    return fit_of(coding_of(study), name, coefficients, model="linear", **more)


def _opposed(**more: Any) -> tuple[Study, dict[str, Fit]]:
    """Write a study in which dose thins the millbase and makes the film thirsty.

    Viscosity 1900 − 1100 x, water uptake 10 + 5 x, x the coded dose: d = (1 + x)/2 and
    (1 − x)/2, so that equal importances meet in the middle with D = 0.5.
    """
    study = brief([DOSE], [VISCOSITY, UPTAKE], **more)
    return study, {
        "viscosity": _linear(study, "viscosity", 1900.0, -1100.0, unit="mPa·s"),
        "water uptake": _linear(study, "water uptake", 10.0, 5.0, unit="%"),
    }


def test_two_opposed_responses_meet_in_the_middle() -> None:
    """By symmetry; D = 0.5."""
    compromise = _choose(*_opposed())

    assert compromise.best.settings["dose"] == pytest.approx(2.0, abs=1e-6)
    assert compromise.best.desirability == pytest.approx(0.5, abs=1e-9)


def test_a_view_pulls_the_compromise_to_its_response() -> None:
    """With weights 3 and 1, (1 + x)³(1 − x) is greatest at x = 1/2."""
    view = [{"role": "production", "importance": {"viscosity": 3.0}}]
    compromise = _choose(*_opposed(view=view), view="production")

    assert compromise.best.settings["dose"] == pytest.approx(2.5, abs=1e-6)
    assert compromise.view == "production"


def test_settings_lie_on_the_bench_steps_with_the_loss_stated() -> None:
    """Marks count from the low end: 1.0, 1.3, 1.6, 1.9, 2.2; 1.9 is nearest to 2."""
    study = brief([DOSE | {"step": 0.3}], [VISCOSITY, UPTAKE])
    fits = {
        "viscosity": _linear(study, "viscosity", 1900.0, -1100.0),
        "water uptake": _linear(study, "water uptake", 10.0, 5.0),
    }
    compromise = _choose(study, fits)

    assert compromise.best.settings["dose"] == 1.9
    assert compromise.unrounded.settings["dose"] == pytest.approx(2.0, abs=1e-6)
    assert compromise.loss == pytest.approx(0.5 - np.sqrt(0.45 * 0.55), abs=1e-9)


def test_shares_on_steps_add_up() -> None:
    """Three shares in steps of 0.05; the best blend (0.3, 0.4, 0.3) is lost to none of them."""
    additives = [{"name": n, "low": 0.0, "high": 1.0, "step": 0.05} for n in ("a", "b", "c")]
    targets = [
        {"name": n, "aim": "target", "worst_low": t - 0.3, "best": t, "worst_high": t + 0.3}
        for n, t in (("r", 0.31), ("s", 0.41), ("t", 0.28))
    ]
    study = brief([], targets, additives)
    fits = {n: _linear(study, n, *row) for n, row in zip("rst", np.eye(3), strict=True)}
    settings = _choose(study, fits).best.settings

    assert sum(float(v) for v in settings.values()) == pytest.approx(1.0, abs=1e-12)
    assert settings == {"a": 0.3, "b": 0.4, "c": 0.3}


def test_accept_does_not_bind_but_what_it_breaks_is_named() -> None:
    """At the middle viscosity is 1900, above its limit."""
    study, fits = _opposed()
    tight = VISCOSITY | {"accept": {"at_most": 1350}}
    study = study.model_copy(update={"responses": brief([], [tight, UPTAKE]).responses})
    compromise = _choose(study, fits)

    assert compromise.best.settings["dose"] == pytest.approx(2.0, abs=1e-6)
    (sentence,) = compromise.unmet
    assert "viscosity" in sentence
    assert "at most 1350 mPa·s" in sentence
    assert compromise.best.expected[0].accepted is False


def test_within_limits_stops_at_the_limit() -> None:
    """1900 − 1100 x = 1350 at x = 1/2."""
    study, fits = _opposed()
    tight = VISCOSITY | {"accept": {"at_most": 1350}}
    study = study.model_copy(update={"responses": brief([], [tight, UPTAKE]).responses})
    compromise = _choose(study, fits, within_limits=True)

    assert compromise.best.settings["dose"] == pytest.approx(2.5, abs=1e-6)
    assert compromise.unmet == ()
    assert any("viscosity at most 1350" in sentence for sentence in compromise.binding)


def test_limits_that_exclude_each_other_are_named_with_the_nearest_miss() -> None:
    """Viscosity at most 1350 needs x ≥ 0.5, water uptake at most 10 needs x ≤ 0."""
    study, fits = _opposed()
    goals = [VISCOSITY | {"accept": {"at_most": 1350}}, UPTAKE | {"accept": {"at_most": 10}}]
    study = study.model_copy(update={"responses": brief([], goals).responses})
    compromise = _choose(study, fits, within_limits=True)
    stops = [f.what for f in compromise.findings if f.level == "stop"]

    assert "nearest miss" in stops[0]
    assert "'viscosity' and 'water uptake' exclude each other" in stops[1]
    assert compromise.best.settings["dose"] == pytest.approx(2.25, abs=1e-5)


def test_a_response_that_alone_stands_in_the_way_is_named() -> None:
    """Viscosity never gets below 3100."""
    study = brief([DOSE], [VISCOSITY, UPTAKE])
    fits = {
        "viscosity": _linear(study, "viscosity", 3200.0, -100.0, unit="mPa·s"),
        "water uptake": _linear(study, "water uptake", 10.0, 5.0),
    }
    compromise = _choose(study, fits)
    stops = [f for f in compromise.findings if f.level == "stop"]

    assert compromise.best.desirability == 0.0
    assert "'viscosity' stands in the way" in stops[1].what
    assert stops[1].evidence["best reached"] == pytest.approx(3100.0, abs=1e-3)
    assert not any("water uptake" in stop.what for stop in stops)
    assert compromise.best.settings["dose"] == pytest.approx(3.0, abs=1e-6)


def test_two_responses_that_exclude_each_other_are_named() -> None:
    """Each is useful somewhere, nowhere both: x > 0.5 against x < −0.5."""
    study = brief([DOSE], [VISCOSITY, UPTAKE])
    fits = {
        "viscosity": _linear(study, "viscosity", 3550.0, -1100.0),
        "water uptake": _linear(study, "water uptake", 17.5, 5.0),
    }
    compromise = _choose(study, fits)
    stops = [f.what for f in compromise.findings if f.level == "stop"]

    assert compromise.best.desirability == 0.0
    assert "'viscosity' and 'water uptake' exclude each other" in stops[1]
    assert compromise.best.settings["dose"] == pytest.approx(2.0, abs=1e-5)


def test_the_edge_of_a_range_asks_for_a_wider_range() -> None:
    """Dose only helps: it ends at 3 %, and the models promise more."""
    study = brief([DOSE], [VISCOSITY])
    compromise = _choose(study, {"viscosity": _linear(study, "viscosity", 1900.0, -500.0)})

    assert compromise.best.settings["dose"] == pytest.approx(3.0)
    assert any("'dose'" in sentence for sentence in compromise.binding)
    assert any("do not extrapolate" in f.advice for f in compromise.findings)


def test_a_setting_without_influence_stays_in_its_middle() -> None:
    """Nothing depends on pH."""
    study = brief([DOSE, PH], [VISCOSITY, UPTAKE])
    fits = {
        "viscosity": _linear(study, "viscosity", 1900.0, -1100.0, 0.0),
        "water uptake": _linear(study, "water uptake", 10.0, 5.0, 0.0),
    }
    settings = _choose(study, fits).best.settings

    assert settings["pH"] == pytest.approx(9.0, abs=1e-3)
    assert settings["dose"] == pytest.approx(2.0, abs=1e-4)


def test_of_perfect_settings_the_one_furthest_beyond_best_is_taken() -> None:
    """Both are as good as need be from x = −0.4 to 0.4; they have equally much to spare at 0."""
    study = brief([DOSE], [VISCOSITY, UPTAKE])
    fits = {
        "viscosity": _linear(study, "viscosity", 360.0, -1100.0),
        "water uptake": _linear(study, "water uptake", 3.0, 5.0),
    }
    compromise = _choose(study, fits)

    assert compromise.best.desirability == 1.0
    assert compromise.best.settings["dose"] == pytest.approx(2.0, abs=1e-4)


def test_rivals_on_two_hills_are_found() -> None:
    """Viscosity is lowest at both ends of pH and nearly as low at the lower one."""
    study = brief([PH], [VISCOSITY])
    fits = {"viscosity": fit_of(coding_of(study), "viscosity", [2200.0, -10.0, -1000.0])}
    compromise = _choose(study, fits)

    assert compromise.best.settings["pH"] == pytest.approx(10.0)
    assert len(compromise.alternatives) == 1
    assert compromise.alternatives[0].settings["pH"] == pytest.approx(8.0)


def test_a_named_choice_and_its_own_range_are_searched() -> None:
    """Each chemistry has its own dose range; the better one is found with its own best dose."""
    chemistry = {"name": "chemistry", "levels": ["polyacrylate", "multi-anchor"]}
    ranged = {
        "name": "dose",
        "unit": "%",
        "range": [
            {"when": {"chemistry": "polyacrylate"}, "low": 0.5, "high": 1.5},
            {"when": {"chemistry": "multi-anchor"}, "low": 2.0, "high": 6.0},
        ],
    }
    study = brief([ranged, chemistry], [VISCOSITY])
    coding = coding_of(study)
    plain = fit_of(coding, "viscosity", np.zeros(4), model="linear")
    labels = [(c.term.powers, c.levels) for c in plain.columns]
    coefficients = []
    for powers, _ in labels:
        names = [name for name, _ in powers]
        both = {"dose", "chemistry"} <= set(names)
        # 1500 − 300 x + 100 c + 200 x c; c is +1 for polyacrylate, −1 for multi-anchor.
        coefficients.append(
            200.0 if both else -300.0 if "dose" in names else 100.0 if names else 1500.0
        )
    compromise = _choose(
        study, {"viscosity": fit_of(coding, "viscosity", coefficients, model="linear")}
    )

    assert compromise.best.settings == {"dose": pytest.approx(6.0), "chemistry": "multi-anchor"}
    assert compromise.best.expected[0].value == pytest.approx(1500 - 300 - 100 - 200)


def test_noise_factors_are_averaged_and_not_chosen() -> None:
    """(x + z)² with z of mean 0 and sd 0.5 averages to x² + 0.25: best at x = 0, value 0.25."""
    temperature = {
        "name": "mill temperature",
        "low": 25,
        "high": 45,
        "noise": True,
        "production": {"mean": 35, "sd": 5},
    }
    goal = {"name": "spread", "aim": "low", "best": 0, "worst": 1}
    study = brief([DOSE, temperature], [goal])
    coding = coding_of(study)
    plain = fit_of(coding, "spread", np.zeros(6))
    coefficients = []
    for column in plain.columns:
        degree = sum(power for _, power in column.term.powers)
        crossed = len(column.term.powers) == 2
        coefficients.append(0.0 if degree < 2 else 2.0 if crossed else 1.0)
    compromise = _choose(study, {"spread": fit_of(coding, "spread", coefficients)})

    assert set(compromise.best.settings) == {"dose"}
    assert compromise.best.settings["dose"] == pytest.approx(2.0, abs=1e-5)
    assert compromise.best.expected[0].value == pytest.approx(0.25, abs=1e-9)
    assert "averaged over production of mill temperature" in compromise.best.expected[0].predict_for


def test_a_pending_response_is_left_out_and_said() -> None:
    """Water uptake has no model: dose goes up, with a caution."""
    study, fits = _opposed()
    compromise = _choose(study, {"viscosity": fits["viscosity"]})

    assert compromise.best.settings["dose"] == pytest.approx(3.0)
    assert any("'water uptake' has no model yet" in f.what for f in compromise.findings)


def test_no_model_for_any_aim_is_refused() -> None:
    """There is nothing to choose on."""
    study, _ = _opposed()

    with pytest.raises(OptimumError, match="no response with an aim has a model"):
        _choose(study, {})


def test_a_logarithmic_scale_is_weighed_in_its_own_unit() -> None:
    """Median exp(7 − x): the ramp between 3000 and 800 is straight in mPa·s."""
    study = brief([DOSE], [VISCOSITY])
    fit = _linear(study, "viscosity", 7.0, -0.2, scale=Scale(name="log"))
    expected = _choose(study, {"viscosity": fit}).best.expected[0]

    assert expected.value == pytest.approx(np.exp(6.8))
    assert expected.value_is == "median"
    assert expected.desirability == pytest.approx((3000 - np.exp(6.8)) / 2200)


def test_a_forbidden_corner_is_kept_out_of() -> None:
    """The best corner is forbidden: the search stops at its edge."""
    study = brief([DOSE, PH], [VISCOSITY], forbid=[{"settings": {"dose": "> 2.0", "pH": "> 9.0"}}])
    fits = {"viscosity": _linear(study, "viscosity", 1900.0, -500.0, -400.0)}
    settings = _choose(study, fits).best.settings

    assert settings["dose"] == pytest.approx(3.0)
    assert settings["pH"] == pytest.approx(9.0, abs=1e-5)


def test_a_response_that_does_not_vary_gives_one_answer_and_says_so() -> None:
    """Every recipe is as good; four alternatives would look like a finding."""
    study = brief([{"name": "dose", "low": 1.0, "high": 3.0}, {"name": "pH", "low": 8, "high": 9}],
                  [{"name": "viscosity", "aim": "low", "best": 500, "worst": 2000}])  # fmt: skip
    fits = {"viscosity": fit_of(coding_of(study), "viscosity", [1250.0, 0, 0], model="linear")}
    found = choose_compromise(study, region_of(study), fits, rng=np.random.default_rng(1))

    assert found.best.desirability == pytest.approx(0.5)
    assert (found.alternatives, found.by_level) == ((), ())
    assert any("Nothing tells recipes apart" in one.what for one in found.findings)

"""Reducing is never silent: the full model stands beside the reduced one, tried out or kept."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from doe.cli.show_models import show_fit
from doe.steps.adopt import adopt_table
from doe.steps.choose import choose_study
from doe.steps.fit import FitOptions, fit_study
from tests.journeys.briefs import factors, study_of

AIM = '[[response]]\nname = "y"\nper = "batch"\naim = "high"\nworst = 3\nbest = 7\n'


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Two factors, of which one acts; 22 runs."""
    rng = np.random.default_rng(4)
    lines = ["z1,z2,y"]
    for _ in range(22):
        a, b = rng.uniform(-1, 1, 2)
        lines.append(f"{a:.3f},{b:.3f},{5 + a - a * a + 0.3 * rng.normal():.4f}")
    made = study_of(tmp_path / "s", factors(2), AIM)
    (tmp_path / "t.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(tmp_path / "t.csv", made)
    return made


def test_full_and_reduced_stand_side_by_side(study: Path) -> None:
    """Terms dropped, AICc, predicted R² and residual sd of both, on screen and in JSON."""
    plain = fit_study(study, FitOptions(model="quadratic"))
    outcome = fit_study(study, FitOptions(model="quadratic", reduce=True))
    one = outcome.contract()["responses"]["y"]
    whole = plain.contract()["responses"]["y"]

    assert whole["full"] is None
    assert whole["near_models"] is None
    for name in ("aicc", "r2_predicted", "residual_sd"):
        assert one["full"][name] == whole[name]
        assert one[name] != whole[name]
    assert set(one["full"]["dropped"]) == set(whole["terms"]) - set(one["terms"])
    near = one["near_models"]
    assert near["complete"]
    assert near["models"][0]["terms"] == one["terms"]
    assert near["models"][0]["aicc"] == pytest.approx(one["aicc"], abs=1e-9)
    assert sum(entry["weight"] for entry in near["models"]) == pytest.approx(1)
    shown = show_fit(outcome)
    assert "the full model and the one in use" in shown
    assert f"{one['full']['aicc']:.2f}" in shown


def test_a_kept_model_keeps_its_full_one_beside(study: Path) -> None:
    """Later commands show it without being asked."""
    fit_study(study, FitOptions(model="quadratic", reduce=True, keep=True))
    later = fit_study(study).contract()["responses"]["y"]
    whole = fit_study(study, FitOptions(model="quadratic")).contract()["responses"]["y"]

    assert later["full"]["way"] == "choice"
    assert later["full"]["aicc"] == whole["aicc"]
    # A smaller model of the kept one is set beside the whole model as well.
    again = fit_study(study, FitOptions(reduce=True)).contract()["responses"]["y"]
    assert again["full"] is not None
    assert again["full"]["aicc"] == whole["aicc"]


def test_backward_and_best_are_both_to_be_had(study: Path) -> None:
    """The best model is at least as good as what leaving out step by step comes to."""
    aicc = {
        by: fit_study(study, FitOptions(model="quadratic", reduce=True, reduce_by=by))
        .analysis.fitted["y"]
        .assessment.aicc
        for by in ("best", "backward")
    }

    assert aicc["best"] is not None
    assert aicc["backward"] is not None
    assert aicc["best"] <= aicc["backward"] + 1e-9


def test_choosing_with_reduced_models_tells_what_the_full_ones_choose(study: Path) -> None:
    """Settings and desirability of both, the full ones as a study without reduction has them."""
    fit_study(study, FitOptions(model="quadratic", keep=True))
    full = choose_study(study).contract()
    fit_study(study, FitOptions(model="quadratic", reduce=True, keep=True))
    outcome = choose_study(study)
    told = outcome.contract()["with_full_models"]

    assert full["with_full_models"] is None
    assert told["responses"] == ["y"]
    assert told["settings"] == full["settings"]
    assert told["desirability"] == pytest.approx(full["desirability"], abs=1e-9)
    assert {move["setting"] for move in told["moves"]} == set(full["settings"])
    for move in told["moves"]:
        assert move["full"] == full["settings"][move["setting"]]
        assert move["reduced"] == outcome.compromise.best.settings[move["setting"]]
    # z2 does nothing: without its terms the reduced model has no reason to move it.
    assert any("full models of 'y'" in finding.what for finding in outcome.findings)

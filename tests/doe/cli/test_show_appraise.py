"""The screen of `appraise`: plain words before symbols."""

from __future__ import annotations

from pathlib import Path

from doe.cli.show_appraise import show_appraise
from doe.steps.appraise import AppraiseOptions, appraise_study
from doe.steps.plan import PlanOptions, plan_study
from tests.journeys.briefs import RESPONSE, factors, study_of


def test_efficiencies_and_aliases_are_said_in_words(tmp_path: Path) -> None:
    """No row of bare letters; an effect outside the model puts an estimate off by a part of it."""
    study = study_of(tmp_path / "s", factors(3), RESPONSE)
    plan_study(study, PlanOptions(layout="fractional factorial", model="linear", runs=4))
    text = show_appraise(appraise_study(study, AppraiseOptions(sizes=False, figures=False)))

    assert "D, A, G" not in text
    assert "coefficients, all together (D" in text
    assert "prediction at its worst (G" in text
    assert "takes up" not in text
    assert "z1 by +1.00 times z2 × z3" in text or "z1 by −1.00 times z2 × z3" in text

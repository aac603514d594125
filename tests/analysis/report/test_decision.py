"""What the half page for the decision says is to be done next."""

from __future__ import annotations

from analysis.report.content import Provenance, ReportContent
from analysis.report.decision import make_decision
from doe.study.status import StatusLine
from tests.analysis.fits.adopted_table import range_factor, study_of


def test_what_the_models_ask_for_comes_before_what_is_waited_for() -> None:
    """Nothing may rest on a model before that is done."""
    content = ReportContent(
        study=study_of(factors=[range_factor("x")]),
        provenance=Provenance(version="0"),
        status=(StatusLine(state="waiting", text="Readings: two runs wait."),),
        model_steps=("Look at run 12.",),
    )

    assert make_decision(content).next_steps == ("Look at run 12.", "Readings: two runs wait.")

"""Correction for drift as the step `fit` makes it, keeps it and tells it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.report.appendix_tables import quality_table
from doe.cli.app import run
from doe.cli.show_models import show_fit
from doe.steps.adopt import adopt_table
from doe.steps.fit import FitOptions, FitOutcome, fit_study
from doe.steps.predict import predict_study
from doe.steps.session import open_study
from tests.journeys.briefs import factors, study_of

RESPONSE = '[[response]]\nname = "gloss"\nunit = "GU"\nper = "batch"\n'
SLOPE = 0.2


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Adopt eighteen runs of two factors, their gloss rising by 0.2 GU a run."""
    made = study_of(tmp_path / "s", factors(2), RESPONSE)
    rng = np.random.default_rng(6)
    grid = [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)] * 2
    lines = ["z1,z2,gloss"]
    for place, (a, b) in enumerate(rng.permutation(grid)):
        lines.append(f"{a},{b},{60 + a - b + SLOPE * place + 0.2 * rng.normal():.4f}")
    (tmp_path / "table.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(tmp_path / "table.csv", made)
    return made


def drift_of(outcome: FitOutcome) -> dict[str, Any]:
    """Give the contract's word on drift."""
    drift: dict[str, Any] = outcome.contract()["responses"]["gloss"]["drift"]
    return drift


def test_a_correction_is_asked_for_kept_and_taken_back(study: Path) -> None:
    """On record as the model is; without a word what is kept holds, for `predict` as well."""
    plain = predict_study(study, at=("z1=0", "z2=0")).contract()["rows"][0]["predictions"]["gloss"]
    assert drift_of(fit_study(study)) == {
        "corrected": False, "told_by": None, "slope": None, "interval": None, "unit": "GU a run",
        "df": None, "p": None, "middle": None, "moved": [], "predicted": None,
    }  # fmt: skip

    tried = fit_study(study, FitOptions(correct_drift=True))
    assert tried.files == ()
    assert open_study(study).choices.response("gloss").correct_drift is None

    fit_study(study, FitOptions(correct_drift=True, keep=True, because="worn beads", role="lab"))
    kept = open_study(study).choices.response("gloss")
    assert (kept.correct_drift, kept.because) == (True, "worn beads")
    told = drift_of(fit_study(study))
    assert told["corrected"] is True
    assert told["slope"] == pytest.approx(SLOPE, abs=0.05)
    assert told["interval"][0] < SLOPE < told["interval"][1]
    assert told["middle"] == 9.5
    now = predict_study(study, at=("z1=0", "z2=0")).contract()["rows"][0]["predictions"]["gloss"]
    assert np.diff(now["mean_interval"]) < np.diff(plain["mean_interval"])

    fit_study(study, FitOptions(correct_drift=False, keep=True, because="no cause found"))
    assert open_study(study).choices.response("gloss").correct_drift is None
    assert drift_of(fit_study(study))["corrected"] is False


def test_both_fits_are_shown_side_by_side(study: Path) -> None:
    """What moved, and what is predicted with and without, in contract, on screen and in words."""
    outcome = fit_study(study, FitOptions(correct_drift=True))
    told, screen = drift_of(outcome), show_fit(outcome)
    predicted = told["predicted"]

    assert isinstance(predicted, dict)
    assert predicted["where"] == "in the middle of the region"
    assert predicted["corrected"] != predicted["uncorrected"]
    assert "predicted in the middle of the region" in screen
    assert "Without and with the correction for drift" in screen
    assert "drift along the order" in {
        row["source"] for row in outcome.contract()["responses"]["gloss"]["anova"]
    }


def test_the_report_names_the_correction(study: Path) -> None:
    """In the table of the model as a whole; without one the line is not there."""
    name = "corrected for drift with order as done"
    for corrected in (True, False):
        one = fit_study(study, FitOptions(correct_drift=corrected)).analysis.fitted["gloss"]
        rows = {
            cells[0].text: cells[1].text for cells in quality_table(one.fit, one.assessment).rows
        }

        assert (name in rows) is corrected
        if corrected:
            assert "GU a run" in rows[name]


def test_the_command_takes_the_option(study: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And leaves with 0, the choice on record."""
    arguments = ["fit", str(study), "--correct-drift", "--keep", "--because", "worn beads"]

    assert run(arguments) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "is corrected for a straight drift along the order as done" in said
    assert "correct_drift = true" in (study / "choices.toml").read_text(encoding="utf-8")

"""The step `demo`: the whole way on an invented study, from the brief to the agreement."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from doe.sheets.workbook import workbook_bytes
from doe.steps.agree import AgreeOutcome
from doe.steps.choose import ChooseOptions, choose_study
from doe.steps.contract import envelope
from doe.steps.enter import EnterOutcome, enter_files
from doe.steps.fit import FitOptions, fit_study
from doe.steps.invented import SOURCE
from doe.steps.invented.agreeing import agree_invented
from doe.steps.invented.entries import invented_entries
from doe.steps.note import NoteOptions, note_study
from doe.steps.plan import PlanOptions, plan_study
from doe.steps.report import ReportOutcome, report_study
from doe.steps.risk import assess_study_risk
from doe.steps.session import study_folder
from doe.steps.sheet import make_sheets
from doe.study.finding import Finding
from doe.study.folder import StudyFolder
from doe.study.readings import Readings

FILLED = f"sheets/{SOURCE}-readings.xlsx"
COLOUR = f"sheets/{SOURCE}-reflectance.csv"
# Enough for the 21 terms of blend, dose, pH and time with something left to judge them by.
DEMO_RUNS = 40
# A short search: the demo is to be looked at within half a minute.
DEMO_STARTS = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DemoOutcome:
    """What the demo made."""

    n_runs: int
    n_readings: int
    n_fitted: int
    agreed: AgreeOutcome
    report: ReportOutcome
    is_no: bool = False

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Nothing beside what the report says."""
        return ()

    def contract(self) -> dict[str, Any]:
        """Give the object that `demo --json` prints."""
        body = {
            "runs": self.n_runs,
            "readings": self.n_readings,
            "fitted": self.n_fitted,
            "agreement": self.agreed.contract()["state"],
            "formula_card": self.agreed.contract()["card"],
            "report": str(self.report.page),
            "invented": True,
        }
        return envelope(body, inputs=self.report.session.inputs())


def run_demo(path: Path, *, tell: Callable[[str], None] = lambda text: None) -> DemoOutcome:
    """Make the demo study and go the whole way.

    Args:
        path: Folder to make; must not hold a study yet.
        tell: Hears what is going on, a line a step.

    Raises:
        StudyError: The folder holds a study already, or cannot be made.
    """
    tell(f"1 of 10  brief: writing the invented study into {path} …")
    StudyFolder(path).write_study_text(invented_brief(), command="demo")
    tell("2 of 10  plan: choosing the runs …")
    planned = plan_study(path, PlanOptions(runs=DEMO_RUNS, starts=DEMO_STARTS))
    tell(f"3 of 10  sheet: workbook, cards and labels for {len(planned.plan)} batches …")
    make_sheets(path)
    tell("4 of 10  enter: readings of a bench that never existed …")
    entered, exchanged = _enter_invented(path)
    tell(f"5 of 10  note: batch {exchanged} was weighed with two additives exchanged; left out …")
    note_study(path, _note(exchanged))
    tell("6 of 10  fit: models of every response …")
    fitted = fit_study(path, _reduced())
    tell("7 of 10  choose: the compromise …")
    choose_study(path, _chosen())
    tell("8 of 10  risk: what production scatter does to it …")
    assess_study_risk(path)
    tell("9 of 10  agree: a version, a word of each role, the formula card …")
    agreed = agree_invented(path)
    tell("10 of 10  report: figures, tables and the page …")
    return DemoOutcome(
        n_runs=len(planned.plan),
        n_readings=entered.computed,
        n_fitted=len(fitted.analysis.fitted),
        agreed=agreed,
        report=report_study(path),
    )


def invented_brief() -> str:
    """Give the text of the demo's brief."""
    return files("doe.steps.invented").joinpath("brick_red.toml").read_text(encoding="utf-8")


def _enter_invented(path: Path) -> tuple[EnterOutcome, int]:
    """Fill the workbook as the bench would have, and enter it."""
    folder = study_folder(path)
    study, plan = folder.read_study(), folder.read_plan()
    if plan is None:
        raise ValueError("the demo enters readings before it has runs")
    rng = np.random.default_rng([study.about.seed or 0, 4])
    made = invented_entries(study, plan, rng)
    raw = {test: Readings(rows=rows) for test, rows in made.raw.items()}
    filled = workbook_bytes(study, plan, actuals=made.actuals, raw=raw)
    folder.write({FILLED: filled, COLOUR: made.colour}, command="demo")
    return enter_files(path, [path / FILLED, path / COLOUR]), made.exchanged


def _chosen() -> ChooseOptions:
    return ChooseOptions(keep=True, because="serves every aim best (invented)", role="formulator")


def _reduced() -> FitOptions:
    return FitOptions(
        reduce=True,
        keep=True,
        because="terms that do not pay for themselves by AICc are left out (invented)",
        role="formulator",
    )


def _note(batch: int) -> NoteOptions:
    return NoteOptions(
        says="excluded",
        batch=batch,
        because="dispersant and hydrophobic co-additive were exchanged on the balance; the blend "
        "lies outside the limits (invented)",
        role="formulator",
    )

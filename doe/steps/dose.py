"""The step `dose`: where the dose starts, a ladder of doses, its curve, the range for the study."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import doe
from doe.errors import PlanError, StudyError
from doe.methods.settling import settle_methods
from doe.recipe.advice_on_surface import family_of
from doe.recipe.dose_window import DoseWindow, WindowOptions, dose_window, refuse_without_data
from doe.steps.contract import envelope
from doe.steps.dose_curve import CurveOptions, Demand, demand_files, demand_object, demand_of
from doe.steps.dose_entry import EntryOptions, enter_ladder
from doe.steps.dose_ladder import (
    LadderOptions,
    PlannedLadder,
    dosed_level,
    own_range,
    plan_ladder_files,
)
from doe.steps.session import study_folder
from doe.study.brief import Study
from doe.study.brief_dose import Insertion, has_open_dose, insert_range
from doe.study.brief_file import parse_brief
from doe.study.finding import Finding
from doe.study.folder import BRIEF_FILE, StudyFolder
from doe.study.hashes import content_hash, region_hash
from doe.study.ladder import Ladder, LadderMerge, viscosity_text
from doe.study.ladder_file import LADDER_FILE, decode_ladder, encode_ladder


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseOptions:
    """What `dose` is asked for.

    Attributes:
        window: What the estimates take in place of the defaults.
        ladder: Plan a ladder; None plans none.
        entry: Take in readings; None takes none.
        curve: How the curve is read.
        write: Whether the range goes into the brief.
    """

    window: WindowOptions = field(default_factory=WindowOptions)
    ladder: LadderOptions | None = None
    entry: EntryOptions | None = None
    curve: CurveOptions = field(default_factory=CurveOptions)
    write: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DoseOutcome:
    """What `dose` found and wrote.

    Attributes:
        folder: The study folder.
        study: The brief; a range stands in for an open dose.
        window: The estimates.
        ladder: The ladder as it stands; None without one.
        planned: The ladder planned now.
        merged: The readings taken in now.
        demand: The fitted curve; None without enough readings.
        inserted: The lines put into the brief now.
        files: All files written.
        findings: What the reader ought to know.
        is_no: Never: a curve without a minimum is a finding.
    """

    folder: StudyFolder
    study: Study
    window: DoseWindow
    ladder: Ladder | None
    planned: PlannedLadder | None = None
    merged: LadderMerge | None = None
    demand: Demand | None = None
    inserted: Insertion | None = None
    files: tuple[Path, ...] = ()
    findings: tuple[Finding, ...] = ()
    is_no: bool = False

    def contract(self) -> dict[str, Any]:
        """Give the object that `dose --json` prints."""
        window = self.window
        body: dict[str, Any] = {
            "unit": "% active on pigment",
            "estimates": [
                {
                    "basis": one.basis, "family": one.family, "low": one.low, "high": one.high,
                    "how": one.how, "source": one.source, "mark": one.mark,
                }
                for one in window.estimates
            ],
            "range": None
            if window.low is None
            else {"low": window.low, "high": window.high, "reason": window.reason},
            "ladder": None if self.ladder is None else _ladder_object(self.ladder),
            **demand_object(self.demand),
            "written": list(self.inserted.lines) if self.inserted else [],
            "files": [str(file) for file in self.files],
        }  # fmt: skip
        return envelope(body, inputs=_inputs(self.study, self.ladder), findings=self.findings)


def dose_study(path: Path, options: DoseOptions) -> DoseOutcome:
    """Estimate the dose, and plan, take in and fit a ladder as asked.

    Raises:
        StudyError: The brief or a file has faults, or nothing gives a starting dose.
        PlanError: The ladder cannot be planned.
        ResultsError: Its readings cannot be taken in.
        FitError: The model asked for was not fitted.
    """
    folder = study_folder(path)
    if options.ladder is None and options.entry is None and not options.write:
        return _show(folder, options)
    with folder.lock("dose"):
        return _change(folder, options)


def _show(folder: StudyFolder, options: DoseOptions) -> DoseOutcome:
    """Say where the dose stands; results alone are written."""
    outcome = _start(folder, options.window)
    if outcome.ladder is None:
        refuse_without_data(outcome.window, str(folder.path / BRIEF_FILE))
        return outcome
    return _fitted(outcome, options.curve)


def _change(folder: StudyFolder, options: DoseOptions) -> DoseOutcome:
    outcome = _start(folder, options.window, options.ladder)
    if options.ladder is not None:
        outcome = _planned(outcome, options.ladder)
    if options.entry is not None:
        outcome = _entered(outcome, options.entry)
    if outcome.ladder is not None:
        outcome = _fitted(outcome, options.curve)
    elif outcome.window.low is None:
        refuse_without_data(outcome.window, str(folder.path / BRIEF_FILE))
    return _written(outcome) if options.write else outcome


def _start(
    folder: StudyFolder, options: WindowOptions, asked: LadderOptions | None = None
) -> DoseOutcome:
    data = folder.read_brief_bytes()
    study = parse_brief(
        data, str(folder.path / BRIEF_FILE), settle=settle_methods, with_open_dose=True
    )
    level = None if asked is None else dosed_level(study, asked.at)
    if level is not None and options.family is None:
        # The ladder is of one dispersant, and its name may tell the chemistry.
        options = replace(options, family=family_of(level))
    window = dose_window(study, options)
    stands = folder.read_file(LADDER_FILE)
    ladder = None if stands is None else decode_ladder(stands)
    return DoseOutcome(
        folder=folder, study=study, window=window, ladder=ladder, findings=window.findings
    )


def _planned(outcome: DoseOutcome, options: LadderOptions) -> DoseOutcome:
    folder, study = outcome.folder, outcome.study
    if study.dose is None:
        raise PlanError(
            "the brief has no dose to make a ladder of",
            where=str(folder.path / BRIEF_FILE),
            do='Add a [[factor]] with role = "dose"; it needs neither low nor high yet.',
        )
    if (options.low is None or options.high is None) and own_range(study, options.at) is None:
        refuse_without_data(outcome.window, str(folder.path / BRIEF_FILE))
    planned = plan_ladder_files(study, outcome.window, outcome.ladder, options)
    files = folder.write(planned.files, replace=options.replace, command="dose")
    return replace(
        outcome, ladder=planned.ladder, planned=planned, files=(*outcome.files, *files),
        findings=(*outcome.findings, *planned.findings),
    )  # fmt: skip


def _entered(outcome: DoseOutcome, options: EntryOptions) -> DoseOutcome:
    merged, kept, findings = enter_ladder(outcome.ladder or Ladder(), options)
    files = {LADDER_FILE: encode_ladder(merged.ladder), **kept}
    # A correction changes a line that stands; the file as it was stays beside the new one.
    written = outcome.folder.write(files, replace=bool(merged.corrected), command="dose")
    return replace(
        outcome, ladder=merged.ladder, merged=merged, files=(*outcome.files, *written),
        findings=(*outcome.findings, *findings),
    )  # fmt: skip


def _fitted(outcome: DoseOutcome, options: CurveOptions) -> DoseOutcome:
    assert outcome.ladder is not None
    demand, findings = demand_of(outcome.ladder, outcome.study, options)
    outcome = replace(outcome, demand=demand, findings=(*outcome.findings, *findings))
    if demand is None:
        return outcome
    files = demand_files(demand, outcome.study, outcome.contract())
    written = outcome.folder.write(files, command="dose")
    return replace(outcome, files=(*outcome.files, *written))


def _written(outcome: DoseOutcome) -> DoseOutcome:
    """Put the range into the brief where the dose has none."""
    folder, dose = outcome.folder, outcome.study.dose
    where = str(folder.path / BRIEF_FILE)
    if dose is None:
        raise StudyError(
            "the brief has no dose",
            where=where,
            do='Add a [[factor]] with role = "dose"; it needs neither low nor high yet.',
        )
    data = folder.read_brief_bytes()
    if not has_open_dose(data):
        note = Finding(
            level="note",
            what=f"'{dose.name}' has settings already, so nothing was written into the brief.",
            advice="Delete its low and high if the new range is to stand there.",
        )
        return replace(outcome, findings=(*outcome.findings, note))
    low, high, because = _range_to_write(outcome)
    inserted = insert_range(data, low, high, because)
    # What now stands there must be a brief; else nothing is written.
    study = parse_brief(inserted.data, where, settle=settle_methods)
    files = folder.write({BRIEF_FILE: inserted.data}, replace=True, command="dose")
    return replace(outcome, study=study, inserted=inserted, files=(*outcome.files, *files))


def _range_to_write(outcome: DoseOutcome) -> tuple[float, float, str]:
    demand, window = outcome.demand, outcome.window
    if demand is not None:
        return demand.suggested.low, demand.suggested.high, "from the ladder"
    refuse_without_data(window, str(outcome.folder.path / BRIEF_FILE))
    assert window.low is not None
    assert window.high is not None
    if window.low == window.high:
        raise StudyError(
            f"the estimates give one dose, {window.low:g} %, and no range",
            where="--write",
            do="Make a ladder around it: --ladder.",
        )
    return float(f"{window.low:.2g}"), float(f"{window.high:.2g}"), "estimated, no ladder yet"


def _inputs(study: Study, ladder: Ladder | None) -> dict[str, str]:
    hashes = {"version": doe.__version__, "region": region_hash(study)}
    if ladder is not None:
        hashes["ladder"] = content_hash(encode_ladder(ladder))
    return hashes


def _ladder_object(ladder: Ladder) -> list[dict[str, Any]]:
    return [
        {
            "pot": pot.number,
            "order": pot.order,
            "kind": pot.kind,
            "dose": pot.dose,
            "made": dict(pot.made),
            "readings": [
                {
                    "repeat": one.repeat,
                    "viscosity": viscosity_text(one.viscosity),
                    "value": one.viscosity.value if one.viscosity else None,
                    "flag": one.viscosity.flag if one.viscosity else None,
                    "foam": one.foam,
                    "note": one.note,
                }
                for one in ladder.of_pot(pot.number)
            ],
        }
        for pot in ladder.pots
    ]

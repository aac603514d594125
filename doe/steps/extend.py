"""The step `extend`: the best next round, given what was done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from doe.appraisal.runs import PlanRuns, runs_of_plan
from doe.errors import PlanError
from doe.layouts.extending.frame import shares_batches
from doe.layouts.extending.gains import Gains, gains_of
from doe.layouts.extending.joining import blocks_going_on, joined, without_runs
from doe.layouts.extending.measure import yardstick
from doe.layouts.extending.registry import find_purpose
from doe.layouts.extending.repair import to_repair
from doe.layouts.extending.request import Extension, Purpose, command_for_a_model
from doe.layouts.order import arrange, costs
from doe.layouts.request import LayoutRuns
from doe.model.coding import ChoiceAxis, Coding, coding_of
from doe.model.matrix import model_columns
from doe.model.region import Region, region_of
from doe.model.terms import make_model, model_names
from doe.steps.analysis_of import analyse
from doe.steps.choose import ChooseOptions, search_compromise
from doe.steps.contenders import DRAWS, SAMPLE, contenders
from doe.steps.contract import envelope
from doe.steps.failures import failures_of
from doe.steps.model_choice import DEFAULT_MODELS, FitOptions, known_model
from doe.steps.next_round import next_start
from doe.steps.plan import run_rows
from doe.steps.session import Session, open_study, planned_ratio, refuse_ratios
from doe.study.finding import Finding
from doe.study.plan import Plan, Round
from doe.study.settings import FloatArray

# Predictions that get surer by less than this part are hardly worth a round.
_HARDLY = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtendOptions:
    """What `extend` may be asked for; None leaves it to the purpose.

    Attributes:
        purpose: repair, model, axial, foldover, replicates, check or compromise.
        runs: New runs, controls not counted.
        batches: New mill batches, controls not counted.
        model: Model that the round is made for.
        factor: The one factor whose signs a fold-over changes.
        axial_beyond: Axial runs may leave the ranges of the brief.
        drop_unrun: Take runs without any reading or actual out of the plan first.
        variance_ratio: Variance of batches over residual; None for the brief's.
        starts: Random starts of a search.
        seed: Seed; None for the brief's.
    """

    purpose: str
    runs: int | None = None
    batches: int | None = None
    model: str | None = None
    factor: str | None = None
    axial_beyond: bool = False
    drop_unrun: bool = False
    variance_ratio: float | None = None
    starts: int | None = None
    seed: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExtendOutcome:
    """The new round: its runs, what they buy and what they cost."""

    session: Session
    purpose: Purpose
    added: Plan | None
    gains: Gains | None
    dropped: tuple[int, ...] = ()
    why_not: str = ""
    findings: tuple[Finding, ...] = ()
    files: tuple[Path, ...] = ()
    costs: dict[str, int] = field(default_factory=dict)

    @property
    def is_no(self) -> bool:
        """Whether there is nothing to do for this purpose."""
        return self.added is None

    @property
    def round(self) -> Round:
        """How the new runs were made."""
        assert self.added is not None
        return self.added.rounds[-1]

    def contract(self) -> dict[str, Any]:
        """Give the object that `extend --json` prints: the round's entry and its runs."""
        body: dict[str, Any] = {"for": self.purpose.name, "dropped": list(self.dropped)}
        if self.added is None or self.gains is None:
            body |= {"runs": [], "why_not": self.why_not}
        else:
            entry = asdict(self.round)
            entry["controls"] = {str(run): name for run, name in self.round.controls.items()}
            body |= {**entry, "costs": self.costs, "buys": asdict(self.gains)}
            body["runs"] = run_rows(self.added)
        return envelope(body, inputs=self.session.inputs(), findings=self.findings)


def extend_study(path: Path, options: ExtendOptions) -> ExtendOutcome:
    """Add the next round to a study.

    Raises:
        PlanError: There is no plan or no data yet, or the round can't be made as asked.
        StudyError: The brief or a file has faults.
    """
    purpose = find_purpose(options.purpose)
    if options.variance_ratio is not None:
        refuse_ratios([options.variance_ratio])
    session = open_study(path)
    plan = session.needed_plan()
    made = session.runs_with_data(plan)
    _refuse_too_early(session, made)
    dropped = _unrun(session, plan, made) if options.drop_unrun else ()
    kept = without_runs(plan, dropped) if dropped else plan
    here = replace(session, plan=kept)
    ask = _extension(here, kept, options, purpose)
    _refuse_nothing_left(ask, dropped)
    if purpose.name == "repair" and not to_repair(ask):
        return ExtendOutcome(
            session=session, purpose=purpose, added=None, gains=None,
            why_not="No run is lost, excluded or gelled, so there is nothing to repair. "
            "Runs that tell factors, levels or terms apart are placed by --for model --model NAME.",
        )  # fmt: skip
    runs = purpose.make(ask)
    added = _arranged(here, kept, ask, runs, purpose)
    gains = gains_of(
        _standing(ask, kept), _standing(ask, joined(kept, added)),
        yardstick(replace(ask, model=runs.models[-1])), ask.coding,
    )  # fmt: skip
    added = _told(added, gains, len(runs.reasons))
    whole = joined(kept, added)
    files = session.folder.write(
        session.folder.plan_files(whole), replace=bool(dropped), command="extend"
    )
    return ExtendOutcome(
        session=replace(session, plan=whole), purpose=purpose, added=added, gains=gains,
        dropped=dropped, costs=costs(added), files=files,
        findings=(*ask.region.findings, *runs.findings, *_waiting(here, kept), *_worth(gains)),
    )  # fmt: skip


def _refuse_too_early(session: Session, made: tuple[int, ...]) -> None:
    """Refuse a further round before anything was done: the first one can still be replaced."""
    if made or session.choices.standing_notes():
        return
    raise PlanError(
        "no run of this study has a reading yet, so there is nothing to build on",
        where="plan.csv",
        do="Plan anew with 'millbase plan STUDY --replace', or enter the readings first.",
    )


def _refuse_nothing_left(ask: Extension, dropped: tuple[int, ...]) -> None:
    """Refuse a round behind nothing: a whole new plan is what is wanted then."""
    if ask.standing:
        return
    lost = len(ask.failures)
    told = [f"{len(dropped)} were not made and are taken out"] if dropped else []
    told += [f"{lost} gave nothing"] if lost else []
    raise PlanError(
        f"no run of the earlier rounds is left to build on: {' and '.join(told)}",
        where="--drop-unrun" if dropped else "plan.csv",
        do=("Leave out --drop-unrun if they will still be made, or plan" if dropped else "Plan")
        + " anew with 'millbase plan STUDY --replace'.",
    )


def _unrun(session: Session, plan: Plan, made: tuple[int, ...]) -> tuple[int, ...]:
    """List the runs that nothing was done or said about."""
    said = {(note.subject, note.number) for note in session.choices.standing_notes()}
    return tuple(
        run
        for i, run in enumerate(plan.run)
        if run not in made
        and not said & {("run", run), ("batch", plan.batch[i]), ("day", plan.day[i])}
    )


def _extension(session: Session, plan: Plan, asked: ExtendOptions, purpose: Purpose) -> Extension:
    study = session.study
    coding = coding_of(study)
    region = region_of(study)
    seed = session.seed(asked.seed)
    ratio = asked.variance_ratio
    ask = Extension(
        study=study, coding=coding, region=region, plan=plan,
        failures=failures_of(session, plan), model=_model(plan, coding, asked.model, purpose),
        asked_model=asked.model is not None, runs=asked.runs, batches=asked.batches,
        shared=shares_batches(plan), factor=asked.factor, axial_beyond=asked.axial_beyond,
        variance_ratio=planned_ratio(session.study, plan) if ratio is None else ratio,
        starts=asked.starts, seed=seed,
    )  # fmt: skip
    return _with_area(session, region, ask) if purpose.name == "compromise" else ask


def _model(plan: Plan, coding: Coding, asked: str | None, purpose: Purpose) -> str:
    """Decide on the model: as asked, the next larger one, or that of the latest round."""
    if asked is not None:
        return known_model(asked, coding)
    names = model_names(coding)
    planned = [name for entry in reversed(plan.rounds) for name in reversed(entry.models)]
    known = [name for name in (*planned, *DEFAULT_MODELS) if name in names]
    n_runs = len(plan) - plan.kind.count("control")
    now = known[0] if planned else _largest(coding, known, n_runs)
    if purpose.name != "model":
        return now
    place = names.index(now) + 1
    if place == len(names):
        raise PlanError(
            f"the rounds so far are made for the largest model of these settings ({now}) already",
            where="--model",
            allowed=", ".join(names),
            do="Name a model, or extend for check or for replicates instead.",
        )
    return names[place]


def _largest(coding: Coding, known: list[str], n_runs: int) -> str:
    """Give the largest of some models that so many runs can estimate."""
    fitting = [n for n in known if len(model_columns(make_model(n, coding), coding)) < n_runs]
    return fitting[0] if fitting else known[-1]


def _with_area(session: Session, region: Region, ask: Extension) -> Extension:
    """Find the settings that could still be the best, and make them the area."""
    analysis = analyse(session, FitOptions())
    chosen = session.choices.chosen
    settings = (
        chosen.settings
        if chosen is not None
        else search_compromise(analysis, ChooseOptions(), ask.seed).best.settings
    )
    row = _row(settings, ask.coding)
    found = contenders(
        session.study, region, analysis.surfaces, row, np.random.default_rng([ask.seed, 4])
    )
    words = (
        "all settings that could still be the best, given how unsure the models are "
        f"({found.different} of {SAMPLE} tried came out best in {DRAWS} draws of the coefficients; "
        f"they span {found.spread:.0%} of the region)"
    )
    return replace(ask, area=found.area, area_words=words, area_spread=found.spread)


def _row(settings: Mapping[str, float | str | None], coding: Coding) -> FloatArray:
    """Turn settings by name into a row, shape (k,), lab units; noise factors at their middle."""
    row = np.full(len(coding.axes), np.nan)
    for j, axis in enumerate(coding.axes):
        value = settings.get(axis.name)
        if isinstance(axis, ChoiceAxis):
            row[j] = axis.levels.index(str(value)) if value in axis.levels else 0.0
        elif value is not None:
            row[j] = float(value)
        elif getattr(axis, "noise", False):
            row[j] = (axis.low + axis.high) / 2
    return row


def _standing(ask: Extension, plan: Plan) -> PlanRuns:
    """Give the runs of a plan that count, controls among them."""
    failed = {failure.run for failure in ask.failures}
    rows = [
        i
        for i, (run, kind) in enumerate(zip(plan.run, plan.kind, strict=True))
        if run not in failed and kind != "confirm"
    ]
    return runs_of_plan(plan, ask.study).take(rows)


def _arranged(
    session: Session, plan: Plan, ask: Extension, runs: LayoutRuns, purpose: Purpose
) -> Plan:
    """Put the new runs into bench order, numbered on from what was ever issued."""
    start = next_start(session, plan, ask.seed, {"for": purpose.name})
    rng = np.random.default_rng([ask.seed, 2, start.number])
    added = arrange(runs, session.study, rng, start=start)
    entry = added.rounds[-1]
    details = blocks_going_on(plan, entry.details)
    return replace(added, rounds=(replace(entry, details=details),))


def _told(added: Plan, gains: Gains, n_reasons: int) -> Plan:
    """Put what a round buys into its entry, behind the reasons of its layout."""
    entry = added.rounds[-1]
    told = (*entry.reasons[:n_reasons], *gains.sentences(), *entry.reasons[n_reasons:])
    details = {**entry.details, "buys": _record(gains)}
    return replace(added, rounds=(replace(entry, reasons=told, details=details),))


def _record(gains: Gains) -> dict[str, Any]:
    return {
        "average prediction variance": list(gains.variance),
        "variance of differences between settings": list(gains.differences),
        "error degrees of freedom": {name: list(pair) for name, pair in gains.df.items()},
        "pure error": list(gains.pure_error),
        "newly told": list(gains.new_terms),
    }


def _waiting(session: Session, plan: Plan) -> tuple[Finding, ...]:
    waiting = _unrun(session, plan, session.runs_with_data(plan))
    if not waiting:
        return ()
    return (
        Finding(
            level="note",
            what=f"{len(waiting)} runs of the earlier rounds have no data yet. They count as if "
            "they will be made.",
            evidence={"runs": len(waiting)},
            advice="If they will not be, take them out with --drop-unrun.",
        ),
    )


def _worth(gains: Gains) -> tuple[Finding, ...]:
    found = []
    if gains.untold:
        found.append(
            Finding(
                level="caution",
                what=f"Even with this round {len(gains.untold)} terms of the {gains.model} model "
                f"can't be told: {', '.join(gains.untold[:4])}"
                + (" and more." if len(gains.untold) > 4 else "."),
                evidence={"untold": len(gains.untold)},
                advice=f"Add runs with {command_for_a_model(gains.model)}.",
            )
        )
    before, after = gains.variance
    if before is not None and after is not None and after > (1 - _HARDLY) * before:
        found.append(
            Finding(
                level="note",
                what="The average prediction hardly gets surer: what this round buys lies "
                "elsewhere (a test of the model, pure error, or a link between rounds).",
                evidence={"before": before, "after": after},
            )
        )
    return tuple(found)

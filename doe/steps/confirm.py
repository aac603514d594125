"""The step `confirm`: plans confirmation batches, and judges them by what was frozen then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

import doe
from analysis.agreement.basis import ConfirmBasis, confirm_basis
from analysis.agreement.confirmation_size import (
    FEWEST_BATCHES,
    MOST_BATCHES,
    ConfirmSize,
    SizeAsked,
    compare_sizes,
    recommended,
    size_words,
)
from analysis.agreement.judged_round import JudgedRound
from analysis.agreement.planning import Foretold, RoundAsked, foretell
from analysis.agreement.units import RoundUnits
from analysis.surface.acceptance import accept_limits
from doe.errors import PlanError, StudyError
from doe.layouts.confirming import ConfirmingRound, confirming_plan
from doe.layouts.extending.joining import joined
from doe.steps.analysis_of import StudyAnalysis, analyse
from doe.steps.confirm_contract import confirm_contract
from doe.steps.confirm_findings import (
    beside_findings,
    doubt_findings,
    judged_findings,
    planned_findings,
)
from doe.steps.confirm_judging import (
    frozen_inputs,
    judge_round,
    judged_rounds,
    open_rounds,
)
from doe.steps.confirm_refusals import refuse_beside, refuse_plant
from doe.steps.confirm_taking_in import Moved, what_moved
from doe.steps.doubts import study_doubts
from doe.steps.model_choice import FitOptions
from doe.steps.next_round import next_start
from doe.steps.nominal import Nominal, nominal_of
from doe.steps.results import json_bytes, write_choices, write_results
from doe.steps.risk import shared_of
from doe.steps.session import Session, open_study
from doe.study.choices import TakenIn
from doe.study.confirmation import PLANT_DETAIL, Confirmation
from doe.study.finding import Finding
from doe.study.names import fold
from doe.study.plan import Plan

# Where nothing is asked for, batches go over two days, so that one bad day shows; our own choice.
DEFAULT_DAYS = 2
# 95 % of plant batches lie within 9.8 standard deviations of three, within 36.5 of two (exact
# tolerance factors, 95 % confidence).
DEFAULT_PLANT_BATCHES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfirmOptions:
    """What `confirm` may be asked for.

    Attributes:
        batches: Mill batches; None for as many as are recommended.
        days: Days they are spread over; None for two at most.
        per_batch: Samples, panels or runs of each batch.
        at: `NAME=VALUE` once a setting; empty for the settings kept, else the compromise.
        plant: Batches of the plant.
        batch_kg: Size of a plant batch, kg, for the record.
        how_many: Say what one to eight batches would tell, and plan nothing.
        judge: Judge, and plan nothing.
        again: Plan another round beside one that waits or is judged.
        take_in: Build the models on the latest judged round, too.
        because: Why, for the record.
        role: Who decides.
        level: Chance that a right formula has every mean inside its interval, 0..1.
        seed: Seed; None for the brief's.
    """

    batches: int | None = None
    days: int | None = None
    per_batch: int = 1
    at: tuple[str, ...] = ()
    plant: bool = False
    batch_kg: float | None = None
    how_many: bool = False
    judge: bool = False
    again: bool = False
    take_in: bool = False
    because: str = ""
    role: str = ""
    level: float = 0.95
    seed: int | None = None

    @property
    def plans(self) -> bool:
        """Whether something is asked for that only a new round can have."""
        return self.again or self.batches is not None or self.days is not None or bool(self.at)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ConfirmOutcome:
    """What was planned, waits, was judged or was taken in.

    Attributes:
        session: The inputs.
        sizes: What one, two … batches tell; empty where nothing was planned.
        size_words: The same in sentences.
        nominal: The settings, where something was planned.
        added: The runs of the new round.
        planned: What was frozen of it.
        judged: The round that was looked at.
        moved: What taking it in moved.
        findings: What the team should know.
        files: What was written.
    """

    session: Session
    sizes: tuple[ConfirmSize, ...] = ()
    size_words: tuple[str, ...] = ()
    nominal: Nominal | None = None
    added: Plan | None = None
    planned: Confirmation | None = None
    judged: JudgedRound | None = None
    moved: Moved | None = None
    findings: tuple[Finding, ...] = ()
    files: tuple[Path, ...] = ()

    @property
    def is_no(self) -> bool:
        """Whether the batches do not confirm the formula."""
        return self.judged is not None and self.judged.outcome.passed is False

    def contract(self) -> dict[str, Any]:
        """Give the object that `confirm --json` prints."""
        return confirm_contract(self)


def confirm_study(path: Path, options: ConfirmOptions | None = None) -> ConfirmOutcome:
    """Plan confirmation batches of a study, or judge those that were made.

    Without a round it plans one. With rounds it judges the one that was read last, of the
    laboratory or the plant, or says what it waits for; `--plant` looks at the plant's alone.

    Raises:
        DoeError: The study or the settings cannot be used, nothing can be fitted, or what was asked
            for cannot be done at this stage.
    """
    asked = options or ConfirmOptions()
    _refuse_options(asked)
    session = open_study(path)
    if asked.how_many:
        return _how_many(session, asked)
    rounds = judged_rounds(session)
    if asked.take_in:
        return _take_in(session, rounds, asked)
    looked_at = [one for one in rounds if one.entry.where == "plant" or not asked.plant]
    if asked.judge or (looked_at and not asked.plans):
        if not looked_at:
            kind = "plant" if asked.plant else "confirmation"
            raise PlanError(
                f"no {kind} batch is planned yet", where="--judge",
                do=f"Plan them with 'millbase confirm STUDY{' --plant' if asked.plant else ''}'.",
            )  # fmt: skip
        return _judge(session, looked_at)
    refuse_beside(rounds, asked)
    return _plan(session, asked, rounds)


def _refuse_options(asked: ConfirmOptions) -> None:
    if asked.judge + asked.take_in + asked.how_many > 1 or (
        asked.plans and (asked.judge or asked.take_in)
    ):
        raise StudyError(
            "that asks for several things at once", where="millbase confirm",
            allowed="one of: planning (--batches, --days, --at, --again), --how-many, --judge, "
            "--take-in",
        )  # fmt: skip
    if asked.take_in and not asked.because.strip():
        raise StudyError(
            "taking confirmation batches into the models is a decision, and no reason is given",
            where="--because", do="Say why, in a few words.",
        )  # fmt: skip
    if asked.batch_kg is not None and not (asked.plant and asked.batch_kg > 0.0):
        raise StudyError(
            "the size of a plant batch goes with --plant and is more than nothing",
            where="--batch-kg",
        )  # fmt: skip
    if asked.batches and asked.days and asked.days > asked.batches:
        raise PlanError(
            f"{asked.batches} batches cannot be made on {asked.days} days", where="--days",
            allowed=f"1 to {asked.batches}",
        )  # fmt: skip


def _how_many(session: Session, asked: ConfirmOptions) -> ConfirmOutcome:
    analysis, basis, nominal = _ready(session, asked)
    sizes = _sizes(analysis, basis, nominal, asked)
    days = asked.days or DEFAULT_DAYS
    return ConfirmOutcome(
        session=session, sizes=sizes, size_words=size_words(sizes) if sizes else (),
        nominal=nominal, findings=planned_findings(analysis, basis, nominal, None, days),
    )  # fmt: skip


def _ready(session: Session, asked: ConfirmOptions) -> tuple[StudyAnalysis, ConfirmBasis, Nominal]:
    """Give the models, what predictions rest on, and the settings that are to be confirmed."""
    analysis = analyse(session, FitOptions(level=asked.level))
    basis = confirm_basis(analysis.coding, analysis.surfaces, shared_of(analysis))
    return analysis, basis, nominal_of(analysis, asked.at, session.seed(asked.seed))


def _sizes(
    analysis: StudyAnalysis, basis: ConfirmBasis, nominal: Nominal, asked: ConfirmOptions
) -> tuple[ConfirmSize, ...]:
    study = analysis.session.study
    return compare_sizes(
        basis, nominal.row, accept_limits(study.responses), _size_asked(analysis, asked)
    )


def _size_asked(analysis: StudyAnalysis, asked: ConfirmOptions) -> SizeAsked:
    session = analysis.session
    wishes = {fold(name): float(value) for name, value in session.study.wishes.effect.items()}
    return SizeAsked(
        days=asked.days or DEFAULT_DAYS, per_batch=asked.per_batch, level=asked.level,
        effects={n: wishes[fold(n)] for n in analysis.fits if fold(n) in wishes},
        seed=session.seed(asked.seed), most=MOST_BATCHES,
    )  # fmt: skip


def _plan(
    session: Session, asked: ConfirmOptions, rounds: tuple[JudgedRound, ...]
) -> ConfirmOutcome:
    analysis, basis, nominal = _ready(session, asked)
    sizes = () if asked.plant else _sizes(analysis, basis, nominal, asked)
    words = size_words(sizes) if sizes else ()
    batches = asked.batches or _default_batches(sizes, asked)
    added = _new_round(analysis, nominal, asked, batches, words)
    told = _foretell(analysis, basis, nominal, asked, added)
    entry = _entry(session, nominal, asked, (added, told), len(rounds) + 1)
    whole = joined(session.needed_plan(), added)
    entries = (*(one.entry for one in rounds), entry)
    files = session.folder.write(
        {**session.folder.plan_files(whole), **session.folder.confirmations_file(entries)},
        command="confirm", role=asked.role,
    )  # fmt: skip
    days = len({day for day in added.day if day is not None})
    outcome = ConfirmOutcome(
        session=replace(session, plan=whole), sizes=sizes, size_words=words, nominal=nominal,
        added=added, planned=entry, files=files,
        findings=planned_findings(analysis, basis, nominal, entry, days),
    )  # fmt: skip
    return _written(outcome)


def _default_batches(sizes: tuple[ConfirmSize, ...], asked: ConfirmOptions) -> int:
    if asked.plant:
        return DEFAULT_PLANT_BATCHES
    return max(recommended(sizes).batches if sizes else FEWEST_BATCHES, asked.days or 1)


def _new_round(
    analysis: StudyAnalysis,
    nominal: Nominal,
    asked: ConfirmOptions,
    batches: int,
    words: tuple[str, ...],
) -> Plan:
    session = analysis.session
    plan, seed = session.needed_plan(), session.seed(asked.seed)
    details: dict[str, Any] = {"for": "the plant" if asked.plant else "the laboratory"}
    if asked.plant:
        details[PLANT_DETAIL] = True
        details["batch_kg"] = asked.batch_kg
    start = next_start(session, plan, seed, details)
    models = tuple(dict.fromkeys(fit.model.name for fit in analysis.fits.values()))
    wanted = ConfirmingRound(
        row=nominal.row, batches=batches, days=min(asked.days or DEFAULT_DAYS, batches),
        per_batch=asked.per_batch, models=models,
        reasons=(f"{batches} batches of the {nominal.of}, to confirm what the models foretell.",
                 *words), with_controls=not asked.plant,
    )  # fmt: skip
    rng = np.random.default_rng([seed, 12, start.number])
    return confirming_plan(wanted, session.study, plan, start, rng)


def _foretell(
    analysis: StudyAnalysis,
    basis: ConfirmBasis,
    nominal: Nominal,
    asked: ConfirmOptions,
    added: Plan,
) -> Foretold:
    study = analysis.session.study
    rows = [i for i, kind in enumerate(added.kind) if kind == "confirm"]
    units = RoundUnits(
        day=tuple(added.day[i] or 0 for i in rows),
        batch=tuple(added.batch[i] for i in rows),
        unit=tuple(added.run[i] for i in rows),
    )
    wanted = RoundAsked(
        row=nominal.row, units=units, size=_size_asked(analysis, asked), plant=asked.plant
    )
    return foretell(basis, wanted, study.responses, accept_limits(study.responses), analysis.fitted)


def _entry(
    session: Session,
    nominal: Nominal,
    asked: ConfirmOptions,
    made: tuple[Plan, Foretold],
    number: int,
) -> Confirmation:
    added, told = made
    return Confirmation(
        number=number, round=added.rounds[-1].number,
        where="plant" if asked.plant else "laboratory", runs=added.run,
        settings=nominal.settings, settings_are=nominal.of, at_edge=nominal.at_edge,
        inside=nominal.inside, responses=told.responses, rule=told.rule,
        pass_right=told.size.passes_if_right if told.size and not asked.plant else None,
        batch_kg=asked.batch_kg, who=asked.role, because=asked.because,
        seed=session.seed(asked.seed), version=doe.__version__,
        inputs=frozen_inputs(session, added.run),
    )  # fmt: skip


def _judge(session: Session, rounds: Sequence[JudgedRound]) -> ConfirmOutcome:
    first, *rest = open_rounds(session, rounds)
    analysis = analyse(session, FitOptions())
    judged = judge_round(session, first.entry, analysis.fits, analysis.coding)
    findings = (
        *doubt_findings(judged, study_doubts(session)),
        *judged_findings(judged), *beside_findings(rest),
    )  # fmt: skip
    return _written(ConfirmOutcome(session=session, judged=judged, findings=findings))


def _take_in(
    session: Session, rounds: Sequence[JudgedRound], asked: ConfirmOptions
) -> ConfirmOutcome:
    refuse_plant(rounds, asked)
    own = [one for one in rounds if one.entry.where == "laboratory"]
    ready = [one for one in own if one.outcome.state == "judged" and not one.taken_in]
    if not ready:
        waits = any(one.outcome.state != "judged" for one in own)
        raise PlanError(
            "no judged confirmation batches are left to be taken in", where="--take-in",
            do="Enter the readings that wait first." if waits else "Plan them with 'confirm'.",
        )  # fmt: skip
    entry = ready[-1].entry
    before = analyse(session, FitOptions())
    taken = TakenIn(round=entry.round, because=asked.because, role=asked.role)
    choices = replace(session.choices, taken_in=(*session.choices.taken_in, taken))
    session = write_choices(session, choices, command="confirm")
    after = analyse(session, FitOptions())
    judged = judge_round(session, entry, after.fits, after.coding)
    moved = what_moved(before, after, session.seed(asked.seed))
    outcome = ConfirmOutcome(
        session=session, judged=judged, moved=moved, findings=judged_findings(judged, moved)
    )  # fmt: skip
    return _written(outcome)


def _written(outcome: ConfirmOutcome) -> ConfirmOutcome:
    body: Mapping[str, Any] = confirm_contract(outcome)
    files = write_results(outcome.session, {"confirm.json": json_bytes(body)}, command="confirm")
    return replace(outcome, files=(*outcome.files, *files))

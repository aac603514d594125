"""Rounds of confirmation batches as they stand: read, held against what was frozen, explained."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from analysis.agreement.confirmation import RoundOutcome, judge
from analysis.agreement.judged_round import JudgedRound
from analysis.agreement.observed import Observed, observe
from analysis.agreement.planning import scale_of
from analysis.agreement.plant import PlantOutcome, judge_plant
from analysis.agreement.reasons import again_command, next_round, weigh_reasons
from analysis.fits.fit import Fit
from analysis.lab.at_its_stage import at_its_stage
from analysis.lab.responses import gather
from doe.errors import StudyError
from doe.layouts.extending.joining import without_runs
from doe.model.coding import Coding
from doe.model.matrix import model_matrix
from doe.steps.session import Session
from doe.steps.settings_text import settings_row, typed_value
from doe.study.choices import Choices
from doe.study.confirmation import Confirmation
from doe.study.finding import Finding
from doe.study.hashes import content_hash
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.settings import FloatArray

_CHANGED: Mapping[str, str] = {
    "region": "ranges, limits or stages of the brief",
    "goals": "goals of the brief (responses, limits of acceptance, prices)",
    "choices": "choices (models, settings kept)",
    "readings": "readings of the runs that it was foretold from",
    "actuals": "what was weighed and set in those runs",
}


def judged_rounds(
    session: Session, fits: Mapping[str, Fit] | None = None, coding: Coding | None = None
) -> tuple[JudgedRound, ...]:
    """Hold every round that was planned against its frozen rule, oldest first."""
    entries = session.folder.read_confirmations()
    return tuple(judge_round(session, one, fits or {}, coding) for one in entries)


def open_rounds(session: Session, rounds: Sequence[JudgedRound]) -> tuple[JudgedRound, ...]:
    """Give the round to look at of each kind, laboratory or plant, the one read last first.

    Of one kind that is the first that waits, else the last.
    """
    entered = {row.run: place for place, row in enumerate(session.readings.rows)}
    found: dict[str, JudgedRound] = {}
    for one in rounds:
        before = found.get(one.entry.where)
        if before is None or before.outcome.state == "judged":
            found[one.entry.where] = one

    def read_last(one: JudgedRound) -> tuple[bool, int, int]:
        place = max((entered.get(run, -1) for run in one.entry.runs), default=-1)
        return one.outcome.state != "planned", place, one.entry.number

    return tuple(sorted(found.values(), key=read_last, reverse=True))


def judge_round(
    session: Session, entry: Confirmation, fits: Mapping[str, Fit], coding: Coding | None
) -> JudgedRound:
    """Hold one round against its frozen rule.

    Args:
        session: The study.
        entry: What was frozen.
        fits: Models of today, to tell what settings as made explain; they judge nothing.
        coding: Axes of the study.
    """
    observed = observed_of(session, entry)
    outcome = judge(entry, observed)
    explained = _explained(entry, outcome, observed, fits, coding)
    plant: list[PlantOutcome] = []
    if entry.where == "plant" and outcome.state == "judged":
        told = [judge_plant(one, observed[one.response], entry.rule.level) for one in
                entry.responses if one.times is not None]  # fmt: skip
        plant = [one for one in told if one is not None]
    reasons = weigh_reasons(outcome, explained, plant)
    return JudgedRound(
        outcome=outcome, plant=tuple(plant), reasons=reasons, next=next_round(outcome, reasons),
        taken_in=entry.round in session.choices.rounds_taken_in,
        changed=changed_since(session, entry),
    )  # fmt: skip


def observed_of(session: Session, entry: Confirmation) -> dict[str, Observed]:
    """Gather the readings of one round alone, by response."""
    plan = session.needed_plan()
    gathered = gather(
        session.study, _alone(plan, entry), session.readings, session.actuals, session.choices
    )
    kinds = zip(plan.run, plan.kind, strict=True)
    controls = frozenset(run for run, kind in kinds if kind == "control")
    data = {fold(name): at_its_stage(session.study, one) for name, one in gathered.items()}
    return {
        one.response: observe(data[fold(one.response)], scale_of(one.scale), controls)
        for one in entry.responses
        if fold(one.response) in data
    }


def changed_since(session: Session, entry: Confirmation) -> tuple[str, ...]:
    """Name what has changed since a round was planned: it is judged by what was frozen."""
    now = frozen_inputs(session, entry.runs)
    return tuple(
        words for name, words in _CHANGED.items() if entry.inputs.get(name) != now.get(name)
    )


def frozen_inputs(session: Session, runs: tuple[int, ...]) -> dict[str, str]:
    """Give the hashes that a round of such runs names; its own notes and taking in stand aside.

    Readings and actuals are those of earlier runs that the models may rest on.
    """
    marks = session.inputs()
    earlier = session.without(_aside(session, runs)).inputs()
    marks["choices"] = _choices_mark(session, runs)
    return {**marks, "readings": earlier["readings"], "actuals": earlier["actuals"]}


def _aside(session: Session, runs: tuple[int, ...]) -> set[int]:
    """Give the runs from a round on, and those of confirmations that were not taken in."""
    plan = session.plan
    if plan is None:
        return set()
    rows = list(zip(plan.run, plan.round, plan.kind, strict=True))
    untaken = {of for _, of, kind in rows if kind == "confirm"} - session.choices.rounds_taken_in
    return {run for run, of, _ in rows if run >= min(runs) or of in untaken}


def _choices_mark(session: Session, runs: tuple[int, ...]) -> str:
    plan = session.plan
    own = set(runs)
    batches = set()
    if plan is not None:
        batches = {b for r, b in zip(plan.run, plan.batch, strict=True) if r in own}
    notes = tuple(
        note
        for note in session.choices.notes
        if not (
            (note.subject == "run" and note.number in own)
            or (note.subject == "batch" and note.number in batches)
        )
    )
    kept: Choices = replace(session.choices, notes=notes, taken_in=())
    return content_hash(*session.folder.choices_file(kept).values())


def changed_findings(rounds: tuple[JudgedRound, ...]) -> tuple[Finding, ...]:
    """Say what has changed since rounds were planned."""
    return tuple(
        Finding(
            level="caution",
            what=f"Since {one.entry.words} was planned, these have changed: "
            f"{', '.join(one.changed)}. It is judged by what was frozen then.",
            advice="If the formula is meant otherwise now, plan another with 'millbase "
            f"{again_command(one.entry)}'.",
        )
        for one in rounds
        if one.changed
    )


def _alone(plan: Plan, entry: Confirmation) -> Plan:
    """Give the runs of a round as if they built a model."""
    rest = [run for run in plan.run if run not in entry.runs]
    alone = without_runs(plan, rest)
    return replace(
        alone,
        kind=tuple("check" if kind == "confirm" else kind for kind in alone.kind),
        rounds=tuple(replace(one, layout="check", details={}) for one in alone.rounds),
    )


def _explained(
    entry: Confirmation,
    outcome: RoundOutcome,
    observed: Mapping[str, Observed],
    fits: Mapping[str, Fit],
    coding: Coding | None,
) -> dict[str, float]:
    """Give what settings as made explain of each mean that is off, as a part of it."""
    found: dict[str, float] = {}
    if coding is None:
        return found
    for one in outcome.responses:
        fit, seen = fits.get(one.response), observed.get(one.response)
        if not one.is_off or fit is None or seen is None or not one.deviation:
            continue
        made, planned = seen.made, _planned(entry, coding, seen.made)
        # A brief that has changed since may no longer know the settings as they were.
        if (
            planned is None
            or len(made) != len(coding.axes)
            or not np.array_equal(np.isnan(made), np.isnan(planned))
        ):
            continue
        X = model_matrix(np.stack([planned, made]), fit.coding, fit.model)
        before, after = X @ fit.coefficients
        found[one.response] = float(after - before) / one.deviation
    return found


def _planned(entry: Confirmation, coding: Coding, made: FloatArray) -> FloatArray | None:
    texts = {
        name: typed_value(value) for name, value in entry.settings.items() if name in coding.names
    }
    for j, name in enumerate(coding.names):
        # Noise factors, which the formula does not set: as they were.
        if name not in texts and j < len(made) and np.isfinite(made[j]):
            texts[name] = typed_value(float(made[j]))
    try:
        return settings_row(texts, coding, "confirmation.json")
    except StudyError:
        return None

"""What the team should know of a round of confirmation batches."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.agreement.basis import ConfirmBasis
from analysis.agreement.judged_round import JudgedRound
from analysis.agreement.plant import FEWEST_PLANT_BATCHES
from analysis.agreement.reasons import again_command
from doe.steps.analysis_of import StudyAnalysis
from doe.steps.confirm_judging import changed_findings
from doe.steps.confirm_taking_in import Moved
from doe.steps.doubts import StudyDoubts
from doe.steps.nominal import Nominal
from doe.study.confirmation import Confirmation
from doe.study.finding import Finding

# A next plant batch that meets its limits less often than this is worth a word; our own choice.
SAFE = 0.95
# One day has no scatter between days.
FEWEST_DAYS = 2


def planned_findings(
    analysis: StudyAnalysis,
    basis: ConfirmBasis,
    nominal: Nominal,
    entry: Confirmation | None,
    days: int = 1,
) -> tuple[Finding, ...]:
    """Say what the round cannot tell, or tells only if something holds.

    Args:
        analysis: The study.
        basis: What the predictions rest on.
        nominal: The settings.
        entry: What was frozen; None where nothing was planned.
        days: Days that the batches are spread over.
    """
    return (
        *_outside(nominal),
        *_days(basis),
        *_unknown_days(analysis, basis, days),
        *_by_limits(basis),
        *_few(analysis, entry),
        *_unread(analysis),
    )


def judged_findings(judged: JudgedRound, moved: Moved | None = None) -> tuple[Finding, ...]:
    """Say what a verdict hangs on."""
    return (
        *changed_findings((judged,)),
        *_lost(judged),
        *_controls(judged),
        *_lacking(judged),
        *_plant(judged),
        *_moved(moved),
    )


def doubt_findings(judged: JudgedRound, doubts: StudyDoubts) -> tuple[Finding, ...]:
    """Say which open doubts are about readings that a verdict rests on."""
    own = set(judged.entry.runs)
    told = [what for runs, what in doubts.of_runs if own & set(runs)]
    if judged.outcome.state != "judged" or not told:
        return ()
    return (
        Finding(
            level="caution",
            what=f"The verdict rests on readings that are in doubt: {' '.join(told)}",
            evidence={"doubts": len(told)},
            advice="Settle them first ('millbase check STUDY' says how), and judge again.",
        ),
    )


def beside_findings(rounds: Sequence[JudgedRound]) -> tuple[Finding, ...]:
    """Say where rounds of the other kind stand, which were not looked at now."""
    found = []
    for one in rounds:
        if one.outcome.state == "planned":
            words = f"{one.head()} is planned too; nothing of it is read yet."
        else:
            words = f"Beside it: {one.verdict_words()}"
        in_full = "In full: 'millbase confirm STUDY --plant'."
        advice = in_full if one.entry.where == "plant" else ""
        found.append(Finding(level="note", what=words, advice=advice))
    return tuple(found)


def _outside(nominal: Nominal) -> Iterator[Finding]:
    if not nominal.inside:
        yield Finding(
            level="caution",
            what="These settings lie outside the region of the brief: no run stands behind what "
            "is foretold there.",
            advice="Take it as a trial, not as a confirmation.",
        )
    elif nominal.at_edge:
        lies = "lie" if len(nominal.at_edge) > 1 else "lies"
        yield Finding(
            level="note",
            what=f"{', '.join(nominal.at_edge)} {lies} at an end of the range, where few runs "
            "hold the surface.",
        )


def _days(basis: ConfirmBasis) -> Iterator[Finding]:
    named = [name for name, fit in basis.fits.items() if fit.block_effects]
    if named:
        yield Finding(
            level="caution",
            what="The models hold the days or blocks of the study as they were, and cannot tell "
            f"how far a new one lies off ({', '.join(named)}): the intervals hold no scatter "
            "between days.",
            advice="Run a control beside the batches; a mean just outside its interval may be the "
            "day.",
        )


def _unknown_days(analysis: StudyAnalysis, basis: ConfirmBasis, days: int) -> Iterator[Finding]:
    known = {name: set(one.day) - {None} for name, one in analysis.data.items()}
    named = [name for name in basis.fits if len(known.get(name, ())) < FEWEST_DAYS]
    if days > 1 and named:
        yield Finding(
            level="caution",
            what=f"The batches go over {days} days, but the study does not know the days of its "
            f"runs, or knows one alone ({', '.join(named)}): the intervals hold no scatter "
            "between days.",
            advice="A mean outside its interval may be the day: run a control beside the batches, "
            "or make all in one day (--days 1).",
        )


def _by_limits(basis: ConfirmBasis) -> Iterator[Finding]:
    for name, why in basis.why_not.items():
        yield Finding(level="note", what=f"'{name}' is held against its limits alone: {why}.")


def _few(analysis: StudyAnalysis, entry: Confirmation | None) -> Iterator[Finding]:
    if entry is None:
        return
    plan, study = analysis.session.needed_plan(), analysis.session.study
    if entry.where == "laboratory" and not study.controls:
        yield Finding(
            level="note",
            what="The brief names no control: if the batches fail, nothing will tell the day from "
            "the formula.",
            advice="Name one in the brief ([[control]]) that runs beside every round.",
        )
    if entry.where == "plant":
        yield Finding(
            level="note",
            what="The sheets weigh out batches of the laboratory; the plant's are the same "
            "percentages.",
            evidence={} if entry.batch_kg is None else {"plant batch in kg": entry.batch_kg},
        )
    if len(entry.runs) == 1 and len(plan):
        yield Finding(
            level="caution",
            what="One batch cannot tell a bad batch from a wrong formula.",
            advice="Make two at least (--batches 2).",
        )


def _unread(analysis: StudyAnalysis) -> Iterator[Finding]:
    for name, why in analysis.not_fitted.items():
        yield Finding(
            level="caution", what=f"Nothing is foretold of '{name}', which has no model: {why}"
        )


def _lost(judged: JudgedRound) -> Iterator[Finding]:
    named = [one.response for one in judged.outcome.responses if one.recomputed]
    if named:
        yield Finding(
            level="note",
            what=f"Some batches gave no value ({', '.join(named)}): the interval is that of the "
            "mean of those that did, wider than planned, by the frozen variances.",
        )


def _controls(judged: JudgedRound) -> Iterator[Finding]:
    runs: dict[int, list[str]] = {}
    for one in judged.outcome.responses:
        for run in one.controls_unread:
            runs.setdefault(run, []).append(one.response)
    if runs:
        named = "; ".join(f"run {run}: {', '.join(names)}" for run, names in runs.items())
        yield Finding(
            level="note",
            what=f"Controls that give no value ({named}): the verdict on the formula does not need "
            "them, but they cannot tell the day from the formula.",
        )


def _lacking(judged: JudgedRound) -> Iterator[Finding]:
    if judged.outcome.state == "judged" and judged.outcome.lacking:
        yield Finding(
            level="caution",
            what=f"No batch gave a value of {', '.join(judged.outcome.lacking)}, so that the "
            "formula is neither confirmed nor refuted there.",
            advice=f"Make them again: 'millbase {again_command(judged.entry)}'.",
        )


def _plant(judged: JudgedRound) -> Iterator[Finding]:
    few = [one.response for one in judged.plant if one.batches < FEWEST_PLANT_BATCHES]
    if few:
        yield Finding(
            level="caution",
            what=f"One plant batch has no scatter of its own ({', '.join(few)}): how far the plant "
            "lies off has no interval yet.",
            advice="A second plant batch tells it.",
        )
    for one in judged.plant:
        if one.next_within is not None and one.next_within < SAFE:
            yield Finding(
                level="caution",
                what=f"With this offset and the plant's own scatter the next plant batch meets the "
                f"limits of {one.response} in {one.next_within:.0%} of cases.",
                evidence={"chance": float(f"{one.next_within:.4g}")},
                advice="Move the settings for the plant, or make more plant batches if this rests "
                "on few.",
            )
    for one in judged.plant:
        if not one.is_told:
            continue
        yield Finding(
            level="caution",
            what=f"The plant lies off the laboratory in {one.response}: {one.offset_is} "
            f"{one.offset:.3g}.",
            evidence={"offset": float(f"{one.offset:.4g}")},
            advice="Hold the plant's values against the limits with this offset, not the "
            "laboratory's.",
        )


def _moved(moved: Moved | None) -> Iterator[Finding]:
    if moved is None:
        return
    if moved.other_models:
        yield Finding(
            level="note",
            what=f"{', '.join(moved.other_models)}: the model has other terms with these runs; "
            "its coefficients can be compared in part only.",
        )
    if moved.coefficients and all((one.in_errors or 0.0) == 0.0 for one in moved.coefficients):
        yield Finding(
            level="note",
            what="Nothing moved: as a block of its own the round tells the block, and no link run "
            "ties it to the others.",
            advice="Runs of earlier settings beside new ones would link it (extend --for "
            "replicates).",
        )

"""What a version of the agreement is made on, gathered from a study: models, risk, batches."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from analysis.agreement.agreement import AgreedRisk, Ground
from analysis.agreement.judged_round import JudgedRound
from analysis.risk.draws import DrawPlan
from analysis.risk.probability import assess_risk
from analysis.risk.robust import LEVEL
from analysis.risk.tolerance import box_ground, tolerance_box
from analysis.surface.noise import production_of
from doe.errors import OptimumError
from doe.steps.analysis_of import StudyAnalysis
from doe.steps.confirm_judging import judged_rounds
from doe.steps.risk import risk_model_of
from doe.steps.session import Session
from doe.study.agreement import AgreedConfirmation
from doe.study.readings import Readings
from doe.study.settings import FloatArray

# Settings that were written and read again are the same to this part.
SAME = 1e-9
# Flags of readings that tell something of a run.
_TOLD = frozenset({"", "ok", "above", "below", "between", "gelled"})


def ground_of(analysis: StudyAnalysis, level: float) -> Ground:
    """Gather the models of an analysed study and what stands behind them."""
    session = analysis.session
    gelled = {run for one in analysis.data.values() for run in one.gelled}
    return Ground(
        study=session.study,
        region=analysis.region,
        surfaces=analysis.surfaces,
        fits=analysis.fits,
        plan=session.plan,
        choices=session.choices,
        n_read=_n_read(session.readings),
        not_told={**analysis.not_fitted, **analysis.not_computed},
        gelled=tuple(sorted(gelled)),
        cautions=_cautions(analysis),
        level=level,
    )


def agreed_risk(
    analysis: StudyAnalysis, row: FloatArray, settings: Mapping[str, Any], seed: int, level: float
) -> AgreedRisk | None:
    """Give risk and tolerance box at some settings: as `risk` wrote them, if of these; else anew.

    Args:
        analysis: The models.
        row: The settings, shape (k,), lab units.
        settings: The same by name.
        seed: Of the draws.
        level: Of the intervals, 0..1.

    Returns:
        None where no response has a limit that can be missed.
    """
    session = analysis.session
    told = _told_by_risk(session, settings)
    if told is not None:
        return told
    try:
        model = risk_model_of(analysis)
    except OptimumError:
        return None
    risk = assess_risk(model, row, DrawPlan(seed=seed), level=level)
    noise = production_of(session.study, analysis.coding).columns
    box = tolerance_box(box_ground(model, analysis.region, noise, seed), row, LEVEL)
    return AgreedRisk(
        probability=risk.probability.value,
        error=risk.probability.error,
        probability_true=risk.probability_true.value,
        per_response={one.response: one.probability.value for one in risk.per_response},
        box={side.setting: (side.low, side.high) for side in box.sides} or None,
        box_probability=None if box.is_empty else box.level,
        why_no_box=box.why_empty,
    )


def confirmations_now(
    session: Session, settings: Mapping[str, Any]
) -> tuple[AgreedConfirmation, ...]:
    """Give every round of confirmation batches as it stands, oldest first."""
    plan = session.needed_plan()
    of_formula = {run for run, kind in zip(plan.run, plan.kind, strict=True) if kind == "confirm"}
    return tuple(
        _confirmation(one, settings, len(of_formula & set(one.entry.runs)))
        for one in judged_rounds(session)
    )


def _confirmation(judged: JudgedRound, settings: Mapping[str, Any], n: int) -> AgreedConfirmation:
    entry, verdict = judged.entry, judged.verdict
    is_here = _same(entry.settings, settings)
    where = "at these settings" if is_here else "at other settings"
    said = verdict or f"{judged.outcome.state}, no verdict yet"
    why = ""
    if verdict == "not confirmed":
        said, why = "NOT CONFIRMED", f" {judged.why_words()}"
    return AgreedConfirmation(
        number=entry.number, where=entry.where, verdict=verdict, here="yes" if is_here else "no",
        words=f"{judged.head()}, {n} run{'' if n == 1 else 's'} {where}: {said}.{why}",
    )  # fmt: skip


def _told_by_risk(session: Session, settings: Mapping[str, Any]) -> AgreedRisk | None:
    """Read what `risk` wrote; None where it is of other settings or other inputs."""
    data = session.folder.read_file("results/risk.json")
    try:
        told = json.loads(data) if data else None
        if told is None or told["inputs"] != session.inputs():
            return None
        if not _same(told["settings"], settings):
            return None
        box, why_none = _box(told["window"]["box"], settings)
        return AgreedRisk(
            probability=told["probability"], error=told["probability_error"],
            probability_true=told["probability_true"],
            per_response={
                name: one["probability"] for name, one in told["per_response"].items()
            },
            box=box, box_probability=told["window"]["probability_wanted"] if box else None,
            why_no_box=why_none,
        )  # fmt: skip
    except (ValueError, KeyError, TypeError, AttributeError):
        # Results may be deleted and made again, or be those of an older version.
        return None


def _box(
    box: Mapping[str, Any], settings: Mapping[str, Any]
) -> tuple[dict[str, tuple[float, float]] | None, str]:
    """Read the tolerance box of `risk`; None, and why, where none was found round the settings."""
    if not box["sides"]:
        return None, box["why_empty"]
    if not _same(box["settings"], settings):
        return None, f"'risk' found room for one round {box['around']} only"
    return {side["setting"]: (side["low"], side["high"]) for side in box["sides"]}, ""


def _same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    if set(one) != set(other):
        return False
    return all(_same_value(one[name], other[name]) for name in one)


def _same_value(one: Any, other: Any) -> bool:
    if isinstance(one, str) or isinstance(other, str):
        return bool(one == other)
    return math.isclose(one, other, rel_tol=SAME, abs_tol=SAME)


def _n_read(readings: Readings) -> dict[str, int]:
    """Count the runs that have a reading, by response."""
    runs: dict[str, set[int]] = {}
    for row in readings.current():
        if row.flag in _TOLD:
            runs.setdefault(row.response, set()).add(row.run)
    return {name: len(found) for name, found in runs.items()}


def _cautions(analysis: StudyAnalysis) -> tuple[str, ...]:
    """Give what the models warn of, each once with the responses that it is about."""
    about: dict[str, list[str]] = {}
    for name, fitted in analysis.fitted.items():
        for finding in fitted.findings:
            if finding.level != "note":
                about.setdefault(finding.what, []).append(name)
    return tuple(f"{', '.join(names)}: {what}" for what, names in about.items())

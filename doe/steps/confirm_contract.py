"""The contract's object for `confirm`: what was planned, what waits, the verdict."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from analysis.agreement.confirmation import ResponseOutcome
from analysis.agreement.confirmation_size import ConfirmSize
from analysis.agreement.judged_round import JudgedRound
from analysis.agreement.reasons import NextRound, Reason
from doe.steps.confirm_taking_in import Moved
from doe.steps.contract import envelope
from doe.steps.plan import run_rows
from doe.study.confirmation import Confirmation

if TYPE_CHECKING:
    from doe.steps.confirm import ConfirmOutcome


def confirm_contract(outcome: ConfirmOutcome) -> dict[str, Any]:
    """Give the object that `confirm --json` prints; parts that there are none of are null."""
    judged = outcome.judged
    body = {
        "did": _did(outcome),
        "verdict": (judged.verdict or None) if judged is not None else None,
        "settings": _settings(outcome),
        "sizes": [_size_object(one) for one in outcome.sizes],
        "size_words": list(outcome.size_words),
        "planned": _entry_object(outcome.planned),
        "runs": run_rows(outcome.added) if outcome.added is not None else [],
        "judged": _judged_object(judged),
        "moved": _moved_object(outcome.moved),
    }
    return envelope(body, inputs=outcome.session.inputs(), findings=outcome.findings)


def _did(outcome: ConfirmOutcome) -> str:
    if outcome.moved is not None:
        return "taken in"
    if outcome.judged is not None:
        return outcome.judged.outcome.state if not outcome.judged.taken_in else "taken in before"
    return "planned" if outcome.added is not None else "compared"


def _settings(outcome: ConfirmOutcome) -> dict[str, float | str] | None:
    if outcome.nominal is not None:
        return outcome.nominal.settings
    return dict(outcome.judged.entry.settings) if outcome.judged is not None else None


def _size_object(one: ConfirmSize) -> dict[str, Any]:
    known = asdict(one)
    known["responses"] = {own["response"]: own for own in known["responses"]}
    return known


def _entry_object(entry: Confirmation | None) -> dict[str, Any] | None:
    if entry is None:
        return None
    known = asdict(entry)
    known["responses"] = {own["response"]: own for own in known["responses"]}
    return known


def _judged_object(judged: JudgedRound | None) -> dict[str, Any] | None:
    if judged is None:
        return None
    outcome = judged.outcome
    return {
        "number": judged.entry.number,
        "round": judged.entry.round,
        "where": judged.entry.where,
        "state": judged.state,
        "waiting": {name: list(runs) for name, runs in outcome.waiting.items()},
        "inside": outcome.inside if outcome.state == "judged" else None,
        "within": outcome.within if outcome.state == "judged" else None,
        "passed": outcome.passed,
        "rule": asdict(judged.entry.rule),
        "responses": {one.response: _response_object(one) for one in outcome.responses},
        "plant": {one.response: asdict(one) for one in judged.plant},
        "reasons": [_reason_object(one) for one in judged.reasons],
        "next": _next_object(judged.next),
        "changed": list(judged.changed),
    }


def _response_object(one: ResponseOutcome) -> dict[str, Any]:
    known = asdict(one)
    frozen = known.pop("frozen")
    return {"unit": frozen["unit"], "value": frozen["value"], **known}


def _reason_object(one: Reason) -> dict[str, Any]:
    return {
        "cause": one.cause, "title": one.title, "points": one.points,
        "evidence": list(one.evidence),
    }  # fmt: skip


def _next_object(one: NextRound | None) -> dict[str, str] | None:
    return None if one is None else {"command": one.command, "why": one.why}


def _moved_object(moved: Moved | None) -> dict[str, Any] | None:
    return None if moved is None else asdict(moved)

"""The contract's object for `agree`: where the agreement stands, and the card in numbers."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from analysis.agreement.formula_card import CardLine, FormulaCard
from analysis.agreement.matching import Match
from doe.steps.contract import envelope
from doe.study.agreement import Agreement, Version

if TYPE_CHECKING:
    from doe.steps.agree import AgreeOutcome

# What is told of a version as it stands on record.
_RECORD = (
    "settings", "formula", "titrations", "end_points", "laboratory", "readings", "gains",
    "confirmations",
)  # fmt: skip


def agree_contract(outcome: AgreeOutcome) -> dict[str, Any]:
    """Give the object that `agree --json` prints; null where there is no version yet."""
    version, card = outcome.version, outcome.card
    body = {
        "did": outcome.did,
        "version": version.number if version else None,
        "state": outcome.agreement.state(version) if version else None,
        "in_the_way": list(outcome.in_the_way),
        "roles": [_dated(asdict(one)) for one in outcome.roles],
        "missing": list(card.missing) if card else [],
        "objecting": list(card.objecting) if card else [],
        **_match_object(outcome.match),
        "versions": [_version_row(outcome.agreement, one) for one in outcome.agreement.versions],
        "agreement": _version_object(version),
        "batch_kg": card.batch_kg if card else None,
        "weigh_out": [_line_object(line) for line in card.lines] if card else [],
        "held_back": _held_back(card),
        "card": None,
    }
    if card is not None:
        body["card"] = str(outcome.session.folder.path / "results" / "formula-card.pdf")
    return envelope(body, inputs=outcome.session.inputs(), findings=outcome.findings)


def _match_object(match: Match | None) -> dict[str, Any]:
    if match is None:
        return {"matches": None, "changed": [], "moved": None, "judged_otherwise": [],
                "confirmation_failed": []}  # fmt: skip
    moved = None
    if match.moved is not None:
        moved = [{**asdict(one), "is_beyond": one.is_beyond} for one in match.moved]
    return {
        "matches": match.holds, "changed": list(match.changed), "moved": moved,
        "judged_otherwise": list(match.judged),
        "confirmation_failed": [one.words for one in match.failed],
    }  # fmt: skip


def _version_row(agreement: Agreement, one: Version) -> dict[str, Any]:
    final = _dated(asdict(one.final)) if one.final is not None else None
    return {
        "version": one.number, "state": agreement.state(one), "date": one.date.isoformat(),
        "because": one.because, "role": one.role, "final": final,
        "lines": [_dated(asdict(line)) for line in one.lines],
    }  # fmt: skip


def _version_object(version: Version | None) -> dict[str, Any] | None:
    if version is None:
        return None
    return {
        "settings_are": version.settings_are,
        **{name: [asdict(row) for row in getattr(version, name)] for name in _RECORD},
        "probability": version.probability,
        "probability_error": version.probability_error,
        "probability_true": version.probability_true,
        "window_probability": version.window_probability,
        "level": version.level,
        "seed": version.seed,
        "inputs": dict(version.inputs),
        "choices": list(version.choices),
        "cautions": list(version.cautions),
        "not_tested": list(version.not_tested),
    }


def _line_object(line: CardLine) -> dict[str, Any]:
    return {
        "step": line.step, "name": line.name, "part": line.part, "kg": line.kg,
        "decimals": line.decimals, "tolerance_kg": line.tolerance_kg,
        "tolerance_percent": line.tolerance_percent, "tolerance_from": line.tolerance_from,
    }  # fmt: skip


def _held_back(card: FormulaCard | None) -> list[dict[str, Any]]:
    if card is None:
        return []
    return [
        {
            **asdict(one.titration),
            "balance": one.balance,
            "held_back_kg": one.held_back_kg,
        }
        for one in card.titrations
    ]


def _dated(row: dict[str, Any]) -> dict[str, Any]:
    """Write the date of a row as text."""
    date = row.get("date")
    return row | {"date": date.isoformat() if date is not None else None}

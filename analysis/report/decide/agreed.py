"""What the head of the interactive page says of the agreement."""

from __future__ import annotations

from analysis.agreement.formula_card import FormulaCard


def agreed_phrase(card: FormulaCard | None) -> str:
    """Say which version is agreed, or that one waits.

    Args:
        card: The latest version; None before there is one.

    Returns:
        A phrase; empty where nothing was proposed.
    """
    if card is None:
        return ""
    version = card.version
    if version.final is None:
        return f"version {version.number} is a draft, to be decided over"
    words = f"version {version.number} is agreed, final since {version.final.date}"
    if card.match is not None and not card.match.holds:
        words += "; the study has changed since, so that a new version is to be decided over"
    return words

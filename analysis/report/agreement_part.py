"""The agreement in the report: the latest version as its formula card says it."""

from __future__ import annotations

from analysis.report.blocks import Section
from analysis.report.content import ReportContent
from analysis.report.formula_card_words import card_parts, state_words


def agreement_section(content: ReportContent) -> Section:
    """Gather what was agreed on; no parts before a version was proposed."""
    card = content.agreed
    if card is None:
        return Section(title="The agreement", lead="")
    because = f" Because: {card.version.because}." if card.version.because else ""
    return Section(
        title="The agreement",
        lead=f"Version {card.version.number}, proposed {card.version.date}. {state_words(card)}"
        f"{because} What stands here is what was agreed on then; the card to print is "
        "formula-card.pdf.",
        parts=card_parts(card, content.study),
    )

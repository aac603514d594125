"""The formula card of a study: its latest version, weighed out."""

from __future__ import annotations

from analysis.agreement.formula_card import CardSubject, FormulaCard, make_card
from analysis.agreement.matching import Match
from analysis.agreement.standing import role_standings
from doe.steps.agreement_match import match_now
from doe.steps.analysis_of import StudyAnalysis
from doe.steps.invented.marked import is_invented
from doe.steps.session import Session
from doe.study.agreement import Agreement


def card_of(
    session: Session, agreement: Agreement, match: Match, batch_kg: float | None = None
) -> FormulaCard | None:
    """Weigh the latest version out; None before there is one.

    Args:
        session: The study.
        agreement: Its agreement.
        match: Whether the latest version still matches.
        batch_kg: Size of the batch; None for that of the version.
    """
    version = agreement.latest
    if version is None:
        return None
    subject = CardSubject(
        title=session.study.about.title,
        pigment=session.study.pigment.name if session.study.pigment else "",
        agreement=agreement, roles=role_standings(version, session.study.about.roles),
        match=match, invented=is_invented(session),
        dose=session.study.dose.name if session.study.dose else "",
    )  # fmt: skip
    return make_card(subject, version, batch_kg)


def card_if_any(session: Session, analysis: StudyAnalysis | None) -> FormulaCard | None:
    """Give the card of a study that may have no agreement yet."""
    agreement = session.folder.read_agreement()
    if agreement.latest is None:
        return None
    return card_of(session, agreement, match_now(session, agreement.latest, analysis))

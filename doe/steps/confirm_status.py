"""Where rounds of confirmation batches stand: planned, waiting, judged, taken in."""

from __future__ import annotations

from analysis.agreement.judged_round import JudgedRound
from doe.steps.confirm_judging import changed_findings, judged_rounds
from doe.steps.session import Session
from doe.study.finding import Finding
from doe.study.status import State, StatusLine


def confirmation_status(
    session: Session,
) -> tuple[tuple[StatusLine, ...], tuple[Finding, ...]]:
    """Say where each round stands, and what has changed since it was planned."""
    rounds = judged_rounds(session) if session.plan is not None else ()
    return tuple(map(_line, rounds)), changed_findings(rounds)


def _line(judged: JudgedRound) -> StatusLine:
    outcome = judged.outcome
    if outcome.state == "planned":
        text = f"{judged.head()}: planned, nothing is read yet."
        return StatusLine(state="waiting", text=text)
    if outcome.state == "waiting":
        return StatusLine(state="waiting", text=judged.waiting_words())
    taken = " Taken into the models." if judged.taken_in else ""
    state: State = "done" if outcome.passed and not judged.changed else "doubtful"
    return StatusLine(state=state, text=f"{judged.verdict_words()}{taken}")
